"""Whether a file is whole, and whether its own header agrees with what was found in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from analyzer.arrays import Bytes, Floats
from analyzer.design import Command
from analyzer.formats.decoded import CUT_SHORT

_COUNT_TOLERANCE = 0.02  # writers differ in whether trims, jumps and the end record count
_EXTENT_TOLERANCE_MM = 1.0
_HEADER_UNIT_MM = 0.1


def damage(data: bytes, format_name: str) -> str | None:
    """Return why a file of this format is held to be damaged, None where nothing speaks for it.

    What can be seen cheaply: an end record that is missing, a length that the file states and does not have,
    a record cut in two, a command that the format does not know.
    """
    check = _CHECKS.get(format_name)
    return check(data) if check else None


def _pec(data: bytes, start: int) -> str | None:
    declared = int.from_bytes(data[start + 514 : start + 517], "little")
    if start + 517 > len(data) or start + 512 + declared > len(data):
        return f"the file ends before the stitches that it states; {CUT_SHORT}"
    return None


def _pes(data: bytes) -> str | None:
    return _pec(data, int.from_bytes(data[8:12], "little"))


_CHECKS: Mapping[str, Callable[[bytes], str | None]] = {
    "PES": _pes,
    "PEC": lambda data: _pec(data, 8),
}


def header_disagreement(header: Mapping[str, str], points: Floats, kinds: Bytes) -> str | None:
    """Compare a DST header with what was measured: one sentence on what differs, None where all agrees."""
    changes = int(np.count_nonzero(kinds == Command.COLOUR_CHANGE))
    records = int(np.count_nonzero(kinds != Command.TRIM))
    stitches = int(np.count_nonzero(kinds == Command.STITCH))
    differing = []
    stated = _number(header.get("ST"))
    if (
        stated is not None
        and min(abs(stated - n) for n in (records, stitches)) > 1 + _COUNT_TOLERANCE * records
    ):
        differing.append(f"{stated} stitches (found {stitches})")
    stated = _number(header.get("CO"))
    if stated is not None and stated not in (
        changes,
        changes + 1,
    ):  # some count the changes, some the colours
        differing.append(f"{stated} colour changes (found {changes})")
    for axis, name in enumerate("XY"):
        ends = [_number(header.get(f"{sign}{name}")) for sign in "+-"]
        if None in ends or not len(points):
            continue
        size = sum(abs(end) for end in ends if end is not None) * _HEADER_UNIT_MM
        found = float(np.ptp(points[:, axis]))
        if abs(size - found) > _EXTENT_TOLERANCE_MM:
            differing.append(f"{'width' if name == 'X' else 'height'} {size:.1f} mm (found {found:.1f})")
    if not differing:
        return None
    return f"The header states {', '.join(differing)}; what was found in the stitches is used."


def _number(text: str | None) -> int | None:
    try:
        return int(text.replace(" ", "")) if text is not None else None
    except ValueError:
        return None
