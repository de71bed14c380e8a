"""Reading by pyembroidery in a separate process, with limits on its time and memory.

The process is a plain one, spoken to over pipes: it also works inside daemonic processes and under scripts
without a main guard, where children of multiprocessing fail. One is kept for each process of ours and
reused from file to file; it is replaced when it dies or had to be ended. Threads take turns.
"""

from __future__ import annotations

import atexit
import math
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analyzer.formats import worker
from analyzer.formats.decoded import DecodeError
from analyzer.formats.limits import ReadLimits

_START_S = 60.0  # a cold disk and a virus scanner may take their time
_END_S = 1.0


class _EndedError(Exception):
    """The process ended before it answered."""


@dataclass(frozen=True, slots=True)
class Rows:
    """What the library made of a file: ``rows`` are doubles ``x, y, command`` one after another."""

    rows: bytes
    threads: list[list[str | None] | None]  #: colour, name, catalogue number
    header: dict[str, str]
    short: bool  #: the library asked for more than there was
    broken: bool  #: and failed there


class _Process:
    """One running worker."""

    def __init__(self) -> None:
        if not sys.executable:
            raise OSError("this Python does not know its own program")
        entries = [str(Path(entry).resolve()) for entry in sys.path if entry]
        self._process = subprocess.Popen(
            [sys.executable, "-P", worker.__file__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(entries)},
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        with self._within(_START_S):
            self._receive()

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def exit_code(self) -> int | None:
        return self._process.poll()

    def ask(self, about: dict[str, Any], data: bytes, seconds: float) -> tuple[dict[str, Any], bytes]:
        """Send a request and return the answer; the process is ended when that takes too long.

        Raises TimeoutError, or _EndedError where the process ends by itself.
        """
        with self._within(seconds):
            try:
                worker.send(self._process.stdin, about, data)  # type: ignore[arg-type]
            except OSError as error:
                raise _EndedError from error
            return self._receive()

    def _receive(self) -> tuple[dict[str, Any], bytes]:
        answer = worker.receive(self._process.stdout)  # type: ignore[arg-type]
        if answer is None:
            raise _EndedError
        return answer

    @contextmanager
    def _within(self, seconds: float) -> Iterator[None]:
        """End the process when the block takes longer, or is left by any exception: its pipes are amiss."""
        late = threading.Event()

        def end() -> None:
            late.set()
            self._process.kill()

        timer = threading.Timer(seconds, end)
        timer.daemon = True
        timer.start()
        try:
            yield
        except BaseException as error:
            timer.cancel()
            self.end(at_once=True)
            if late.is_set() and isinstance(error, _EndedError):
                raise TimeoutError from None
            raise
        finally:
            timer.cancel()

    def end(self, *, at_once: bool = False) -> None:
        if at_once:
            self._process.kill()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
        try:
            self._process.wait(_END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def forget(self) -> None:
        """Let go of a process that belongs to the process we were forked from."""
        self._process.returncode = 0


class _Keeper:
    """Keeps one worker and hands it the files one after another."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: _Process | None = None

    def ask(self, about: dict[str, Any], data: bytes, seconds: float) -> tuple[dict[str, Any], bytes]:
        with self._lock:
            for last in (False, True):
                process = self._running()
                try:
                    return process.ask(about, data, seconds)
                except _EndedError:
                    # killed from outside, or by the file itself: that shows at the second try
                    if process.exit_code == worker.MEMORY_EXIT:
                        raise MemoryError from None
                    if last:
                        raise
        raise AssertionError

    def _running(self) -> _Process:
        if self._process is None or not self._process.alive:
            self.end()
            self._process = _Process()
        return self._process

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process is not None and self._process.alive else None

    def end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.end()

    def after_fork(self) -> None:
        self._lock = threading.Lock()
        if self._process is not None:
            self._process.forget()
        self._process = None


_KEEPER = _Keeper()
atexit.register(_KEEPER.end)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_KEEPER.after_fork)


def worker_pid() -> int | None:
    """Return the process id of the worker that is kept, None where none runs."""
    return _KEEPER.pid


def read_rows(data: bytes, format_name: str, limits: ReadLimits) -> Rows:
    """Read a whole file in the separate process.

    Raises DecodeError where the library fails, or a limit is met.
    """
    about = {"format": format_name, "stitches": limits.stitches, "memory_bytes": limits.memory_bytes}
    try:
        found, rows = _KEEPER.ask(about, data, limits.seconds)
    except TimeoutError:
        raise DecodeError(
            f"takes more than {limits.seconds:g} s to read as {format_name}, so it is damaged or made to do "
            f"harm; export it again, or {raising('seconds', 6 * limits.seconds)}"
        ) from None
    except MemoryError:
        raise _too_much_memory(format_name, limits) from None
    except (_EndedError, OSError, ValueError):
        raise DecodeError(
            f"the process that reads {format_name} files ended before it was done; "
            "export it again, or as another format such as DST"
        ) from None
    if found.get("error") == "MemoryError":
        _KEEPER.end()
        raise _too_much_memory(format_name, limits)
    if "error" in found:
        raise DecodeError(
            f"cannot be read as {format_name}, its data break off or contradict each other near byte "
            f"{found['at']:,} ({found['error']}); export it again, or as another format such as DST"
        )
    if "too_many" in found:
        raise DecodeError(too_many(found["too_many"], limits))
    return Rows(
        rows=rows,
        threads=found["threads"],
        header=found["header"],
        short=found["short"],
        broken=found["broken"],
    )


def too_many(count: int, limits: ReadLimits) -> str:
    """Say that a file holds more commands than the limit allows."""
    return (
        f"more commands than the limit of {limits.stitches:,}; split the design or "
        f"{raising('stitches', count)}"
    )


def raising(limit: str, value: float) -> str:
    """Say how a limit is raised."""
    return f"raise the limit with --read-limit {limit}={math.ceil(value)}"


def _too_much_memory(format_name: str, limits: ReadLimits) -> DecodeError:
    return DecodeError(
        f"takes more than {limits.memory_bytes / 1e9:g} GB of memory to read as {format_name}, so it is "
        f"damaged or made to do harm; export it again, or {raising('memory', 4 * limits.memory_bytes / 1e6)}"
    )
