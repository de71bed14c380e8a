"""What there is to measure on any design: gaps where a check names them, columns, lengths of fills."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyzer import pipeline
from analyzer.arrays import Floats
from analyzer.design import Design
from analyzer.job import Job
from analyzer.regions.types import OutlinePair, Region, RegionKind, Regions
from analyzer.sewout.piece import Measure
from analyzer.sewout.teaching import measures_of

_GAPS, _COLUMNS, _FILLS = 4, 3, 2  # asked for at most
_ALIKE_MM = 0.3  # widths nearer than this are one
_LEAST_COLUMN_MM, _LEAST_FILL_MM = 1.0, 8.0  # below these a ruler tells little
_BAND_MM = 1.0  # about the middle line of a fill, within which its ends are looked for
_APART_MM = 3.0  # two gaps of one outline nearer than this are one
_HIDDEN_MM = 0.5  # overlapping in the file by more, no bare cloth will show

Place = tuple[float, float]


def to_measure(design: Design, job: Job) -> tuple[Measure, ...]:
    """Return what to measure on a design that was sewn as ``job`` says: the test piece has its own list."""
    known = measures_of(design, ())
    if known:
        return known
    checked = pipeline.check(design, job)
    gaps = checked.judged.findings.gaps if checked.judged is not None else ()
    worst = sorted(gaps, key=lambda gap: -gap.worst_mm)
    return places(design, checked.regions, [gap.at for gap in worst])


def places(design: Design, regions: Regions, gaps: Sequence[Place]) -> tuple[Measure, ...]:
    """Return what to measure on a design: gaps next to the places ``gaps``, then columns, then fills.

    Names give places in mm from the middle of the design, to the right and upwards.
    """
    x0, y0, x1, y1 = design.bounds_mm
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    found = [
        *_gaps(regions, gaps, middle),
        *_columns(design, regions, middle),
        *_fills(design, regions, middle),
    ]
    names = [one.name for one in found]
    return tuple(one for number, one in enumerate(found) if one.name not in names[:number])


def _said(at: Floats, middle: Place) -> str:
    # 0.0 added, so that nothing is at -0.0
    x, y = (round(float(value) - own, 1) + 0.0 for value, own in zip(at, middle, strict=True))
    return f"x {x:.1f} y {y:.1f}"


def _place(at: Floats) -> Place:
    return float(at[0]), float(at[1])


def _gaps(regions: Regions, wanted: Sequence[Place], middle: Place) -> list[Measure]:
    """Return gaps at the stations nearest to what is wanted, and where there are few those opposite."""
    here: list[tuple[OutlinePair, int]] = []
    for at in wanted if regions.pairs else ():
        pair = min(regions.pairs, key=lambda each: float(np.hypot(*(each.at - np.array(at)).T).min()))
        here.append((pair, int(np.hypot(*(pair.at - np.array(at)).T).argmin())))
    facing = [(pair, int((pair.normal @ pair.normal[station]).argmin())) for pair, station in here]
    found: list[Measure] = []
    for pair, station in here + facing:
        away = [float(np.hypot(*np.subtract(one.start, pair.at[station]))) for one in found]
        if pair.meant_mm[station] > -_HIDDEN_MM and min(away, default=np.inf) > _APART_MM:
            found.append(_gap(pair, station, middle))
    return found[:_GAPS]


def _gap(pair: OutlinePair, station: int, middle: Place) -> Measure:
    at = _place(pair.at[station])
    side = _side(pair.normal[station])
    name = f"gap {side}, {_said(pair.at[station], middle)}"
    return Measure(name, "gap", at, at, float(pair.meant_mm[station]))


def _side(normal: Floats) -> str:
    """Return on which side of what it borders an outline lies."""
    x, y = normal.tolist()
    if abs(x) > abs(y):
        return "to the right" if x > 0 else "to the left"
    return "above" if y > 0 else "below"


def _columns(design: Design, regions: Regions, middle: Place) -> list[Measure]:
    """Return widths of columns in the middle of their length: the widest, the narrowest, one between."""
    own = [
        item
        for item in regions.items
        if item.kind is RegionKind.SATIN
        and item.row_spacing_mm
        and (item.width_mm or 0.0) >= _LEAST_COLUMN_MM
    ]
    own.sort(key=lambda item: (-(item.width_mm or 0.0), item.id))
    kept: list[Region] = []
    for item in own:
        if all(abs((item.width_mm or 0.0) - (one.width_mm or 0.0)) > _ALIKE_MM for one in kept):
            kept.append(item)
    if len(kept) > _COLUMNS:
        kept = [kept[n] for n in np.linspace(0, len(kept) - 1, _COLUMNS).round().astype(int)]
    found = []
    for item in kept:
        half = (item.first + item.last) // 2
        at = (design.penetrations[half] + design.penetrations[half - 1]) / 2
        name = f"width of the column at {_said(at, middle)}"
        found.append(Measure(name, "width", _place(at), _place(at), float(item.width_mm or 0.0)))
    return found


def _fills(design: Design, regions: Regions, middle: Place) -> list[Measure]:
    """Return lengths of the largest fills along their rows, through their middle."""
    found = []
    fills = sorted((i for i in regions.items if i.kind is RegionKind.FILL), key=lambda i: (-i.stitches, i.id))
    for item in fills[:_FILLS]:
        points = design.penetrations[np.flatnonzero(regions.region_of == item.id)]
        angle = np.radians(item.direction_deg or 0.0)
        along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
        off = points @ across
        near = points[np.abs(off - np.median(off)) < _BAND_MM]
        if not len(near):
            continue
        reach = near @ along
        start, end = near[int(reach.argmin())], near[int(reach.argmax())]
        length = float(np.hypot(*(end - start)))
        if length >= _LEAST_FILL_MM:
            name = f"fill along its rows, {_said(start, middle)} to {_said(end, middle)}"
            found.append(Measure(name, "sewn", _place(start), _place(end), length))
    return found
