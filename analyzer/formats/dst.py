"""DST and the two formats that share its records (TAP, EXY), decoded without a loop over the stitches.

A record is three bytes. Each bit of them but four adds or takes away 1, 3, 9, 27 or 81 units of 0.1 mm in x
or y: balanced ternary. What is left in the third byte tells stitch, jump, colour change, sequin mode and end.
There is no trim among them; three or more jumps in a row cut the thread on the machines that read it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bytes, Floats
from analyzer.design import Command, Thread
from analyzer.formats.decoded import CUT_SHORT, UNIT_MM, Decoded, infer_trims, printable

_HEADER = {"DST": 512, "TAP": 0, "EXY": 256}
FORMATS = tuple(_HEADER)
_RECORD = 3
# (byte, bit that adds, bit that takes away, units); the layout of the records is from memory of the format
_X_BITS = ((2, 2, 3, 81), (1, 2, 3, 27), (0, 2, 3, 9), (1, 0, 1, 3), (0, 0, 1, 1))
_Y_BITS = ((2, 5, 4, 81), (1, 5, 4, 27), (0, 5, 4, 9), (1, 7, 6, 3), (0, 7, 6, 1))
_END, _SEQUIN_MODE = 255, 254  # in the lookup of kinds


def _steps(bits: tuple[tuple[int, int, int, int], ...]) -> npt.NDArray[np.int16]:
    """Return what each value of each byte adds, (3, 256) in units of 0.1 mm."""
    value = np.arange(256)
    table = np.zeros((_RECORD, 256), dtype=np.int16)
    for byte, adds, takes, units in bits:
        table[byte] += (units * ((value >> adds & 1) - (value >> takes & 1))).astype(np.int16)
    return table


def _kinds() -> Bytes:
    """Return the kind of record for each value of the third byte, (256,)."""
    value = np.arange(256)
    table = np.full(256, Command.STITCH, dtype=np.uint8)
    for mask, kind in (
        (0x83, Command.JUMP),
        (0x43, _SEQUIN_MODE),
        (0xC3, Command.COLOUR_CHANGE),
        (0xF3, _END),
    ):
        table[value & mask == mask] = kind
    return table


_DX, _DY, _KIND = _steps(_X_BITS), _steps(_Y_BITS), _kinds()


def decode(data: bytes, format_name: str = "DST") -> Decoded:
    """Decode a whole file of DST, TAP or EXY; no bytes make it fail."""
    start = _HEADER[format_name]
    header = data[:start] if format_name == "DST" else b""
    count = max(len(data) - start, 0) // _RECORD
    records = np.frombuffer(data, dtype=np.uint8, count=_RECORD * count, offset=start if count else 0)
    low, middle, high = np.ascontiguousarray(records.reshape(-1, _RECORD).T)
    kinds = _KIND[high]
    end = int(np.argmax(kinds == _END)) if count else 0
    whole = count > 0 and bool(kinds[end] == _END)
    if whole:
        low, middle, high, kinds = low[:end], middle[:end], high[:end], kinds[:end]
    points = np.empty((len(kinds), 2))
    for axis, step in enumerate((_DX, _DY)):
        np.cumsum(step[0][low] + step[1][middle] + step[2][high], dtype=np.float64, out=points[:, axis])
    points *= UNIT_MM
    points, kinds = _sequins(points, kinds)
    points, kinds, inferred = infer_trims(points, kinds)
    texts, threads = _read_header(header)
    return Decoded(
        points=points,
        kinds=kinds,
        threads=threads,
        header=texts,
        trims_inferred=inferred,
        damaged=_damage(header, format_name, whole),
    )


def _sequins(points: Floats, kinds: Bytes) -> tuple[Floats, Bytes]:
    """Take out the switches of the sequin mode; while it is on, what would be a jump lets a sequin fall."""
    switch = kinds == _SEQUIN_MODE
    if not switch.any():
        return points, kinds
    on = np.cumsum(switch) % 2 == 1
    kinds[on & (kinds == Command.JUMP)] = Command.SEQUIN
    return points[~switch], kinds[~switch]


def _read_header(header: bytes) -> tuple[dict[str, str], tuple[Thread, ...]]:
    """Return the texts of a DST header by their two letters, and the threads that some writers list."""
    texts: dict[str, str] = {}
    threads = []
    for line in header.replace(b"\n", b"\r").split(b"\r")[:-1]:
        try:
            text = line.decode("utf-8").strip()
        except UnicodeDecodeError:
            continue
        if len(text) <= 3:
            continue
        label, value = text[:2].strip(), text[3:].strip()
        if label == "TC":  # "#rrggbb, name, catalogue number"
            threads.append(_listed_thread(value))
        else:
            texts[label] = value
    return texts, tuple(threads)


def _listed_thread(value: str) -> Thread:
    parts = [
        "" if part.strip() == "None" else part for part in value.split(",")
    ]  # some write a missing one so
    rgb, name, catalogue, *_ = [printable(part) for part in (*parts, "", "")]
    digits = (rgb or "").removeprefix("#").lower()
    known = len(digits) == 6 and all(c in "0123456789abcdef" for c in digits)
    return Thread(rgb=f"#{digits}" if known else None, name=name, catalogue=catalogue)


def _damage(header: bytes, format_name: str, whole: bool) -> str | None:
    """Return what shows that the file is not whole or no such file at all, None where nothing does."""
    if format_name == "DST" and not header.lstrip().startswith(b"LA"):
        return "the file does not begin with the header of a DST file; it may be something else"
    return None if whole else f"the file has no end record; {CUT_SHORT}"
