"""The turned raster under a design: all regions laid on it, each measured by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats, box_of
from analyzer.cloth.ground import affordable_pitch, fine_grid, raster_turn
from analyzer.cloth.patches import Patches, patches
from analyzer.cloth.types import RegionCover
from analyzer.goods.constants import constants
from analyzer.laid import Grid
from analyzer.regions import Region, RegionKind, Regions

_Longs = npt.NDArray[np.int64]

_HIDDEN = (RegionKind.UNDERLAY, RegionKind.TRAVEL)
_LAYERS_SHARE = 0.995  #: layers_max is this quantile over what is covered of a region's ground
_LAYERS_MOST = 0.999  #: layers_most is this quantile over all that is covered
_MOST_SPACINGS = 250  #: row spacings told apart
_MOST_THREADS = 255  #: threads over a point are counted up to here


@dataclass(frozen=True, slots=True)
class Sheet:
    """A raster (ny, nx), turned against the design: ``points @ turn`` lie on ``grid``.

    ``threads`` counts the threads over each pixel: those with butt ends, and where only round ends cover it,
    one. ``covered`` tells where there are any; ``void_open_mm`` of bare pixels lie round them. ``rows`` is 0
    off the ground of all regions; else, of the regions whose ground a pixel belongs to, the place of the
    widest row spacing in ``spacing_mm`` (place 1, spacing 0, for regions without rows).
    """

    turn: Floats
    grid: Grid
    threads: Bytes
    covered: Bools
    rows: Bytes
    spacing_mm: Floats

    @property
    def covered_mm2(self) -> float:
        """Area that the threads cover."""
        return int(np.count_nonzero(self.covered)) * self.grid.cell_mm**2

    @property
    def ground_mm2(self) -> float:
        """Area of the ground of all regions, and of what is covered besides."""
        return int(np.count_nonzero((self.rows > 0) | self.covered)) * self.grid.cell_mm**2

    @property
    def layers_most(self) -> int:
        """Most threads over a point, but for a thousandth of what is covered."""
        return _quantile(self.threads, _LAYERS_MOST)

    def sampled(self, grid: Grid) -> Bytes:
        """Return the threads over the nearest pixel for each pixel of an upright grid, (ny, nx)."""
        x = grid.x0_mm + (np.arange(grid.nx) + 0.5) * grid.cell_mm
        y = grid.y0_mm + (np.arange(grid.ny) + 0.5) * grid.cell_mm
        place = []
        for axis, origin, size in ((0, self.grid.x0_mm, self.grid.nx), (1, self.grid.y0_mm, self.grid.ny)):
            along_x = ((x * self.turn[0, axis] - origin) / self.grid.cell_mm).astype(np.float32)
            along_y = (y * self.turn[1, axis] / self.grid.cell_mm).astype(np.float32)
            pixel = (along_x + along_y[:, None]).astype(np.int32)
            place.append(np.clip(pixel, 0, size - 1, out=pixel))
        # The border is bare, so that what lies off the raster is.
        found: Bytes = self.threads[place[1], place[0]]
        return found


def lay_regions(
    points: Floats,
    laid: _Longs,
    regions: Regions,
    width_mm: float,
    pitch_mm: float,
    *,
    small_finer: bool = True,
) -> tuple[Sheet, tuple[RegionCover, ...]]:
    """Lay the stitches that end at penetrations ``laid`` (k,) of ``points`` (m, 2) mm, and measure regions.

    Every region is laid once, by itself; together they are the design.
    """
    turn = raster_turn(points[laid - 1], points[laid])
    points = points @ turn
    items = regions.items
    closing = np.append([_closing_mm(region) for region in items], 0.0)
    margin = 0.5 * width_mm + max(closing.max(), constants("cloth")["void_open_mm"].value) + 4.0 * pitch_mm
    low, high = box_of(points)
    pitch_mm = affordable_pitch(low, high, pitch_mm) if small_finer else pitch_mm
    grid = fine_grid(low, high, float(margin), pitch_mm)
    threads, rows = np.zeros(grid.shape, dtype=np.uint8), np.zeros(grid.shape, dtype=np.uint8)
    covered = np.zeros(grid.shape, dtype=np.bool_)
    sheet = Sheet(turn, grid, threads, covered, rows, _spacings(regions))

    owner = _owners(regions)
    a, b = points[laid - 1], points[laid]
    codes = _codes(items, sheet.spacing_mm)
    areas = np.zeros((len(items) + 1, 2), dtype=np.int64)
    kept = []
    for found in patches(a, b, owner[laid], closing / grid.cell_mm, width_mm, grid):
        areas[found.owner] = _laid_down(sheet, found, codes)
        kept.append((found.owner, found.on_raster, found.on_sheet, np.packbits(found.ground, axis=1)))
    np.maximum(threads, covered.view(np.uint8), out=threads)
    layers = np.zeros(len(items) + 1, dtype=np.int64)
    for owners, on_raster, on_sheet, bits in kept:
        ground = np.unpackbits(bits, axis=1)
        layers[owners] = [
            _quantile(threads[here] * ground[there], _LAYERS_SHARE)
            for here, there in zip(on_raster, on_sheet, strict=True)
        ]

    holes = np.bincount(owner, minlength=len(items))
    thread_mm = np.bincount(owner[laid], weights=np.sqrt(((b - a) ** 2).sum(axis=1)), minlength=len(items))
    measures = tuple(
        _measured(region.id, covers, ground, grid.cell_mm**2, length, number, most)
        for region, (covers, ground), length, number, most in zip(
            items, areas.tolist(), thread_mm.tolist(), holes.tolist(), layers.tolist(), strict=False
        )
    )
    return sheet, measures


def _laid_down(sheet: Sheet, found: Patches, codes: list[int]) -> list[tuple[int, int]]:
    """Add windows to the sheet; return how many pixels the threads of each cover, and its ground has.

    Where ``codes`` (owners,) has 0 a window belongs to no region and has no ground.
    """
    areas = []
    over, covered, ground = found.over, found.covered, found.ground.view(np.uint8)
    for place, here, there in zip(found.owner, found.on_raster, found.on_sheet, strict=True):
        window, own = sheet.threads[here], over[there]
        window += own
        np.putmask(window, window < own, _MOST_THREADS)
        sheet.covered[here] |= covered[there]
        rows, taken = sheet.rows[here], ground[there]
        np.maximum(rows, taken * np.uint8(codes[place]), out=rows)
        areas.append((int(np.count_nonzero(covered[there])), int(np.count_nonzero(taken))))
    return areas


def _owners(regions: Regions) -> _Longs:
    """Return the place of the region that each penetration belongs to, (m,); one past the last for none."""
    count = len(regions.items)
    place = {region.id: i for i, region in enumerate(regions.items)}
    of = np.full(max([*place, int(regions.region_of.max(initial=0))]) + 1, count, dtype=np.int64)
    of[list(place)] = list(place.values())
    return of[regions.region_of]


def _closing_mm(region: Region) -> float:
    """Return the radius over which a region's threads are closed to its ground, mm; 0 without rows."""
    known = constants("cloth")
    return min(known["closing_share"].value * (region.row_spacing_mm or 0.0), known["closing_most_mm"].value)


