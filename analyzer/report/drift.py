"""The cloth map of drift: how far each stitch moves after it is sewn, and where outlines come to lie."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from scipy.spatial import cKDTree

from analyzer.arrays import Floats
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked, OnGoods
from analyzer.regions.types import Region, RegionKind
from analyzer.report.canvas import Form, Sheet
from analyzer.report.fill_in import gaps_by_trouble, meant_mm, worst_gap
from analyzer.report.predicted import beyond_words
from analyzer.report.words import Units, goods_phrase, layers_in_words

_EXAGGERATIONS = (1, 2, 5, 10, 20, 50)
_FEW = 40  #: below so many arrows to a side the direction of drift is still read singly
_NUMBERED = 24
_EDGE = "#1f1f1f"
_OUTLINE = "#7a0f5c"
_SEEN = (RegionKind.FILL, RegionKind.SATIN, RegionKind.RUN)
_PALE = "#b4b4b4"
_DOTS = (0, (0.1, 1.6))


def drift_map(checked: Checked, on: OnGoods, form: Form) -> bytes:
    """Draw how far each stitch drifts after it is sewn, and outlines as meant and as predicted.

    Where the cloth distorts beyond what can be computed, only directions are drawn.
    """
    title = f"Drift: {checked.design.name} {goods_phrase(on.setup.cloth, short=True)}"
    behind = layers_in_words(on.stack.backings)
    if on.response.pull_in.beyond_range:
        return _directions(checked, on, title, f"Behind it: {behind}. {beyond_words(on)}", form)
    return _amounts(checked, on, title, f"Behind it: {behind}.", form)


def _amounts(checked: Checked, on: OnGoods, title: str, remark: str, form: Form) -> bytes:
    drift, points = on.response.drift, checked.design.penetrations
    size = np.hypot(drift[:, 0], drift[:, 1])
    largest = float(size.max(initial=0.0))
    factor = exaggeration(largest, max(checked.design.size_mm))
    drawn = f"enlarged {factor} times" if factor > 1 else "true to scale"
    sheet = Sheet(
        checked,
        title,
        f"{remark} How far each stitch drifts from its own moment to the end (estimate); arrows {drawn}."
        f"{_numbers_told(checked, on)}{_worst_told(on)}",
    )
    sheet.frame(on.setup.hoop)
    width = max(0.4, checked.cover.thread_width_mm * sheet.points_per_mm())
    lines = sheet.stitches(sheet.segments(), cmap="cividis", linewidths=width, zorder=2)
    lines.set_array(size[checked.design.joined])
    top = max(float(np.quantile(size, 0.99)) if size.size else 0.0, 0.1)
    lines.set_clim(0.0, top)  # a few stitches that fly off must not flatten all others
    arrows_on(sheet.axes, sheet.view, points, drift * factor)
    _outlines(sheet, checked, drift, factor)
    _numbers(sheet, checked, on)
    _ring_worst(sheet, on)
    sheet.scale(lines, "drift, mm", over=largest > top)
    return sheet.render(form)


def _directions(checked: Checked, on: OnGoods, title: str, remark: str, form: Form) -> bytes:
    """Draw which way the cloth goes, all arrows of one length, and no amount."""
    drift = on.response.drift
    sheet = Sheet(checked, title, f"{remark} Arrows show only which way.{_numbers_told(checked, on)}")
    sheet.frame(on.setup.hoop)
    width = max(0.4, checked.cover.thread_width_mm * sheet.points_per_mm())
    sheet.stitches(sheet.segments(), colors=_PALE, linewidths=width, zorder=2)
    arrows_on(sheet.axes, sheet.view, checked.design.penetrations, drift, all_alike=True)
    _numbers(sheet, checked, on)
    return sheet.render(form)


def exaggeration(largest_mm: float, side_mm: float) -> int:
    """Return the factor that draws the largest drift at most at a set share of the longer side."""
    share = constants("report")["drift_shown_share"].value
    if largest_mm <= 0.0:
        return 1
    return max((factor for factor in _EXAGGERATIONS if factor * largest_mm <= share * side_mm), default=1)


def arrows_on(
    axes: Axes,
    view: tuple[float, float, float, float],
    points: Floats,
    drift: Floats,
    *,
    all_alike: bool = False,
) -> None:
    """Draw mean ``drift`` (m, 2) mm over a coarse lattice as arrows; ``all_alike``: of one length."""
    x, y, dx, dy = mean_drift(view, points, drift, all_alike=all_alike)
    axes.quiver(
        x, y, dx, dy, angles="xy", scale_units="xy", scale=1.0,
        color="white", edgecolor="black", linewidth=0.4, width=0.004, zorder=4,
    )  # fmt: skip


def mean_drift(
    view: tuple[float, float, float, float], points: Floats, drift: Floats, *, all_alike: bool = False
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return x, y of the middle of the points in each cell of a coarse lattice, and their mean drift, mm."""
    x0, x1, y0, y1 = view
    cell = max(x1 - x0, y1 - y0) / _FEW * 2
    column = ((points[:, 0] - x0) / cell).astype(np.int64)
    row = ((points[:, 1] - y0) / cell).astype(np.int64)
    _, inverse = np.unique(np.stack((column, row), axis=1), axis=0, return_inverse=True)
    inverse = inverse.ravel()
    count = np.bincount(inverse)
    x, y, dx, dy = (np.bincount(inverse, weights=values) / count for values in (*points.T, *drift.T))
    if all_alike:
        length = np.hypot(dx, dy)
        kept = length > 0.0
        x, y, dx, dy = x[kept], y[kept], *(0.7 * cell * part[kept] / length[kept] for part in (dx, dy))
    return x, y, dx, dy


