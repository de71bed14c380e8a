"""The sewing step by step: what is sewn after each region, and how the cloth lies by then."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from analyzer.arrays import Bools, Floats
from analyzer.course import course, seen
from analyzer.goods.units import MM_PER_INCH
from analyzer.laid import Grid
from analyzer.mechanics import Course, at_points
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.drift import exaggeration
from analyzer.report.html.shape import Outline, Sheet, packed
from analyzer.report.thread_look import FLUFF, shadow, stretches, thread_colours, tones
from analyzer.report.words import Units, counted

_MOST_STEPS = 60
_MOST_NODES = 40  # of the cloth's grid along the longer side, as it is handed to the page
_MICRONS = 1000.0  # movements are handed on in thousandths of a millimetre
_HUNDREDTHS = 100.0  # places in hundredths, or in fewer where they would not fit
_LARGEST_MM = 300.0


@dataclass(frozen=True, slots=True)
class Step:
    """The sewing after one region, or after a few where there are very many."""

    number: int  #: from 1
    regions: tuple[int, ...]  #: ids sewn in this step
    kind: str
    colour: int  #: of the last of them, from 1
    rgb: str
    last: int  #: number of the last penetration made
    stitches: int  #: in this step
    sewn: int  #: stitches so far
    moved_mm: float | None  #: most that anything sewn so far has moved since its moment
    x: float  #: of its part of the ribbon, per cent
    width: float

    @property
    def named(self) -> str:
        """What is sewn in this step."""
        if len(self.regions) == 1:
            return f"{self.kind} {self.regions[0]}"
        return f"regions {self.regions[0]} to {self.regions[-1]}"


@dataclass(frozen=True, slots=True)
class Movement:
    """How the cloth moves, where that can be told: its course, and how much larger it is drawn."""

    course: Course
    factor: int
    seen: Bools  #: (m,) the penetrations whose drift is spoken of


def movement(checked: Checked, on: OnGoods | None) -> Movement | None:
    """Return how the cloth moves as it is sewn; None without goods, on caps, beyond what is computed."""
    if on is None or on.setup.holding == "cap-frame" or on.response.pull_in.beyond_range:
        return None
    whole = course(checked)
    shows = seen(checked)
    most = float(np.hypot(*whole.drift[shows].T).max(initial=0.0))
    return Movement(whole, exaggeration(most, max(checked.design.size_mm)), shows)


def steps(checked: Checked, moves: Movement | None) -> tuple[Step, ...]:
    """Return the steps of the sewing, at most sixty."""
    design, items = checked.design, checked.regions.items
    colours = thread_colours(design)
    sewn = np.cumsum(design.joined)
    total = max(int(sewn[-1]), 1) if len(sewn) else 1
    groups = _groups([(item.id, item.first, item.last) for item in items], len(design.penetrations))
    by_id = {item.id: item for item in items}
    found: list[Step] = []
    before = 0
    for number, ids in enumerate(groups, 1):
        last = max(by_id[i].last for i in ids)
        if found:
            last = max(last, found[-1].last)
        longest = max((by_id[i] for i in ids), key=lambda item: item.stitches)
        so_far = int(sewn[last])
        found.append(
            Step(
                number=number,
                regions=tuple(ids),
                kind=longest.kind.value,
                colour=longest.colour + 1,
                rgb=colours[longest.colour],
                last=last,
                stitches=so_far - before,
                sewn=so_far,
                moved_mm=None if moves is None else _most_moved(checked, moves, last),
                x=100.0 * before / total,
                width=100.0 * (so_far - before) / total,
            )
        )
        before = so_far
    return tuple(found)


def _groups(regions: list[tuple[int, int, int]], penetrations: int) -> list[list[int]]:
    """Return the regions (id, first, last) by steps: one each, or as many together as give sixty steps."""
    if len(regions) <= _MOST_STEPS:
        return [[number] for number, _, _ in regions]
    groups: list[list[int]] = []
    for number, _, last in regions:
        due = len(groups) * penetrations / _MOST_STEPS
        if not groups or last >= due:
            groups.append([number])
        else:
            groups[-1].append(number)
    return groups


def _cloth_after(moves: Course, last: int) -> Floats:
    """Return the displacement of the cloth's nodes (ny+1, nx+1, 2) mm once penetration ``last`` is made.

    Between two steps of the course it is taken to go evenly with the penetrations.
    """
    made = last + 1
    step = int(np.searchsorted(moves.sewn, made))
    after = moves.moved[min(step, len(moves.sewn) - 1)]
    first, end = (int(moves.sewn[step - 1]) if step else 0), int(moves.sewn[min(step, len(moves.sewn) - 1)])
    before = moves.moved[step - 1] if step else np.zeros_like(after)
    share = 1.0 if end <= first else min(1.0, (made - first) / (end - first))
    result: Floats = before + share * (after - before)
    return result


def _most_moved(checked: Checked, moves: Movement, last: int) -> float:
    """Return the most that anything which shows has moved once penetration ``last`` is made."""
    whole, made = moves.course, np.flatnonzero(moves.seen[: last + 1])
    change = at_points(
        whole.grid, _cloth_after(whole, last) - whole.moved[-1], checked.design.penetrations[made]
    )
    return float(np.hypot(*(change + whole.drift[made]).T).max(initial=0.0))


def step_words(step: Step, count: int, total: int, units: Units) -> str:
    """Return what is said of a step aloud."""
    said = (
        f"Step {step.number} of {count}: {step.named}, colour {step.colour},"
        f" {counted(step.stitches, 'stitch', 'stitches')}. {step.sewn:,} of {total:,} stitches sewn."
    )
    if step.moved_mm is not None:
        said += f" What is sewn has moved by up to {units.length(step.moved_mm)}."
    return said


def page_data(
    checked: Checked,
    outline: Outline,
    sheet: Sheet,
    found: tuple[Step, ...],
    moves: Movement | None,
    units: Units,
) -> dict[str, Any]:
    """Return what the page's script draws from: places, tones, steps, and how the cloth moves."""
    design = outline.design
    points = design.penetrations - np.array(sheet.middle)
    scale = _HUNDREDTHS if np.abs(points).max(initial=0.0) < _LARGEST_MM else 10.0
    parts = [
        [part.region, part.colour, int(part.ends[0]), int(part.ends[-1])]
        for part in stretches(design, outline.regions)
    ]
    tone = np.zeros(len(points), dtype=np.int64)
    for part in stretches(design, outline.regions):
        tone[part.ends] = part.tone
    colours = thread_colours(design)
    last = [int(np.searchsorted(outline.kept, step.last, side="right")) for step in found]
    data: dict[str, Any] = {
        "scale": scale,
        "places": packed(points, scale),
        "joined": packed(np.where(design.joined, tone + 1, 0)),
        "parts": parts,
        "looks": [[shadow(colour), *tones(colour)] for colour in colours],
        "width": round(FLUFF * checked.cover.thread_width_mm, 3),
        "box": list(sheet.half),
        "unit": units.name,
        "unit_mm": MM_PER_INCH if units.name == "in" else 1.0,
        "names": {
            region.id: f"{region.kind.value} {region.id}, colour {region.colour + 1}"
            for region in checked.regions.items
        },
        "steps": [
            {"end": end, "says": step_words(step, len(found), checked.design.stitches, units)}
            for end, step in zip(last, found, strict=True)
        ],
    }
    if moves is not None:
        data["moves"] = _moves(checked, outline, sheet, found, moves)
    return data


