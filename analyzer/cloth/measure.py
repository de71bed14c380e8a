"""Density, coverage and voids of a design and of each of its regions."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats, frozen
from analyzer.cloth.ground import closed, fine_grid, raster_turn
from analyzer.cloth.harm import needling
from analyzer.cloth.lace import lace as network_of
from analyzer.cloth.patches import Patch, patches
from analyzer.cloth.rims import FILL, LINE, SATIN, Threads
from analyzer.cloth.threads import on_cloth
from analyzer.cloth.types import Cover, CoverRaster, Field, Lace, RegionCover, Void
from analyzer.cloth.voids import find_voids
from analyzer.design import Design
from analyzer.errors import UnreadableDesign
from analyzer.goods.constants import constants
from analyzer.laid import Grid, clip, lay
from analyzer.regions import Region, RegionKind, Regions

_FIELD_MM = 1.0  #: cells of the density maps
_FIELD_SHIFT_MM = (0.13, 0.17)  #: keeps rows on a lattice off the lines of the cells
_LAYERS_SHARE = 0.995  #: layers_max is this quantile over what is covered of a region's ground
_LAYERS_MOST = 0.999  #: layers_most is this quantile over all that is covered


def measure(
    design: Design,
    regions: Regions,
    *,
    thread_width_mm: float,
    resolution_mm: float = 0.0914,
    lace: bool = True,
) -> Cover:
    """Measure the stitches as they lie on the cloth, before any mechanics.

    Floats (:func:`analyzer.cloth.on_cloth`) are left out throughout; penetrations all count. The default
    resolution is no simple fraction of the 0.1 mm lattice on which stitch files hold penetrations.
    Areas and voids are taken from a raster turned against the one that ``Cover.raster`` holds for pictures.
    With ``lace`` false the network of threads, which only free-standing lace needs, is not looked at.

    Raises:
        UnreadableDesign: the design has no penetration.

    """
    if len(design.penetrations) == 0:
        raise UnreadableDesign("the design holds no stitches: choose a file that has something to sew")
    laid = np.flatnonzero(on_cloth(design))
    a, b = design.penetrations[laid - 1], design.penetrations[laid]
    turn = raster_turn(a, b)
    sheet = _sheet(design.penetrations @ turn, laid, regions, thread_width_mm, resolution_mm)
    measures = _regions(regions, laid, sheet)
    sheet.ground[...] |= sheet.covered
    pixel = sheet.grid.cell_mm**2
    stitched, covered = np.count_nonzero(sheet.ground) * pixel, np.count_nonzero(sheet.covered) * pixel
    lined = _lined(sheet.points, regions, laid)
    voids = find_voids(lined, thread_width_mm, sheet.grid, sheet.covered, sheet.spacing)
    density, penetrations = _fields(design, a, b)
    low, high = design.penetrations.min(axis=0), design.penetrations.max(axis=0)
    picture = fine_grid(low, high, thread_width_mm, resolution_mm)
    return Cover(
        stitched_mm2=float(stitched),
        covered_mm2=float(covered),
        coverage=float(covered / stitched) if stitched > 0.0 else 0.0,
        thread_width_mm=thread_width_mm,
        resolution_mm=sheet.grid.cell_mm,
        voids=tuple(replace(void, at=_turned_back(void.at, turn)) for void in voids),
        regions=measures,
        density=density,
        penetrations=penetrations,
        raster=CoverRaster(picture, frozen(_threads(a, b, thread_width_mm, picture))),
        lace=network_of(a, b) if lace else Lace(0, 0.0, 0, ()),
        looks_like_lace=_looks_like_lace(voids, float(stitched)),
        layers_most=_quantile(sheet.threads, _LAYERS_MOST),
        needling=needling(design, regions),
    )


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The turned raster (ny, nx). The regions add to what is covered, to the ground and to the spacing."""

    points: Floats  #: penetrations, turned
    width_mm: float
    grid: Grid
    threads: Bytes
    covered: Bools
    ground: Bools
    spacing: npt.NDArray[np.float32]  #: widest row spacing of the regions on a pixel, mm


def _sheet(
    points: Floats, laid: npt.NDArray[np.int64], regions: Regions, width_mm: float, pitch_mm: float
) -> _Sheet:
    """Lay the whole design on a raster with room for what the regions are closed over."""
    widest = max((_closing_mm(region) for region in regions.items), default=0.0)
    margin = 0.5 * width_mm + max(widest, constants("cloth")["void_open_mm"].value) + 4.0 * pitch_mm
    grid = fine_grid(points.min(axis=0), points.max(axis=0), margin, pitch_mm)
    threads = lay(points[laid - 1], points[laid], width_mm, grid, ends="butt")
    covered, bare = np.zeros(grid.shape, dtype=np.bool_), np.zeros(grid.shape, dtype=np.bool_)
    return _Sheet(points, width_mm, grid, threads, covered, bare, np.zeros(grid.shape, dtype=np.float32))


def _threads(a: Floats, b: Floats, width_mm: float, grid: Grid) -> Bytes:
    """Count the threads over each pixel, (ny, nx).

    The union is that of round ends; the count is that of butt ends, which does not see the joints within a
    row twice.
    """
    covered = lay(a, b, width_mm, grid) > 0
    return np.maximum(lay(a, b, width_mm, grid, ends="butt"), covered.view(np.uint8))


def _turned_back(at: tuple[float, float], turn: Floats) -> tuple[float, float]:
    x, y = np.array(at) @ turn.T
    return float(x), float(y)


def _closing_mm(region: Region) -> float:
    """Return the radius over which a region's threads are closed to its ground, mm; 0 without rows."""
    known = constants("cloth")
    return min(known["closing_share"].value * (region.row_spacing_mm or 0.0), known["closing_most_mm"].value)