def _spacings(regions: Regions) -> Floats:
    """Return 0, 0 and the row spacings of the regions, rising, no more than a byte can number."""
    spacing = np.unique([region.row_spacing_mm for region in regions.items if region.row_spacing_mm])
    if spacing.size > _MOST_SPACINGS:
        spacing = np.unique(np.quantile(spacing, np.linspace(0.0, 1.0, _MOST_SPACINGS), method="higher"))
    return np.concatenate([np.zeros(2), spacing])


def _codes(items: tuple[Region, ...], spacing_mm: Floats) -> list[int]:
    """Return the place of each region's row spacing in ``spacing_mm``, and 0 for what is of no region.

    Rows of hidden stitching leave no gaps to see: their spacing counts as none.
    """
    spacing = [0.0 if region.kind in _HIDDEN else region.row_spacing_mm or 0.0 for region in items]
    return [*np.maximum(np.searchsorted(spacing_mm, spacing), 1).tolist(), 0]


def _measured(
    region: int, covered: int, ground: int, pixel_mm2: float, thread_mm: float, holes: int, layers: int
) -> RegionCover:
    """Return what is measured of a region that covers and takes up so many pixels."""
    if ground == 0:
        return RegionCover(region, 0.0, 0.0, 0.0, 0.0, 0)
    area = ground * pixel_mm2
    return RegionCover(
        region=region,
        area_mm2=area,
        thread_mm_per_mm2=thread_mm / area,
        penetrations_per_mm2=holes / area,
        coverage=covered / ground,
        layers_max=layers,
    )


def _quantile(threads: Bytes, share: float) -> int:
    """Return the number of threads that ``share`` of the covered pixels (any shape) do not exceed."""
    over = int(np.count_nonzero(threads))
    allowed, layers = over - share * over, 0
    while over > allowed:
        layers += 1
        over = int(np.count_nonzero(threads > layers))
    return layers
