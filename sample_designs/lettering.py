"""Block letters as centre lines of satin columns, ordered so that travel lies under what is still to come."""

from __future__ import annotations

import numpy as np
from stitching import Path, arc

HEIGHT_MM = 12.0  # of the finished letter
WIDTH_MM = 2.2  # of a column
# centre lines of the lowest, the highest and the middle stroke
_LOW, _TOP, _MID = WIDTH_MM / 2, HEIGHT_MM - WIDTH_MM / 2, 6.2
_HALF = WIDTH_MM / 2


def _line(*corners: tuple[float, float]) -> Path:
    return np.asarray(corners, dtype=float)


def _bowl(x: float, low: float, high: float, reach: float) -> Path:
    """Return an arm out from (x, low), round a half circle, and back to (x, high)."""
    radius = (high - low) / 2
    bend = arc((reach - radius, low + radius), radius, -90, 90, 0.2)
    return np.concatenate([_line((x, low)), bend, _line((x, high))])


_G = arc((4.9, 6.0), 4.9 - 0.0, -38, -322, 0.2)

LETTERS: dict[str, tuple[tuple[Path, ...], float]] = {
    "R": (
        (
            _line((7.0, 0.0), (4.2, _MID - 0.8)),
            _bowl(_HALF, _MID - 0.8, _TOP, 7.4),
            _line((_HALF, HEIGHT_MM), (_HALF, 0.0)),
        ),
        10.2,
    ),
    "E": (
        (
            _line((7.4, _LOW), (_HALF, _LOW)),
            _line((6.6, _MID), (_HALF, _MID)),
            _line((7.4, _TOP), (_HALF, _TOP)),
            _line((_HALF, HEIGHT_MM), (_HALF, 0.0)),
        ),
        9.6,
    ),
    "G": ((_line((5.6, 5.4), (9.6, 5.4)), _line((8.7, 5.6), (8.7, 1.6)), _G), 11.6),
    "A": (
        (
            _line((2.6, 3.6), (7.0, 3.6)),
            _line((9.0, 0.0), (5.2, HEIGHT_MM)),
            _line((4.4, HEIGHT_MM), (0.6, 0.0)),
        ),
        10.6,
    ),
    "T": ((_line((4.2, 0.0), (4.2, _TOP)), _line((0.0, _TOP), (8.4, _TOP))), 10.0),
}