def _regions(regions: Regions, laid: npt.NDArray[np.int64], sheet: _Sheet) -> tuple[RegionCover, ...]:
    """Measure every region by itself, and add its ground to the sheet."""
    found = [RegionCover(region.id, 0.0, 0.0, 0.0, 0.0, 0) for region in regions.items]
    count = len(found)
    place = {region.id: i for i, region in enumerate(regions.items)}
    # What belongs to no region is laid as one more.
    of = np.full(max([*place, int(regions.region_of.max(initial=0))]) + 1, count, dtype=np.int64)
    of[list(place)] = list(place.values())
    owner = of[regions.region_of]
    holes = np.bincount(owner, minlength=count)
    radius_px = np.append([_closing_mm(region) for region in regions.items], 0.0) / sheet.grid.cell_mm
    a, b = sheet.points[laid - 1], sheet.points[laid]
    thread_mm = np.bincount(owner[laid], weights=np.hypot(*(b - a).T), minlength=count)
    for patch in patches(a, b, owner[laid], radius_px + 2.0, sheet.width_mm, sheet.grid):
        i = patch.owner
        sheet.covered[patch.rows, patch.columns] |= patch.covered
        if i < count:
            item = regions.items[i]
            found[i] = _region(item, patch, radius_px[i], float(thread_mm[i]), int(holes[i]), sheet)
    return tuple(found)


def _region(
    region: Region, patch: Patch, radius_px: float, thread_mm: float, holes: int, sheet: _Sheet
) -> RegionCover:
    """Measure one region on its window of the raster, and add its ground to the sheet."""
    ground = closed(patch.covered, radius_px)
    pixels = np.count_nonzero(ground)
    if pixels == 0:
        return RegionCover(region.id, 0.0, 0.0, 0.0, 0.0, 0)
    sheet.ground[patch.rows, patch.columns] |= ground
    if region.row_spacing_mm:
        spacing = sheet.spacing[patch.rows, patch.columns]
        np.copyto(spacing, region.row_spacing_mm, where=ground & (spacing < region.row_spacing_mm))
    area = pixels * sheet.grid.cell_mm**2
    over = sheet.threads[patch.rows, patch.columns][ground]
    return RegionCover(
        region=region.id,
        area_mm2=float(area),
        thread_mm_per_mm2=thread_mm / area,
        penetrations_per_mm2=holes / area,
        coverage=float(np.count_nonzero(patch.covered) / pixels),
        layers_max=_quantile(over, _LAYERS_SHARE),
    )


def _quantile(threads: Bytes, share: float) -> int:
    """Return the number of threads that ``share`` of the covered pixels (any shape) do not exceed."""
    count = np.bincount(threads.ravel(), minlength=2)
    count[0] = 0
    return int(np.searchsorted(np.cumsum(count), share * count.sum()))


def _looks_like_lace(voids: tuple[Void, ...], stitched_mm2: float) -> bool:
    """Say whether much of a design is small meshes."""
    known = constants("cloth")
    meshes = [v.area_mm2 for v in voids if not v.open and v.radius_mm <= known["lace_mesh_mm"].value]
    mesh_mm2 = sum(meshes)
    enough = len(meshes) >= known["lace_meshes"].value
    return enough and mesh_mm2 >= known["lace_mesh_share"].value * (stitched_mm2 + mesh_mm2)


def _fields(design: Design, a: Floats, b: Floats) -> tuple[Field, Field]:
    """Return thread length and penetrations per area over cells of 1 mm."""
    low, high = design.penetrations.min(axis=0), design.penetrations.max(axis=0)
    origin = low - np.array(_FIELD_SHIFT_MM)
    size = np.floor((high - origin) / _FIELD_MM).astype(int) + 1
    grid = Grid(float(origin[0]), float(origin[1]), _FIELD_MM, int(size[0]), int(size[1]))
    length = clip(a, b, grid).total(grid) / _FIELD_MM**2
    ij = np.floor((design.penetrations - origin) / _FIELD_MM).astype(np.int64)
    holes = np.bincount(ij[:, 1] * grid.nx + ij[:, 0], minlength=grid.nx * grid.ny)
    per_mm2 = holes.reshape(grid.shape) / _FIELD_MM**2
    return Field(grid, frozen(length), "mm/mm2"), Field(grid, frozen(per_mm2), "1/mm2")


def _lined(points: Floats, regions: Regions, laid: npt.NDArray[np.int64]) -> Threads:
    """Return the stitches on the cloth with what they say of a rim that they lie on."""
    step = np.zeros_like(points)
    step[laid] = points[laid] - points[laid - 1]
    # A row ends where the next stitch turns off, and where thread begins or ends.
    dot = (step[:-1] * step[1:]).sum(axis=1)
    size = np.hypot(step[:, 0], step[:, 1])
    turn = np.cos(np.deg2rad(constants("cloth")["turn_deg"].value))
    ends = np.ones(len(points), dtype=np.bool_)
    ends[:-1] = dot <= turn * size[:-1] * size[1:]
    codes = {RegionKind.SATIN: SATIN, RegionKind.FILL: FILL}
    kind_of = np.full(max((region.id for region in regions.items), default=-1) + 2, LINE, dtype=np.int8)
    for region in regions.items:
        kind_of[region.id] = codes.get(region.kind, LINE)
    return Threads(
        a=points[laid - 1],
        b=points[laid],
        kind=kind_of[regions.region_of[laid]],
        region=regions.region_of[laid].astype(np.int64),
        stitch=laid,
        ends_row=np.stack([ends[laid - 1], ends[laid]], axis=1),
    )
