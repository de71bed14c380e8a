"""Damaged files for the tests of reading: sample designs and written patterns, mutated; and plain noise."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pyembroidery
from pyembroidery.EmbCompress import compress

SAMPLES = Path(__file__).parent.parent / "sample_designs"
_TELLING = (0x00, 0x01, 0x02, 0x04, 0x10, 0x43, 0x7F, 0x80, 0x83, 0xB0, 0xC3, 0xF3, 0xFE, 0xFF)


@cache
def sound(name: str, most_bytes: int = 4000) -> tuple[bytes, ...]:
    """Return beginnings of the sample designs of a format, or a pattern written in it."""
    if name == "PES":  # the stitches stand at the end: small files of both versions that are written
        return tuple(every_command(name, version=version, truncated=short)
                     for version in (1, 6) for short in (False, True))  # fmt: skip
    if name == "HUS":
        return (packed_streams(),)
    files = sorted(SAMPLES.glob(f"*.{name.lower()}"))
    if files:
        return tuple(path.read_bytes()[:most_bytes] for path in files)
    written = every_command(name)
    return (written,) if written else by_hand(name)


# Formats that the library only reads: what stands before the stitches, a stitch, the end; from memory of the
# formats, in agreement with what pyembroidery 1.5.1 reads.
RECORDS = {
    "DSB": (b"LA:x\r".ljust(512), b"\x80\x05\x0a", b"\xf8\x00\x00"),
    "EMD": (b"".ljust(48), b"\x0a\x05", b"\x80\xfd"),
    "INB": (b"".ljust(8192), b"\x0a\x05\x00", b"\x00\x00\x04"),
    "KSM": (b"".ljust(512), b"\x05\x0a\x00", b"\x00\x00\x08"),
    "NEW": (b"\x00\x00", b"\x0a\x05\x00", b"\x00\x00\x11"),
    "BRO": (b"".ljust(256), b"\x0a\x05", b"\x80\x00\x02\xe0"),
    "STC": (b"".ljust(40), b"\x0a\x05\x01", b"\x00\x00\x19"),
    "TAP": (b"", b"\x81\x00\x03", b"\x00\x00\xf3"),
    "EXY": (b"".ljust(256), b"\x81\x00\x03", b"\x00\x00\xf3"),
    "U01": (b"".ljust(256), b"\x80\x05\x0a", b"\xf8\x00\x00"),
    "TBF": (b"".ljust(0x600), b"\x0a\x05\x80", b"\x00\x00\x8f"),
}
_OTHERS = {  # the same, where the end is not known or there is none
    "100": (b"", b"\x00\x61\x0a\x05", b""),
    "10O": (b"", b"\x80\x05\x0a", b"\x87\x00\x00"),
    "DAT": (b"", b"\x80\x05\x0a", b"\xf8\x00\x00"),
    "DSZ": (b"LA:x\r".ljust(512), b"\x05\x0a\x80", b"\x00\x00\xff"),
    "GT": (b"".ljust(512), b"\x05\x0a\x80", b"\x00\x00\xff"),
    "FXY": (b"".ljust(256), b"\x05\x0a\x80", b"\x00\x00\xff"),
    "MAX": (b"".ljust(0xD5) + struct.pack("<I", 40), b"\x0a\x00\x00\x00\x05\x00\x00\x00", b""),
    "MIT": (b"", b"\x25\x65", b"\x00\x00"),
    "PCD": (struct.pack("<BBHIH", 0x32, 0, 1, 0x112233, 40), b"\x00\x0a\x00\x00\x00\x05\x00\x00\x00", b""),
    "PCQ": (struct.pack("<BBHIH", 0x32, 1, 1, 0x112233, 40), b"\x00\x0a\x00\x00\x00\x05\x00\x00\x00", b""),
    "PCS": (struct.pack("<BBHIH", 0x32, 2, 1, 0x112233, 40), b"\x00\x0a\x00\x00\x00\x05\x00\x00\x00", b""),
    "PCM": (struct.pack(">HHHH", 0, 1, 3, 40), b"\x00\x00\x0a\x00\x00\x00\x05\x00\x00", b""),
    "PHB": (b"#PHB0003".ljust(0x52, b"\0") + struct.pack("<HI", 0, 64) + bytes(160),
            b"\x0a\x05", b"\xff\x00"),
    "PHC": (b"#PHC0001".ljust(0x130, b"\0"), b"\x0a\x05", b"\xff\x00"),
    "SEW": (struct.pack("<HHH", 2, 3, 5).ljust(0x1D78, b"\0"), b"\x0a\x05", b""),
    "SHV": (bytes(0x56) + b"\x01x\x02\x02" + bytes(6) + b"\x01" + bytes(18) + b"\0\0\0\x28\x03" + bytes(7),
            b"\x0a\x05", b""),
    "SPX": (bytes(0x11E), b"\x00\x00\x01\x0a\x05", b""),
    "STX": (b"STX".ljust(12, b"\0") + struct.pack("<III", 24, 24, 24), b"\x0a\x05", b""),
    "JPX": (struct.pack("<I", 116).ljust(116, b"\0"), b"\x0a\x05", b"\x80\x10"),
    "ZHS": (b"".ljust(0x0F) + struct.pack("<II", 30, 23) + b"\x01\x11\x22\x33\0\0\0",
            b"\x02\x05\x0a", b"\x80\0\0"),
    "ZXY": (b"\x00\x00\x10".ljust(19, b"\0"), b"\x00\x0a\x05", b"\x20\xff\x00"),
}  # fmt: skip


#: Names of the formats that pyembroidery has a writer for.
BY_THE_LIBRARY = frozenset(
    entry["extension"].upper()
    for entry in pyembroidery.supported_formats()
    if entry.get("writer") is not None
)


def by_hand(name: str) -> tuple[bytes, ...]:
    """Return a file of stitches, and one with telling bytes among them."""
    head, stitch, end = {**RECORDS, **_OTHERS}[name]
    random = np.random.default_rng([9, *name.encode()])
    telling = b"".join(stitch * 3 + bytes(random.choice(_TELLING, len(stitch)).tolist()) for _ in range(12))
    return head + stitch * 40 + end, head + telling + end


def every_command(name: str, at: tuple[int, int] = (0, 0), **settings: object) -> bytes:
    """Return a small design with each kind of command, begun ``at`` a place.

    Empty where the format is not written.
    """
    entry = next(f for f in pyembroidery.supported_formats() if f["extension"].upper() == name)
    writer = entry.get("writer")
    if writer is None:
        return b""
    pattern = pyembroidery.EmbPattern()
    for colour in ("#112233", "#c01020", "#208040"):
        pattern.add_thread({"hex": colour, "description": f"no {colour[1:3]}", "catalog": colour[1:5]})
    for block, command in enumerate((pyembroidery.COLOR_CHANGE, pyembroidery.STOP, pyembroidery.TRIM, None)):
        for i in range(12):
            pattern.add_stitch_absolute(
                pyembroidery.STITCH, at[0] + 400 * block + 10 * i, at[1] + 25 * (i % 2)
            )
        if command is not None:
            pattern.add_command(command)
    pattern.end()
    return written(pattern, name, **settings)


def packed_streams(stitches: int = 40) -> bytes:
    """Return a HUS file, which the library reads only: its three streams, each packed without gain."""
    commands = [0x80] * stitches + [0x84] + [0x80] * stitches + [0x88, 0x81] + [0x80] * stitches + [0x90]
    dx = [10 if command == 0x80 else 0 for command in commands]
    dy = [(15 if number % 2 else 241) if command == 0x80 else 0 for number, command in enumerate(commands)]
    streams = [bytes(compress(bytearray(stream))) for stream in (commands, dx, dy)]
    width = 10 * 3 * stitches
    head = struct.pack("<III4h", 0x00C8AF5B, len(commands), 2, width, 15, 0, 0)
    start = len(head) + 12 + 8 + 2 + 2 * 2
    ends = [start, start + len(streams[0]), start + len(streams[0]) + len(streams[1])]
    return head + struct.pack("<III8x2x2H", *ends, 3, 5) + b"".join(streams)


def written(pattern: pyembroidery.EmbPattern, name: str, **settings: object) -> bytes:
    """Return the bytes of ``pattern`` as the library writes them."""
    entry = next(f for f in pyembroidery.supported_formats() if f["extension"].upper() == name)
    text = getattr(entry["writer"], "WRITE_FILE_IN_TEXT_MODE", False)
    stream: io.StringIO | io.BytesIO = io.StringIO() if text else io.BytesIO()
    pyembroidery.EmbPattern.write_embroidery(entry["writer"], pattern, stream, settings)
    value = stream.getvalue()
    return value.encode() if isinstance(value, str) else value


def mutated(name: str, count: int, seed: int) -> Iterator[bytes]:
    """Yield damaged files: cut off, single bytes changed, telling bytes set, pieces doubled or taken out."""
    random = np.random.default_rng([seed, *name.encode()])
    files = sound(name)
    for number in range(count):
        whole = np.frombuffer(files[number % len(files)], dtype=np.uint8)
        data = whole[: random.integers(1, len(whole) + 1)].copy() if random.random() < 0.5 else whole.copy()
        if random.random() < 0.3:
            start, length = random.integers(0, len(data)), random.integers(1, 40)
            piece = data[start : start + length]
            data = np.concatenate([data[:start], *([piece] * random.integers(0, 4)), data[start + length :]])
        if len(data):
            at = random.integers(0, len(data), random.integers(0, 30))
            any_byte = random.integers(0, 256, at.size, dtype=np.uint8)
            telling = random.choice(np.array(_TELLING, dtype=np.uint8), at.size)
            data[at] = np.where(random.random(at.size) < 0.5, any_byte, telling)
        yield data.tobytes()


def noise(count: int, seed: int) -> Iterator[bytes]:
    """Yield random bytes of random length."""
    random = np.random.default_rng(seed)
    for _ in range(count):
        yield random.integers(0, 256, random.integers(1, 900), dtype=np.uint8).tobytes()
