"""Density, coverage and voids of a design and of each of its regions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats, frozen
from analyzer.cloth.ground import closed, fine_grid, window
from analyzer.cloth.lace import lace
from analyzer.cloth.threads import on_cloth
from analyzer.cloth.types import Cover, CoverRaster, Field, RegionCover
from analyzer.cloth.voids import Threads, find_voids
from analyzer.design import Design
from analyzer.errors import UnreadableDesign
from analyzer.goods.constants import constants
from analyzer.laid import Grid, clip, lay
from analyzer.regions import Region, RegionKind, Regions

_FIELD_MM = 1.0  #: cells of the density maps
_FIELD_SHIFT_MM = (0.13, 0.17)  #: keeps rows on a lattice off the lines of the cells
_LAYERS_SHARE = 0.995  #: layers_max is this quantile over a region's ground


def measure(
    design: Design, regions: Regions, *, thread_width_mm: float, resolution_mm: float = 0.0914
) -> Cover:
    """Measure the stitches as they lie on the cloth, before any mechanics.

    Floats (:func:`analyzer.cloth.on_cloth`) are left out throughout; penetrations all count. The default
    resolution is no simple fraction of the 0.1 mm lattice on which stitch files hold penetrations.

    Raises:
        UnreadableDesign: the design has no penetration.

    """
    if len(design.penetrations) == 0:
        raise UnreadableDesign("the design holds no stitches: choose a file that has something to sew")
    laid = np.flatnonzero(on_cloth(design))
    a, b = design.penetrations[laid - 1], design.penetrations[laid]
    low, high = design.penetrations.min(axis=0), design.penetrations.max(axis=0)
    margin = 0.5 * thread_width_mm + 4.0 * resolution_mm + constants("cloth")["void_radius_mm"].value
    grid = fine_grid(low, high, margin, resolution_mm)

    covered = lay(a, b, thread_width_mm, grid) > 0
    # Layers with butt ends, so that joints within a row do not count twice; the union with round ones.
    threads = np.maximum(lay(a, b, thread_width_mm, grid, ends="butt"), covered.astype(np.uint8))
    found = _Found(np.zeros(grid.shape, dtype=np.bool_), np.zeros(grid.shape, dtype=np.float32))
    measures = tuple(
        _region(design, regions, region, laid, thread_width_mm, grid, threads, found)
        for region in regions.items
    )
    found.ground |= covered
    pixel = grid.cell_mm**2
    stitched, bare = np.count_nonzero(found.ground) * pixel, np.count_nonzero(covered) * pixel
    density, penetrations = _fields(design, a, b, low, high)
    return Cover(
        stitched_mm2=float(stitched),
        covered_mm2=float(bare),
        coverage=float(bare / stitched) if stitched > 0.0 else 0.0,
        thread_width_mm=thread_width_mm,
        resolution_mm=grid.cell_mm,
        voids=find_voids(_rims(design, regions, laid), thread_width_mm, grid, covered, found.spacing),
        regions=measures,
        density=density,
        penetrations=penetrations,
        raster=CoverRaster(grid, frozen(threads)),
        lace=lace(a, b),
    )


@dataclass(slots=True)
class _Found:
    """What the regions add up to while they are measured, over the whole raster (ny, nx)."""

    ground: Bools
    spacing: npt.NDArray[np.float32]  #: widest row spacing of the regions on a pixel, mm


def _region(
    design: Design,
    regions: Regions,
    region: Region,
    laid: npt.NDArray[np.int64],
    width_mm: float,
    grid: Grid,
    threads: Bytes,
    found: _Found,
) -> RegionCover:
    """Measure one region on its window of the raster, and add its ground to ``found``."""
    known = constants("cloth")
    spacing = region.row_spacing_mm or 0.0
    radius = min(known["closing_share"].value * spacing, known["closing_most_mm"].value)
    first, last = np.searchsorted(laid, [region.first, region.last + 1])
    own = laid[first:last]
    own = own[regions.region_of[own] == region.id]
    if own.size == 0:
        return RegionCover(region.id, 0.0, 0.0, 0.0, 0.0, 0)
    a, b = design.penetrations[own - 1], design.penetrations[own]
    low, high = np.minimum(a, b).min(axis=0), np.maximum(a, b).max(axis=0)
    rows, columns, part = window(grid, low, high, 0.5 * width_mm + radius + 2.0 * grid.cell_mm)
    covered, ground = closed(a, b, width_mm, radius, part)
    found.ground[rows, columns] |= ground
    np.maximum(found.spacing[rows, columns], spacing * ground, out=found.spacing[rows, columns])
    pixels = np.count_nonzero(ground)
    area = pixels * grid.cell_mm**2
    if pixels == 0:
        return RegionCover(region.id, 0.0, 0.0, 0.0, 0.0, 0)
    layers = np.cumsum(np.bincount(threads[rows, columns][ground], minlength=1))
    holes = np.count_nonzero(regions.region_of[region.first : region.last + 1] == region.id)
    return RegionCover(
        region=region.id,
        area_mm2=float(area),
        thread_mm_per_mm2=float(np.hypot(*(b - a).T).sum() / area),
        penetrations_per_mm2=float(holes / area),
        coverage=float(np.count_nonzero(covered) / pixels),
        layers_max=int(np.searchsorted(layers, _LAYERS_SHARE * pixels)),
    )


def _fields(design: Design, a: Floats, b: Floats, low: Floats, high: Floats) -> tuple[Field, Field]:
    """Return thread length and penetrations per area over cells of 1 mm."""
    origin = low - np.array(_FIELD_SHIFT_MM)
    size = np.floor((high - origin) / _FIELD_MM).astype(int) + 1
    grid = Grid(float(origin[0]), float(origin[1]), _FIELD_MM, int(size[0]), int(size[1]))
    length = clip(a, b, grid).total(grid) / _FIELD_MM**2
    ij = np.floor((design.penetrations - origin) / _FIELD_MM).astype(np.int64)
    holes = np.bincount(ij[:, 1] * grid.nx + ij[:, 0], minlength=grid.nx * grid.ny)
    per_mm2 = holes.reshape(grid.shape) / _FIELD_MM**2
    return Field(grid, frozen(length), "mm/mm2"), Field(grid, frozen(per_mm2), "1/mm2")


def _rims(design: Design, regions: Regions, laid: npt.NDArray[np.int64]) -> Threads:
    """Return the stitches on the cloth with what they say of a rim that they lie on."""
    points = design.penetrations
    step = np.zeros_like(points)
    step[laid] = points[laid] - points[laid - 1]
    # A row ends where the next stitch turns off, and where thread begins or ends.
    dot = (step[:-1] * step[1:]).sum(axis=1)
    size = np.hypot(step[:, 0], step[:, 1])
    turn = np.cos(np.deg2rad(constants("cloth")["turn_deg"].value))
    ends = np.ones(len(points), dtype=np.bool_)
    ends[:-1] = dot <= turn * size[:-1] * size[1:]
    finishing = (RegionKind.RUN, RegionKind.SATIN)
    kinds = {region.id: region.kind in finishing for region in regions.items}
    along = np.array([kinds.get(int(i), False) for i in regions.region_of[laid]], dtype=np.bool_)
    return Threads(
        a=points[laid - 1],
        b=points[laid],
        finishing=along,
        ends_row=np.stack([ends[laid - 1], ends[laid]], axis=1),
    )
