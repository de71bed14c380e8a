"""The fine raster under a design, and the ground that a set of threads takes up on it."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats
from analyzer.laid import Grid

#: The raster's origin lies off the penetrations' lattice by these parts of a pixel, so that rows do not all
#: fall on pixel centres at once.
_FRACTION = (0.382, 0.236)
_FROM, _TO, _ALL = slice(1, None), slice(None, -1), slice(None)
#: Two views of an array (ny, nx) that lay each pixel beside its neighbour, for the four sides.
SIDES = (
    ((_FROM, _ALL), (_TO, _ALL)),
    ((_TO, _ALL), (_FROM, _ALL)),
    ((_ALL, _FROM), (_ALL, _TO)),
    ((_ALL, _TO), (_ALL, _FROM)),
)
_TURN_STEP_DEG = 1.25  #: bins of thread direction, and steps of the turns that are tried
_ALIASES = ((0, 1), (1, 1), (1, 2), (2, 1), (1, 3), (3, 1), (2, 3), (3, 2), (1, 4), (4, 1))
_MOST_PIXELS = 20_000_000  #: 400 by 400 mm at the usual pitch


def fine_grid(low: Floats, high: Floats, margin_mm: float, pitch_mm: float) -> Grid:
    """Return a grid over the box ``low`` to ``high``, (2,) mm each, and ``margin_mm`` around it.

    It is tied to the box, so that moving a design moves its raster along. The pitch is coarsened where the
    grid would hold more than twenty million pixels.
    """
    width, height = (high - low) + 2.0 * margin_mm
    pitch = max(pitch_mm, math.sqrt(width * height / _MOST_PIXELS))
    return Grid(
        x0_mm=float(low[0] - margin_mm - _FRACTION[0] * pitch),
        y0_mm=float(low[1] - margin_mm - _FRACTION[1] * pitch),
        cell_mm=pitch,
        nx=math.ceil(width / pitch) + 1,
        ny=math.ceil(height / pitch) + 1,
    )


def raster_turn(a: Floats, b: Floats) -> Floats:
    """Return the matrix (2, 2) that turns points to lie askew to a raster: ``points @ turn``.

    Threads along the pixels have their widths rounded as a whole (1 % of area), so the raster is turned to
    where the least thread runs along its axes or, less harmful, its diagonals.
    """
    step = b - a
    length = np.hypot(step[:, 0], step[:, 1])
    direction = np.degrees(np.arctan2(step[:, 1], step[:, 0])) % 90.0
    bins = round(90.0 / _TURN_STEP_DEG)
    lengths = np.bincount((direction / _TURN_STEP_DEG).astype(np.int64) % bins, length, minlength=bins)
    away = _TURN_STEP_DEG * np.arange(bins)
    harm = np.zeros(bins)
    for p, q in _ALIASES:
        off = np.abs(away - np.degrees(np.arctan2(p, q)))
        harm += 1.0 / (p * p + q * q) / (1.0 + np.minimum(off, 90.0 - off) ** 2)
    # harm[i] is that of threads i bins off the raster's axes, which lie at the angle tried.
    total = [float((lengths * np.roll(harm, k)).sum()) for k in range(bins)]
    angle = np.deg2rad((int(np.argmin(total)) + 0.5) * _TURN_STEP_DEG)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def closed(covered: Bools, radius_px: float) -> Bools:
    """Return the ground that a covered set (ny, nx) takes up: its morphological closing by a disc.

    The disc holds the pixels whose middles lie within ``radius_px`` of its own. The closing never takes
    anything away, so its outer edge is that of the set. Pixels within the radius of the array's border must
    be bare.
    """
    if radius_px < 1.0 or not covered.any():
        return covered
    return ~dilated(~dilated(covered, radius_px), radius_px) | covered


def dilated(mask: Bools, radius_px: float) -> Bools:
    """Return the pixels within ``radius_px`` of one of ``mask`` (ny, nx); nothing lies outside the array.

    A disc is a stack of rows: the mask is widened along x by each half-width in turn, and every widened
    mask is shifted to the rows of the disc that have it.
    """
    reach = int(radius_px)
    half = np.floor(np.sqrt(radius_px * radius_px - np.arange(reach + 1.0) ** 2)).astype(np.int64)
    wide = mask.copy()
    result = np.zeros_like(mask)
    done = 0
    for dy in range(reach, -1, -1):
        for dx in range(done + 1, min(int(half[dy]), mask.shape[1] - 1) + 1):
            wide[:, dx:] |= mask[:, :-dx]
            wide[:, :-dx] |= mask[:, dx:]
        done = int(half[dy])
        if dy == 0:
            result |= wide
        elif dy < len(mask):
            result[dy:] |= wide[:-dy]
            result[:-dy] |= wide[dy:]
    return result


def centres(grid: Grid, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> Floats:
    """Return the centres of pixels, (k, 2) mm."""
    x = grid.x0_mm + (columns + 0.5) * grid.cell_mm
    y = grid.y0_mm + (rows + 0.5) * grid.cell_mm
    return np.stack([x, y], axis=1)
