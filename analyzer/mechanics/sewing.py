"""One design's stitching laid out over its hoop: everything that does not depend on the stack."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analyzer.arrays import Bools, Floats, Ints, frozen
from analyzer.design import Design
from analyzer.errors import BadJob
from analyzer.goods import Hoop
from analyzer.goods.constants import constants
from analyzer.laid import Grid
from analyzer.mechanics.blocks import Blocks, cut_blocks, front_progress
from analyzer.mechanics.law import StitchClass, Stitches
from analyzer.mechanics.layout import Layout, lay_out
from analyzer.mechanics.wanted import Column, columns, sought
from analyzer.regions.types import Region, RegionKind, Regions

FULL_CELL_MM, SCREEN_CELL_MM, SPREAD_CELL_MM = 2.0, 3.0, 4.0
FULL_CELLS, SCREEN_CELLS, SPREAD_CELLS = 12_000, 3_000, 1_500  # larger hoops take larger cells
# progress of the sewing front in one block, and the most blocks, beyond which blocks grow longer
FULL_STEP_MM, SCREEN_STEP_MM, SPREAD_STEP_MM = 2.0, 3.0, 6.0
FULL_BLOCKS, SCREEN_BLOCKS, SPREAD_BLOCKS = 60, 30, 8
# rows that lie exactly on grid lines would let rounding decide their cell
_SHIFT_MM = np.array([0.13, 0.17])


@dataclass(frozen=True, slots=True)
class Sewing:
    """The stitches of one design that load the cloth, in order, and their layouts.

    ``full`` is fine in grid and blocks, ``screen`` coarser, ``spread`` coarse: for the many
    runs over what is uncertain, which one of the others then corrects.

    ``a`` and ``b`` (n, 2) mm are the ends of the stitches; ``ends_at`` (n,) the penetration at which each
    ends; ``loaded`` (m,) marks those penetrations.
    """

    design: Design
    regions: Regions
    hoop: Hoop
    a: Floats
    b: Floats
    ends_at: Ints
    loaded: Bools
    stitches: Stitches
    columns: tuple[Column, ...]
    full: Layout
    screen: Layout
    spread: Layout


def prepare(
    design: Design, regions: Regions, hoop: Hoop, *, detail: Literal["full", "screen"] = "full"
) -> Sewing:
    """Lay the design out in the middle of ``hoop``; with ``detail="screen"`` no finer than for screening.

    Raises:
        BadJob: the design holds no stitch that lies inside the hoop.

    """
    loads = loading(design)
    ends_at = np.flatnonzero(loads).astype(np.int32)
    if not ends_at.size:
        raise BadJob("the design holds no stitch that pulls on the cloth: there is nothing to compute")
    a, b = design.penetrations[ends_at - 1], design.penetrations[ends_at]
    length = np.hypot(*(b - a).T)
    kind = classes(design)
    stitches = Stitches(
        length_mm=frozen(length),
        direction=frozen((b - a) / length[:, None]),
        kind=frozen(kind[ends_at]),
        spacing_mm=frozen(_spacing(regions)[regions.region_of[ends_at]]),
    )
    progress = front_progress(design, regions, loads)
    satins = columns(design, regions, np.where(loads, kind, StitchClass.SHORT))
    wanted = sought(design, regions, satins)

    def layout(cell_mm: float, cells: int, step_mm: float, most: int) -> Layout:
        blocks: Blocks = cut_blocks(progress, regions, step_mm, most)
        grid, held = _hoop_grid(design, hoop, max(cell_mm, np.sqrt(hoop.width_mm * hoop.height_mm / cells)))
        return lay_out(a, b, ends_at, stitches, design.penetrations, blocks, grid, held, wanted)

    screen = layout(SCREEN_CELL_MM, SCREEN_CELLS, SCREEN_STEP_MM, SCREEN_BLOCKS)
    fine = detail == "full"
    return Sewing(
        design=design,
        regions=regions,
        hoop=hoop,
        a=frozen(a),
        b=frozen(b),
        ends_at=frozen(ends_at),
        loaded=frozen(loads),
        stitches=stitches,
        columns=satins,
        full=layout(FULL_CELL_MM, FULL_CELLS, FULL_STEP_MM, FULL_BLOCKS) if fine else screen,
        screen=screen,
        spread=layout(SPREAD_CELL_MM, SPREAD_CELLS, SPREAD_STEP_MM, SPREAD_BLOCKS),
    )


def loading(design: Design) -> Bools:
    """Which stitches (m,) pull on the cloth: joined ones that do not float loose over it."""
    limits = constants("mechanics")
    length = design.lengths_mm
    floats = design.jumped & (length > limits["jumped_float_mm"].value)
    floats |= (length > limits["longest_stitch_mm"].value) & (classes(design) != StitchClass.SATIN)
    loads: Bools = design.joined & ~floats & (length > 1e-6)
    return loads


def classes(design: Design) -> np.ndarray[tuple[int], np.dtype[np.uint8]]:
    """Class of the law (m,) of the stitch that ends at each penetration, from how the threads turn back."""
    law = constants("stitch_law")
    steps = np.zeros_like(design.penetrations)
    steps[1:] = np.diff(design.penetrations, axis=0)
    length = np.hypot(*steps.T)
    unit = steps / np.where(length > 0, length, 1.0)[:, None]
    turn = np.ones(len(unit))  # cosine between stitch i and stitch i + 1
    turn[:-1] = np.where(
        design.joined[1:] & design.joined[:-1], np.einsum("ij,ij->i", unit[1:], unit[:-1]), 1.0
    )
    back = turn < law["reversal_cosine"].value
    satin = back.copy()
    satin[1:] &= back[:-1]
    satin[0] = False
    kind = np.where(satin, StitchClass.SATIN, StitchClass.FILL)
    return np.where(length < law["short_mm"].value, StitchClass.SHORT, kind).astype(np.uint8)


def _spacing(regions: Regions) -> Floats:
    """Distance to the neighbouring thread by region id, mm; NaN: a lone line."""
    result = np.full(max(item.id for item in regions.items) + 1, np.nan)
    for item in regions.items:
        result[item.id] = _row_spacing(item)
    return result


def _row_spacing(item: Region) -> float:
    """Return the row spacing of a region in mm, NaN for a line by itself."""
    if item.kind in (RegionKind.RUN, RegionKind.TRAVEL, RegionKind.TIE) or item.row_spacing_mm is None:
        return float("nan")
    return item.row_spacing_mm


def _hoop_grid(design: Design, hoop: Hoop, cell_mm: float) -> tuple[Grid, Bools]:
    """Return the grid over the hoop, the design in its middle, and the nodes (ny+1, nx+1) that are held."""
    nx, ny = (max(4, round(side / cell_mm)) for side in (hoop.width_mm, hoop.height_mm))
    x0, y0, x1, y1 = design.bounds_mm
    middle = np.array([x0 + x1, y0 + y1]) / 2.0
    corner = middle - np.array([nx, ny]) * cell_mm / 2.0 - _SHIFT_MM
    held = np.ones((ny + 1, nx + 1), dtype=np.bool_)
    held[1:-1, 1:-1] = False
    if hoop.shape == "oval":
        x = corner[0] + cell_mm * np.arange(nx + 1) - middle[0]
        y = corner[1] + cell_mm * np.arange(ny + 1) - middle[1]
        held |= (2 * x[None, :] / hoop.width_mm) ** 2 + (2 * y[:, None] / hoop.height_mm) ** 2 >= 1.0
    return Grid(float(corner[0]), float(corner[1]), float(cell_mm), nx, ny), held
