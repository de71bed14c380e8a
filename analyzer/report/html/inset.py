"""The worst place of an outline, enlarged, with the thread as it is predicted to lie."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Floats
from analyzer.findings.types import GapVerdict
from analyzer.pipeline import Checked, OnGoods
from analyzer.regions.types import Regions
from analyzer.report.fill_in import worst_gap
from analyzer.report.gap_map import worst_station
from analyzer.report.html.layers import arrows
from analyzer.report.html.shape import PER_MM, Outline, Patch, Sheet, thread
from analyzer.report.predicted import is_run
from analyzer.report.thread_look import FLUFF

_AROUND_MM = 2.0  #: half the side of what is enlarged, at least
_FINE = 20.0  # units of the inset in one of the drawing


@dataclass(frozen=True, slots=True)
class Inset:
    """What is enlarged, and the verdict on it; ``half`` its side and a thread's ``width`` are in units."""

    verdict: GapVerdict
    half: int
    width: float
    thread: tuple[Patch, ...]
    arrows: str
    bar: int  #: length of a millimetre
    of_run: bool  #: whether the gap is counted from the middle line of a run


def worst_place(checked: Checked, on: OnGoods | None) -> Inset | None:
    """Return the worst gap enlarged; None where there is none or none can be computed."""
    if on is None or on.setup.holding == "cap-frame" or on.response.pull_in.beyond_range:
        return None
    verdict = worst_gap(on)
    if verdict is None:
        return None
    place = worst_station(checked, on, verdict)
    half_mm = max(_AROUND_MM, 3.0 * abs(verdict.worst_mm))
    middle = float(place.at[0]), float(place.at[1])
    # the drawing counts in tenths of a millimetre; an enlargement needs finer steps
    sheet = Sheet((0.0, 0.0), (half_mm, half_mm), None)
    near = _near(checked, on.response.drift, np.array(middle), half_mm)
    moved = (checked.design.penetrations[near.kept] + on.response.drift[near.kept] - middle) * _FINE
    patches = thread(sheet, near, moved - near.design.penetrations)
    edge = place.at - verdict.worst_mm * place.normal
    away = np.sign(verdict.worst_mm or 1.0) * place.normal
    tips = (np.stack((place.at, edge)) - middle) * _FINE
    tails = tips + 0.45 * half_mm * _FINE * np.stack((away, -away))
    return Inset(
        verdict=verdict,
        half=round(half_mm * _FINE * PER_MM),
        width=round(FLUFF * checked.cover.thread_width_mm * _FINE * PER_MM, 1),
        thread=patches,
        arrows=arrows(sheet, tails, tips),
        bar=round(_FINE * PER_MM),
        of_run=is_run(verdict, checked.regions),
    )


def _near(checked: Checked, drift: Floats, middle: Floats, half_mm: float) -> Outline:
    """Return the part of a design whose stitches come into a square, as they lie in the end."""
    design, regions = checked.design, checked.regions
    at = design.penetrations + drift
    before = np.roll(at, 1, axis=0)
    low, high = np.minimum(at, before), np.maximum(at, before)
    reach = half_mm + 0.5
    seen = design.joined & np.all((high > middle - reach) & (low < middle + reach), axis=1)
    needed = seen.copy()
    needed[:-1] |= seen[1:]
    kept = np.flatnonzero(needed).astype(np.int32)
    part = dataclasses.replace(
        design,
        penetrations=design.penetrations[kept],
        joined=seen[kept],
        jumped=design.jumped[kept],
        colour=design.colour[kept],
    )
    return Outline(part, Regions(regions.items, regions.region_of[kept], ()), kept)