def _outlines(sheet: Sheet, checked: Checked, drift: Floats, factor: int) -> None:
    """Draw every outline as meant (thin dashes) and as predicted (solid), and the edge it borders (dots)."""
    pairs = checked.regions.pairs
    for pair in pairs:
        moved_edge = pair.edge + factor * drift[pair.edge_stitch]
        moved = pair.at + factor * drift[pair.outline_stitch]
        for line, tone, dash, thick in (
            (pair.at, _OUTLINE, (0, (4, 3)), 0.8),
            (moved_edge, _EDGE, _DOTS, 2.2),
            (moved, _OUTLINE, "solid", 1.5),
        ):
            path = broken(line).T
            sheet.axes.plot(*path, color="white", linewidth=thick + 1.4, alpha=0.8, zorder=5)
            sheet.axes.plot(
                *path, color=tone, linestyle=dash, linewidth=thick, dash_capstyle="round", zorder=5.5
            )
    if pairs:
        kinds = {region.id: region.kind for region in checked.regions.items}
        satin = any(kinds.get(pair.outline) == RegionKind.SATIN for pair in pairs)
        times = f", enlarged {factor} times" if factor > 1 else ""
        sheet.foot("╌ outline as meant", _OUTLINE, 0.30)
        sheet.foot(f"━ as predicted{times}", _OUTLINE, 0.46)
        sheet.foot("··· edge that it borders, likewise", _EDGE, 0.70)
        if satin:
            sheet.foot("(of a satin: its inner edge)", _OUTLINE, 0.30, row=1)


def broken(line: Floats) -> Floats:
    """Return ``line`` (k, 2) with a break (nan) wherever it leaps from one stretch to another."""
    if len(line) < 3:
        return line
    steps = np.hypot(*np.diff(line, axis=0).T)
    leaps = np.flatnonzero(steps > 5.0 * max(float(np.median(steps)), 0.1))
    return np.insert(line, leaps + 1, np.nan, axis=0)


def _named(checked: Checked, on: OnGoods) -> list[Region]:
    """Return the regions that the gap table and the findings name, as far as numbers stay readable."""
    gaps = gaps_by_trouble(on)[: int(constants("report")["groups_from"].value)]
    ids = [i for gap in gaps for i in (gap.outline, gap.borders)]
    ids += [i for item in on.findings.items for i in item.regions[:6]]
    by_id = {region.id: region for region in checked.regions.items}
    return [by_id[i] for i in dict.fromkeys(ids) if i in by_id][:_NUMBERED]


def _numbers_told(checked: Checked, on: OnGoods) -> str:
    return " Small numbers: regions." if _named(checked, on) else ""


def _numbers(sheet: Sheet, checked: Checked, on: OnGoods) -> None:
    """Write the number of each region that is named somewhere onto its stitching."""
    points, region_of = checked.design.penetrations, checked.regions.region_of
    seen = [region.id for region in checked.regions.items if region.kind in _SEEN]
    for region in _named(checked, on):
        own = points[region.first : region.last + 1]
        others = points[np.isin(region_of, seen) & (region_of != region.id)]
        # a line is numbered halfway along itself, a fill in its inner half where least lies over it
        at = own[len(own) // 2]
        if region.kind == RegionKind.FILL and len(others):
            off = np.hypot(*(own - own.mean(axis=0)).T)
            inner = own[off <= np.median(off)]
            at = inner[int(np.argmax(cKDTree(others).query(inner)[0]))]
        x, y = float(at[0]), float(at[1])
        sheet.axes.text(
            x, y, str(region.id), fontsize=6, color=_EDGE, ha="center", va="center", zorder=7,
            bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip


def _worst_is_a_finding(on: OnGoods) -> bool:
    return any(item.name in ("outline-gap", "outline-overlap") for item in on.findings.items)


def _worst_told(on: OnGoods) -> str:
    """Return what is said of the worst gap where a finding is about it."""
    gap = worst_gap(on)
    if gap is None or not _worst_is_a_finding(on):
        return ""
    meant = meant_mm(gap, on.response)
    in_file = "" if meant is None else f"in file {_tenths(meant)}, "
    return (
        f" Ring: worst gap {_tenths(gap.worst_mm)} mm ({in_file}5-95 %: {_tenths(gap.low_mm)} to"
        f" {_tenths(gap.high_mm)})."
    )


def _ring_worst(sheet: Sheet, on: OnGoods) -> None:
    gap = worst_gap(on)
    if gap is None or not _worst_is_a_finding(on):
        return
    ring: dict[str, Any] = {"marker": "o", "markersize": 18, "fillstyle": "none"}
    sheet.axes.plot(*gap.at, **ring, color="black", markeredgewidth=3.2, zorder=6)
    sheet.axes.plot(*gap.at, **ring, color="white", markeredgewidth=1.2, zorder=7)


def _tenths(mm: float) -> str:
    return Units().bare(mm, signed=True)
