"""The cloth map of gaps: a ribbon along each outline, as wide as the predicted gap, and the worst place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from analyzer.arrays import Floats, Ints
from analyzer.findings import chance_words
from analyzer.findings.gaps import along_outline, median_along, stretches
from analyzer.findings.types import GapVerdict
from analyzer.goods.constants import constants
from analyzer.mechanics.types import GapDraws
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.canvas import Form, Sheet
from analyzer.report.design_map import draw_thread, lay_cloth
from analyzer.report.drift import broken, exaggeration
from analyzer.report.fill_in import meant_mm, worst_gap
from analyzer.report.ground import ground_colour
from analyzer.report.predicted import beyond_words, is_run
from analyzer.report.scales import signed
from analyzer.report.words import Units, goods_phrase, layers_in_words

_PALE = "#b9b9b9"
_EDGE = "#3a3a3a"
_BESIDE_IN = 3.1
_AROUND_MM = 2.0  #: half the side of what is enlarged, at least
_LEAST_SHOWN_MM = 0.2  #: end of the scale, at least


def ribbon_mm(gap: GapDraws, on: OnGoods) -> Floats:
    """Return the nominal gap (k,) mm at each station of an outline, taken along it as it is judged."""
    limits = on.setup.limits or constants("limits")
    meant = median_along(gap.meant_mm, gap.at, gap.station_mm, limits["gap_meant_window_mm"].value)
    drift = along_outline(
        gap.nominal_mm - gap.meant_mm, gap.at, gap.station_mm, limits["gap_window_mm"].value
    )
    result: Floats = meant + drift
    return result


def ribbon_edge(gap: GapDraws, width_mm: Floats, factor: float) -> Floats:
    """Return the far edge (k, 2) of a ribbon: the edge that the outline borders, seen from the outline.

    Bare cloth lies between them, on the border's side; where they overlap it lies beyond the outline.
    """
    result: Floats = gap.at - factor * width_mm[:, None] * gap.normal
    return result


def gap_map(checked: Checked, on: OnGoods, form: Form) -> bytes:
    """Draw the gap along every outline, enlarged by a factor that is told, and the worst place enlarged.

    Where the cloth distorts beyond what can be computed there is no ribbon.
    """
    title = f"Gaps: {checked.design.name} {goods_phrase(on.setup.cloth, short=True)}"
    behind = f"Behind it: {layers_in_words(on.stack.backings)}."
    gaps, beyond = on.response.gaps, on.response.pull_in.beyond_range
    if beyond or not gaps:
        said = (
            f"{beyond_words(on)} No gap can be given."
            if beyond
            else ("No outline follows another region's edge, so there is no gap to predict.")
        )
        sheet = Sheet(checked, title, f"{behind} {said}")
        _pale_design(sheet, on)
        return sheet.render(form)
    widths = [ribbon_mm(gap, on) for gap in gaps]
    largest = max(float(np.abs(width).max(initial=0.0)) for width in widths)
    factor = exaggeration(largest, max(checked.design.size_mm))
    drawn = f"drawn {factor} times as wide" if factor > 1 else "drawn true to scale"
    sheet = Sheet(
        checked,
        title,
        f"{behind} A ribbon along each outline is as wide as the gap to what it borders, {drawn} (estimate)."
        " On the border's side and amber: bare cloth. On the other side and violet: overlap."
        f"{_worst_told(on)}",
        beside_in=_BESIDE_IN,
    )
    _pale_design(sheet, on)
    worst = worst_gap(on)
    limit = on.findings.tolerance_mm if worst is None else worst.limit_mm
    top = max(largest, abs(limit), _LEAST_SHOWN_MM)
    for gap, width in zip(gaps, widths, strict=True):
        ribbons = _ribbon(sheet, gap, width, factor)
        ribbons.set_clim(-top, top)
        sheet.axes.add_collection(ribbons)
    sheet.signed_scale(ribbons, "gap, mm: + bare cloth, - overlap", ((limit, "limit"),))
    _worst_place(sheet, on)
    return sheet.render(form)


def _pale_design(sheet: Sheet, on: OnGoods) -> None:
    sheet.frame(on.setup.hoop)
    width = max(0.4, sheet.checked.cover.thread_width_mm * sheet.points_per_mm())
    sheet.stitches(sheet.segments(), colors=_PALE, linewidths=width, zorder=2)


def _ribbon(sheet: Sheet, gap: GapDraws, width: Floats, factor: float) -> PolyCollection:
    """Return the ribbon of one outline as quadrilaterals between neighbouring stations."""
    near, far = gap.at, ribbon_edge(gap, width, factor)
    parts: list[Floats] = []
    shown: list[Floats] = []
    bounds: Ints = stretches(gap.at, gap.station_mm)
    for first, end in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        if end - first < 2:
            continue
        a, b = slice(first, end - 1), slice(first + 1, end)
        parts.append(np.stack((near[a], near[b], far[b], far[a]), axis=1))
        shown.append((width[a] + width[b]) / 2.0)
        for line, thick in ((near[first:end], 1.2), (far[first:end], 0.7)):
            sheet.axes.plot(*broken(line).T, color=_EDGE, linewidth=thick, zorder=4)
    quads = np.concatenate(parts) if parts else np.zeros((0, 4, 2))
    drawn = PolyCollection(list(quads), cmap=signed(), zorder=3, linewidths=0.0)
    drawn.set_array(np.concatenate(shown) if shown else np.zeros(0))
    return drawn


def _worst_told(on: OnGoods) -> str:
    gap = worst_gap(on)
    if gap is None:
        return ""
    told, meant = Units(), meant_mm(gap, on.response)
    in_file = "" if meant is None else f", in file {told.bare(meant, signed=True)}"
    return (
        f" Ring: the worst place, {told.bare(gap.worst_mm, signed=True)} mm (5-95 %:"
        f" {told.bare(gap.low_mm, signed=True)} to {told.bare(gap.high_mm, signed=True)}{in_file})."
    )


def _worst_place(sheet: Sheet, on: OnGoods) -> None:
    """Mark the worst place and show it enlarged beside the picture, thread as it will lie."""
    gap = worst_gap(on)
    if gap is None:
        return
    ring: dict[str, Any] = {"marker": "o", "markersize": 20, "fillstyle": "none"}
    sheet.axes.plot(*gap.at, **ring, color="white", markeredgewidth=3.4, zorder=6)
    sheet.axes.plot(*gap.at, **ring, color="black", markeredgewidth=1.6, zorder=7)
    axes = sheet.beside.add_axes((0.02, 0.34, 0.94, 0.94 * _BESIDE_IN / 7.2))
    half = max(_AROUND_MM, 3.0 * abs(gap.worst_mm))
    place = worst_station(sheet.checked, on, gap)
    x, y = (float(value) for value in place.at)
    view = x - half, x + half, y - half, y + half
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_facecolor(ground_colour(sheet.checked))
    lay_cloth(sheet, axes=axes, view=view)
    times = 0.94 * _BESIDE_IN * 72.0 / (2.0 * half) / sheet.points_per_mm()
    draw_thread(sheet, sheet.checked.design.penetrations + on.response.drift, axes=axes, scale=times)
    axes.set_xlim(*view[:2])
    axes.set_ylim(*view[2:])
    _measure(axes, place, gap.worst_mm, half)
    told = Units()
    what = "bare cloth" if gap.worst_mm > 0 else "overlap"
    meant = meant_mm(gap, on.response)
    lines = [
        f"The worst place as predicted, {times:.0f} times as large",
        f"as beside it. Outline {gap.outline}, border {gap.borders}:",
        f"{told.bare(abs(gap.worst_mm))} mm {what} between the arrows"
        + (", from the" if is_run(gap, sheet.checked.regions) else "."),
        *(["middle line of the run."] if is_run(gap, sheet.checked.regions) else []),
        f"Bare cloth past the limit: {chance_words(gap.chance_bare)};",
        f"overlap: {chance_words(gap.chance_overlap)}.",
    ]
    if meant is not None:
        lines.append(f"The file itself leaves {told.bare(meant, signed=True)} mm there.")
    for row, line in enumerate(lines):
        sheet.beside.text(0.02, 0.30 - 0.028 * row, line, fontsize=8, va="center")


@dataclass(frozen=True, slots=True)
class Place:
    """A place on an outline: where it comes to lie, (2,) mm, and which way is out of what it borders."""

    at: Floats
    normal: Floats


def worst_station(checked: Checked, on: OnGoods, verdict: GapVerdict) -> Place:
    """Return the place on an outline that a verdict is about, moved as the outline there drifts."""
    pair = next(
        one
        for one in checked.regions.pairs
        if (one.outline, one.borders) == (verdict.outline, verdict.borders)
    )
    station = int(np.argmin(np.hypot(*(pair.at - np.array(verdict.at)).T)))
    drift = on.response.drift[pair.outline_stitch[station]]
    return Place(pair.at[station] + drift, pair.normal[station])


def _measure(axes: Axes, place: Place, gap_mm: float, half: float) -> None:
    """Draw two arrows whose tips are as far apart as the gap: at the outline, at the edge it borders."""
    edge = place.at - gap_mm * place.normal
    away = np.sign(gap_mm or 1.0) * place.normal
    for tip, side in ((place.at, away), (edge, -away)):
        axes.annotate(
            "", tuple(tip), xytext=tuple(tip + 0.45 * half * side), zorder=9,
            arrowprops={"arrowstyle": "-|>", "color": "black", "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
