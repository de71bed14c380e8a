"""Evidence built by hand for the tests of findings and plan: a sound patch, which the tests spoil."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from analyzer.arrays import frozen
from analyzer.cloth.types import Cover, CoverRaster, Field, Lace, RegionCover, Use, Void
from analyzer.design import Command, Design, Thread
from analyzer.findings import Evidence
from analyzer.goods import build_stack, resolve
from analyzer.goods.types import BackingChoice, StackChoice
from analyzer.job import Job
from analyzer.laid import Grid
from analyzer.mechanics.types import ColumnDraws, GapDraws, PuckerDraws, PullIn, Response
from analyzer.regions.types import Region, RegionKind, Regions

SIDE_MM = 20.0
ROW_MM = 0.4
LENGTH_MM = 4.0
THREADS = (Thread(rgb="#103a6b"), Thread(rgb="#d9a441"))


def rows(side_mm: float = SIDE_MM) -> np.ndarray:
    """Return penetrations (m, 2) mm of a square of rows, edge to edge."""
    along = np.arange(0.0, side_mm + 1e-9, LENGTH_MM)
    lines = []
    for number, y in enumerate(np.arange(0.0, side_mm + 1e-9, ROW_MM)):
        x = along if number % 2 == 0 else along[::-1]
        lines.append(np.column_stack([x, np.full(len(x), y)]))
    return np.vstack(lines)


def design(points: np.ndarray | None = None, **changes: Any) -> Design:
    points = rows() if points is None else np.asarray(points, dtype=float)
    kinds = np.full(len(points), Command.STITCH, dtype=np.uint8)
    made = Design.from_commands(points, kinds)
    return replace(made, **({"threads": THREADS} | changes))


def region(number: int, kind: RegionKind, **changes: Any) -> Region:
    made = Region(
        id=number,
        kind=kind,
        colour=0,
        first=0,
        last=0,
        stitches=100,
        row_spacing_mm=ROW_MM,
        stitch_length_mm=LENGTH_MM,
        width_mm=None,
        direction_deg=0.0,
        passes=1,
        covers=(),
        outline_of=(),
        bbox_mm=(0.0, 0.0, SIDE_MM, SIDE_MM),
    )
    return replace(made, **changes)


def sound_regions(count: int) -> Regions:
    """Return a tie, underlay, a fill over it that holds all stitches, and an outline of another colour."""
    return Regions(
        items=(
            region(0, RegionKind.TIE),
            region(1, RegionKind.UNDERLAY),
            region(2, RegionKind.FILL, covers=(1,)),
            region(3, RegionKind.RUN, colour=1, outline_of=(2,)),
        ),
        region_of=frozen(np.full(count, 2, dtype=np.int32)),
        pairs=(),
    )


def field(values: np.ndarray | float, unit: str) -> Field:
    """Return a field over 30 x 30 cells of 1 mm, the stitching from 0 to 20 mm in both directions."""
    grid = Grid(x0_mm=-5.0, y0_mm=-5.0, cell_mm=1.0, nx=30, ny=30)
    if isinstance(values, float):
        full = np.zeros(grid.shape)
        full[5:25, 5:25] = values
        values = full
    return Field(grid, frozen(values), unit)


def cover(
    coverage: float = 0.75,
    voids: tuple[Void, ...] = (),
    lace: Lace | None = None,
    count: int = 4,
    **changes: Any,
) -> Cover:
    grid = Grid(0.0, 0.0, 0.1, 200, 200)
    made = Cover(
        stitched_mm2=400.0,
        covered_mm2=400.0 * coverage,
        coverage=coverage,
        thread_width_mm=0.3,
        resolution_mm=0.0914,
        voids=voids,
        regions=tuple(RegionCover(i, 24.0 if i == 3 else 400.0, 2.5, 0.7, coverage, 2) for i in range(count)),
        density=field(2.5, "mm/mm2"),
        penetrations=field(0.7, "1/mm2"),
        raster=CoverRaster(grid, frozen(np.ones(grid.shape, dtype=np.uint8))),
        lace=lace or Lace(pieces=1, largest_share=1.0, crossings=10, loose_at=()),
    )
    return replace(made, **changes)


def gap(
    meant: float | np.ndarray, drift: np.ndarray, *, nominal: float | None = None, stations: int = 160
) -> GapDraws:
    """Return an outline round the square; ``drift`` (n,) mm is alike along a draw, or it is (n, k)."""
    meant_mm = np.full(stations, meant) if np.isscalar(meant) else np.asarray(meant, dtype=float)
    moved = np.asarray(drift, dtype=float)
    moved = np.repeat(moved[:, None], stations, axis=1) if moved.ndim == 1 else moved
    middle = np.median(moved, axis=0) if nominal is None else np.full(stations, nominal)
    s = np.arange(stations) * 0.5
    ring = np.column_stack([np.clip(s, 0, 20), np.zeros(stations)])
    for side, (dx, dy) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1))):
        on = (s >= 20 * side) & (s < 20 * (side + 1))
        start = np.array([(0, 0), (20, 0), (20, 20), (0, 20)][side], dtype=float)
        ring[on] = start + np.outer(s[on] - 20 * side, (dx, dy))
    return GapDraws(
        outline=3,
        borders=2,
        at=frozen(ring),
        normal=frozen(np.tile([0.0, -1.0], (stations, 1))),
        station_mm=0.5,
        meant_mm=frozen(meant_mm),
        nominal_mm=frozen(meant_mm + middle),
        draws_mm=frozen(meant_mm + moved),
    )


def response(
    gaps: tuple[GapDraws, ...] = (),
    columns: tuple[ColumnDraws, ...] = (),
    pucker_mm: np.ndarray | None = None,
    pucker_at: tuple[float, float] = (-2.0, 10.0),
    *,
    beyond: bool = False,
) -> Response:
    waves = np.zeros(40) if pucker_mm is None else np.asarray(pucker_mm, dtype=float)
    return Response(
        grid=Grid(0.0, 0.0, 2.0, 10, 10),
        displacement=frozen(np.zeros((11, 11, 2))),
        drift=frozen(np.zeros((len(rows()), 2))),
        strain=frozen(np.zeros((10, 10))),
        pull_in=PullIn(0.5, 0.1, (0.0, 10.0), 0.5, -0.1, 10.0, 0.08 if beyond else 0.01, beyond),
        gaps=gaps,
        columns=columns,
        pucker=PuckerDraws(float(np.median(waves)), frozen(waves), pucker_at),
        mostly_from=("pull_n",),
        solves=1,
    )


def job(goods: str = "cotton-twill", **settings: Any) -> Job:
    return Job(goods=goods, **settings)


def one_layer(
    kind: str = "cutaway", g_m2: float = 68.0, topping: str | None = None, layers: int = 1
) -> StackChoice:
    return StackChoice(
        (BackingChoice(kind, g_m2, layers, tuple(90.0 * (i % 2) for i in range(layers))),), topping
    )


def evidence(settings: Job | None = None, choice: StackChoice | None = None, **changes: Any) -> Evidence:
    """Return sound evidence on twill with a cutaway behind it; ``changes`` replace its parts."""
    made = changes.pop("design", None) or design()
    size = made.size_mm
    setup = resolve(settings or job(), (settings or job()).goods or "cotton-twill", size)
    choice = choice or one_layer()
    parts: dict[str, Any] = {
        "design": made,
        "regions": sound_regions(len(made.penetrations)),
        "cover": cover(),
        "use": Use(10.0, 5.0, 2.0, (10.0,)),
        "setup": setup,
        "stack": build_stack(setup, choice),
        "response": response(gaps=(gap(0.0, np.zeros(40)),)),
        "choice": choice,
    }
    return Evidence(**(parts | changes))