def _moves(
    checked: Checked, outline: Outline, sheet: Sheet, found: tuple[Step, ...], moves: Movement
) -> dict[str, Any]:
    """Return the cloth's displacement after each step on a coarse grid, and drift less its end."""
    (mx, my), (hx, hy) = sheet.middle, sheet.half
    cell = 2.0 * max(hx, hy) / _MOST_NODES
    nx, ny = int(np.ceil(2.0 * hx / cell)) + 1, int(np.ceil(2.0 * hy / cell)) + 1
    xs, ys = mx - hx + cell * np.arange(nx), my - hy + cell * np.arange(ny)
    nodes = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    grid = moves.course.grid
    x0, x1, y0, y1 = grid.extent_mm
    inside = np.clip(nodes, (x0, y0), (x1, y1))  # at the hoop's edge the cloth is held
    after = [at_points(grid, _cloth_after(moves.course, step.last), inside) for step in found]
    points = checked.design.penetrations[outline.kept]
    end = after[-1].reshape(ny, nx, 2)
    coarse = at_points(Grid(float(xs[0]), float(ys[0]), cell, nx - 1, ny - 1), end, points)
    return {
        "factor": moves.factor,
        "nx": nx,
        "ny": ny,
        "cell": cell,
        "after": packed(np.array(after), _MICRONS),
        "own": packed(moves.course.drift[outline.kept] - coarse, _MICRONS),
    }
