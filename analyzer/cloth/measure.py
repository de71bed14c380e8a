"""Density, coverage and voids of a design and of each of its regions."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats, box_of, frozen
from analyzer.at_rest import collector_at_rest
from analyzer.cloth.ground import fine_grid
from analyzer.cloth.harm import needling
from analyzer.cloth.lace import lace as network_of
from analyzer.cloth.nearby import Nearby
from analyzer.cloth.rims import FILL, LINE, SATIN, Lining
from analyzer.cloth.sheet import lay_regions
from analyzer.cloth.threads import on_cloth
from analyzer.cloth.types import Cover, CoverRaster, Field, Lace, Void
from analyzer.cloth.voids import find_voids
from analyzer.design import Design
from analyzer.errors import UnreadableDesign
from analyzer.goods.constants import constants
from analyzer.laid import Grid, clip
from analyzer.regions import RegionKind, Regions

#: Pixels of the raster; no simple fraction of the 0.1 mm lattice on which stitch files hold penetrations.
RESOLUTION_MM = 0.0914
_FIELD_MM = 1.0  #: cells of the density maps
_FIELD_SHIFT_MM = (0.13, 0.17)  #: keeps rows on a lattice off the lines of the cells
_PICTURE_PIXELS = 1_000_000  #: of the raster for pictures, more than a page shows


@collector_at_rest()
def measure(
    design: Design,
    regions: Regions,
    *,
    thread_width_mm: float,
    resolution_mm: float = RESOLUTION_MM,
    small_finer: bool = True,
    lace: bool = True,
) -> Cover:
    """Measure the stitches as they lie on the cloth, before any mechanics.

    Floats (:func:`analyzer.cloth.on_cloth`) are left out throughout; penetrations all count. Small designs
    are measured up to twice as finely, unless ``small_finer`` is false.
    Areas and voids are taken from a turned raster, from which ``Cover.raster``, for pictures, is sampled.
    With ``lace`` false the network of threads, which only free-standing lace needs, is not looked at.

    Raises:
        UnreadableDesign: the design has no penetration.

    """
    if len(design.penetrations) == 0:
        raise UnreadableDesign("the design holds no stitches: choose a file that has something to sew")
    laid = np.flatnonzero(on_cloth(design))
    a, b = design.penetrations[laid - 1], design.penetrations[laid]
    density, penetrations, near = _fields(design, a, b)
    # While no raster is held: both are large.
    network = network_of(near) if lace else Lace(0, 0.0, 0, ())
    sheet, measures = lay_regions(
        design.penetrations, laid, regions, thread_width_mm, resolution_mm, small_finer=small_finer
    )
    voids = find_voids(sheet, near, _lining(design.penetrations, regions, laid), thread_width_mm)
    low, high = box_of(design.penetrations)
    picture = fine_grid(low, high, thread_width_mm, sheet.grid.cell_mm, _PICTURE_PIXELS)
    stitched_mm2, covered_mm2 = sheet.ground_mm2, sheet.covered_mm2
    return Cover(
        stitched_mm2=stitched_mm2,
        covered_mm2=covered_mm2,
        coverage=covered_mm2 / stitched_mm2 if stitched_mm2 > 0.0 else 0.0,
        thread_width_mm=thread_width_mm,
        resolution_mm=sheet.grid.cell_mm,
        voids=voids,
        regions=measures,
        density=density,
        penetrations=penetrations,
        raster=CoverRaster(picture, frozen(sheet.sampled(picture))),
        lace=network,
        looks_like_lace=_looks_like_lace(voids, stitched_mm2),
        layers_most=sheet.layers_most,
        needling=needling(design),
    )


def _looks_like_lace(voids: tuple[Void, ...], stitched_mm2: float) -> bool:
    """Say whether much of a design is small meshes."""
    known = constants("cloth")
    meshes = [v.area_mm2 for v in voids if not v.open and v.radius_mm <= known["lace_mesh_mm"].value]
    mesh_mm2 = sum(meshes)
    enough = len(meshes) >= known["lace_meshes"].value
    return enough and mesh_mm2 >= known["lace_mesh_share"].value * (stitched_mm2 + mesh_mm2)


def _fields(design: Design, a: Floats, b: Floats) -> tuple[Field, Field, Nearby]:
    """Return thread length and penetrations per area over cells of 1 mm, and which threads lie in those."""
    low, high = box_of(design.penetrations)
    origin = low - np.array(_FIELD_SHIFT_MM)
    size = np.floor((high - origin) / _FIELD_MM).astype(int) + 1
    grid = Grid(float(origin[0]), float(origin[1]), _FIELD_MM, int(size[0]), int(size[1]))
    pieces = clip(a, b, grid)
    length = pieces.total(grid) / _FIELD_MM**2
    ij = np.floor((design.penetrations - origin) / _FIELD_MM).astype(np.int64)
    holes = np.bincount(ij[:, 1] * grid.nx + ij[:, 0], minlength=grid.nx * grid.ny)
    per_mm2 = holes.reshape(grid.shape) / _FIELD_MM**2
    return (
        Field(grid, frozen(length), "mm/mm2"),
        Field(grid, frozen(per_mm2), "1/mm2"),
        Nearby.of(a, b, grid, pieces),
    )


def _lining(points: Floats, regions: Regions, laid: npt.NDArray[np.int64]) -> Lining:
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
    return Lining(
        kind=kind_of[regions.region_of[laid]],
        region=regions.region_of[laid].astype(np.int64),
        stitch=laid,
        ends_row=np.stack([ends[laid - 1], ends[laid]], axis=1),
    )
