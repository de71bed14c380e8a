"""The separate process that reads files by pyembroidery; started by :mod:`analyzer.formats.guard`.

It runs as a script and imports nothing of this package, so that it starts in a tenth of a second and stays
small. Requests and answers are frames on its standard input and output: two lengths, a JSON object, bytes.
It ends when its input does.
"""

from __future__ import annotations

import io
import json
import os
import signal
import struct
import sys
import threading
import time
from array import array
from itertools import chain
from typing import Any, BinaryIO

import pyembroidery

try:
    import resource
except ImportError:  # Windows has no such limits
    resource = None  # type: ignore[assignment]

FRAME = struct.Struct(">IQ")  #: lengths of the JSON object and of the bytes after it
MEMORY_EXIT = 77  #: exit code of a process that grew beyond its limit
_WATCH_S = 0.02
# trims as the file has them: the library's guesses are off, and so is its clipping, which deletes real moves
_AS_THE_FILE_HAS_IT = {"trim_at": None, "trim_distance": None, "trims": False, "clipping": False}


def send(stream: BinaryIO, about: dict[str, Any], data: bytes = b"") -> None:
    """Write one frame."""
    text = json.dumps(about).encode()
    stream.write(FRAME.pack(len(text), len(data)) + text + data)
    stream.flush()


def receive(stream: BinaryIO) -> tuple[dict[str, Any], bytes] | None:
    """Read one frame; None where the stream ends."""
    head = stream.read(FRAME.size)
    if len(head) < FRAME.size:
        return None
    text_length, data_length = FRAME.unpack(head)
    text, data = stream.read(text_length), stream.read(data_length)
    if len(text) < text_length or len(data) < data_length:
        return None
    return json.loads(text), data


class _MemoryWatch(threading.Thread):
    """Ends the process when it has grown beyond the limit, where the system itself may not hold it."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.limit_bytes = 0
        self.working = threading.Event()
        self.unit = 1 if sys.platform == "darwin" else 1024  # of ru_maxrss

    def run(self) -> None:
        while self.working.wait():
            if resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * self.unit > self.limit_bytes:
                os._exit(MEMORY_EXIT)
            time.sleep(_WATCH_S)


def _limit_address_space(limit_bytes: int) -> None:
    """Let allocations beyond the limit fail, where the system can do that (Linux; elsewhere the watch)."""
    try:
        with open("/proc/self/statm", encoding="ascii") as sizes:  # noqa: PTH123 - no pathlib in here
            used = int(sizes.read().split()[0]) * resource.getpagesize()
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        wanted = used + limit_bytes if hard == resource.RLIM_INFINITY else min(used + limit_bytes, hard)
        resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))
    except (OSError, ValueError):
        return


class _Bytes(io.BytesIO):
    """Remembers whether more was asked for than there was: a file with an end record is then cut short."""

    short = False

    def read(self, size: int | None = -1) -> bytes:
        piece = super().read(size)
        self.short = self.short or (size is not None and len(piece) < size)
        return piece


def read(data: bytes, format_name: str, most: int) -> tuple[dict[str, Any], bytes]:
    """Read one file: what there is to say about it, and its rows ``x, y, command`` as doubles.

    Whatever the library raises becomes an answer that names the kind of exception and the place; where the
    file came to its end before that, the rows up to there are the answer.
    """
    stream: _Bytes | io.StringIO = _Bytes(data)
    pattern = pyembroidery.EmbPattern()
    try:
        entry = next(f for f in pyembroidery.supported_formats() if f["extension"].upper() == format_name)
        reader = entry["reader"]
        if getattr(reader, "READ_FILE_IN_TEXT_MODE", False):
            stream = io.StringIO(data.decode("utf-8-sig"))
        try:
            reader.read(stream, pattern, dict(_AS_THE_FILE_HAS_IT))
        except (TypeError, IndexError, ValueError):
            if not (getattr(stream, "short", False) and pattern.stitches):
                raise
            broken = True
        else:
            broken = False
        count = len(pattern.stitches)
        if count > most:
            return {"too_many": count}, b""
        rows = array("d", chain.from_iterable(pattern.stitches)).tobytes()
        threads = [_thread(thread) for thread in pattern.threadlist]
        texts = {str(key): value for key, value in pattern.extras.items() if isinstance(value, str)}
    except Exception as error:  # damaged data raise nearly every kind of exception in the library
        return {"error": type(error).__name__, "at": stream.tell()}, b""
    short = getattr(stream, "short", False)
    return {"rows": count, "threads": threads, "header": texts, "short": short, "broken": broken}, rows


def _thread(thread: Any) -> list[str | None] | None:
    if thread is None or thread.color is None:  # its colour was cut off
        return None
    return [
        thread.hex_color(),
        *(None if text is None else str(text) for text in (thread.description, thread.catalog_number)),
    ]


def main() -> None:
    """Answer requests until the input ends."""
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # the keyboard interrupts the parent, which ends this process
    source, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what the library may print is no answer
    watch = _MemoryWatch()
    if resource is not None:
        watch.start()
    send(answers, {"ready": True})
    while (request := receive(source)) is not None:
        about, data = request
        if resource is not None:
            _limit_address_space(about["memory_bytes"])
            watch.limit_bytes = about["memory_bytes"]
            watch.working.set()
        found, rows = read(data, about["format"], about["stitches"])
        watch.working.clear()
        send(answers, found, rows)


if __name__ == "__main__":
    main()
