"""The fine raster under a design, and the ground that a set of threads takes up on it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats
from analyzer.laid import Grid

#: The raster's origin lies off the penetrations' lattice by these parts of a pixel, so that rows do not all
#: fall on pixel centres at once.
_FRACTION = (0.382, 0.236)
_BAND_PIXELS = 200_000  #: bytes worked on at a time, so that they stay in cache
_FEW_MASK_PIXELS = 100_000  #: that are not worth being put into bits
_TURN_STEP_DEG = 1.25  #: bins of thread direction, and steps of the turns that are tried
_SAMPLED = 50_000  #: threads whose directions are looked at
_ALIASES = ((0, 1), (1, 1), (1, 2), (2, 1), (1, 3), (3, 1), (2, 3), (3, 2), (1, 4), (4, 1))
_FEW_PIXELS = 1_500_000
_FINEST = 0.5077  #: of the pitch asked for; no simple fraction
_MOST_PIXELS = 40_000_000  #: 580 by 580 mm at the usual pitch


def fine_grid(
    low: Floats, high: Floats, margin_mm: float, pitch_mm: float, most_pixels: int | None = None
) -> Grid:
    """Return a grid over the box ``low`` to ``high``, (2,) mm each, and ``margin_mm`` around it.

    It is tied to the box, so that moving a design moves its raster along. The pitch is coarsened where the
    grid would hold more than ``most_pixels``, or forty million.
    """
    width, height = (high - low) + 2.0 * margin_mm
    pitch = max(pitch_mm, math.sqrt(width * height / min(most_pixels or _MOST_PIXELS, _MOST_PIXELS)))
    return Grid(
        x0_mm=float(low[0] - margin_mm - _FRACTION[0] * pitch),
        y0_mm=float(low[1] - margin_mm - _FRACTION[1] * pitch),
        cell_mm=pitch,
        nx=math.ceil(width / pitch) + 1,
        ny=math.ceil(height / pitch) + 1,
    )


def affordable_pitch(low: Floats, high: Floats, pitch_mm: float) -> float:
    """Return a pitch down to half of ``pitch_mm`` where a box has few pixels: small designs can afford it."""
    pixels = float(np.prod(high - low)) / pitch_mm**2
    return pitch_mm * max(min(1.0, math.sqrt(pixels / _FEW_PIXELS)), _FINEST)


def raster_turn(a: Floats, b: Floats) -> Floats:
    """Return the matrix (2, 2) that turns points to lie askew to a raster: ``points @ turn``.

    Threads along the pixels have their widths rounded as a whole (1 % of area), so the raster is turned to
    where the least thread runs along its axes or, less harmful, its diagonals. Of the two ways
    to do so that one is taken in which threads cross fewer rows of pixels, which costs less.
    """
    every = max(1, len(a) // _SAMPLED)
    step = b[::every] - a[::every]
    length = np.sqrt((step * step).sum(axis=1))
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
    turn = _turn((int(np.argmin(total)) + 0.5) * _TURN_STEP_DEG)
    along, across = np.abs(step @ turn).sum(axis=0)
    return turn if along >= across else turn @ _turn(90.0)


def _turn(degrees: float) -> Floats:
    angle = np.deg2rad(degrees)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def closed(covered: Bools, radius_px: float) -> Bools:
    """Return the ground that a covered set (ny, nx) takes up: its morphological closing by a disc.

    The disc holds the pixels whose middles lie within ``radius_px`` of its own. The closing never takes
    anything away, so its outer edge is that of the set. Pixels within the radius of the array's border must
    be bare.
    """
    if radius_px < 1.0:
        return covered
    half = _disc(radius_px)
    return _in_strips(covered, 2 * (len(half) - 1), lambda wide: ~_spread(~_spread(wide, half), half))


def dilated(mask: Bools, radius_px: float) -> Bools:
    """Return the pixels within ``radius_px`` of one of ``mask`` (ny, nx); nothing lies outside the array."""
    half = _disc(radius_px)
    return _in_strips(mask, len(half) - 1, lambda wide: _spread(wide, half))


def _disc(radius_px: float) -> list[int]:
    """Return half the widths of a disc in its rows 0, 1 ..., pixels."""
    rows = np.arange(int(radius_px) + 1.0)
    return [int(half) for half in np.sqrt(radius_px * radius_px - rows * rows)]


def _in_strips(mask: Bools, reach: int, work: Callable[[Bytes], Bytes]) -> Bools:
    """Return what ``work`` makes of the bits of a mask (ny, nx), given ``reach`` rows more at either end.

    Eight strips of the mask, one in each bit of a byte, are worked on at once.
    """
    ny, nx = mask.shape
    strips = 8 if mask.size > _FEW_MASK_PIXELS else 1
    rows = min(-(-ny // strips), max(4 * reach, _BAND_PIXELS // nx))
    result = np.empty_like(mask)
    pixels = mask.view(np.uint8)
    for bottom in range(0, ny, strips * rows):
        firsts = range(bottom, min(bottom + strips * rows, ny), rows)
        stack = np.zeros((rows + 2 * reach, nx), dtype=np.uint8)
        for bit, first in enumerate(firsts):
            low, high = max(first - reach, 0), min(first + rows + reach, ny)
            part = stack[low - first + reach : high - first + reach]
            part += pixels[low:high] * np.uint8(1 << bit)
        done = work(stack)
        for bit, first in enumerate(firsts):
            high = min(first + rows, ny)
            np.not_equal(done[: high - first] & np.uint8(1 << bit), 0, out=result[first:high])
    return result


def _spread(wide: Bytes, half: list[int]) -> Bytes:
    """Spread bits over discs of half-widths ``half`` in rows 0, 1 ...; ``wide`` is used up.

    A disc is a stack of rows: the bits are widened along x by each half-width in turn, and shifted to the
    rows of the disc that have it. All but ``len(half) - 1`` rows at either end are returned.
    """
    reach = len(half) - 1
    rows = len(wide) - 2 * reach
    result = np.zeros((rows, wide.shape[1]), dtype=np.uint8)
    done = 0
    for dy in range(reach, -1, -1):
        for _ in range(done, min(half[dy], wide.shape[1] - 1)):
            wide[:, 1:] |= wide[:, :-1]
            wide[:, :-1] |= wide[:, 1:]
        done = half[dy]
        result |= wide[reach + dy : reach + dy + rows]
        if dy:
            result |= wide[reach - dy : reach - dy + rows]
    return result


def centres(grid: Grid, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> Floats:
    """Return the centres of pixels, (k, 2) mm."""
    x = grid.x0_mm + (columns + 0.5) * grid.cell_mm
    y = grid.y0_mm + (rows + 0.5) * grid.cell_mm
    return np.stack([x, y], axis=1)
