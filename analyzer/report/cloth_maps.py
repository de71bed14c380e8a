"""Cloth maps: the design on the cloth with one measured or predicted quantity laid over it, as PNG."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.colors import BoundaryNorm, ListedColormap, to_hex
from matplotlib.patches import Circle

from analyzer.arrays import Floats
from analyzer.errors import BadJob
from analyzer.goods.constants import constants
from analyzer.goods.types import Hoop
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.canvas import Sheet, own_style, segments
from analyzer.report.files import refuse_existing, write_whole
from analyzer.report.fill_in import meant_mm, worst_gap
from analyzer.report.predicted import BEYOND
from analyzer.report.words import Units, layers_in_words

_NEUTRALS = ("#2b2b2b", "#5a5a5a", "#868686", "#a9a9a9")
_EXAGGERATIONS = (1, 2, 5, 10, 20, 50)
_FEW = 40  #: below so many arrows to a side the direction of drift is still read singly
_VOIDS_NAMED = 12
_NAMED_FROM_MM = 0.5  #: radius from which a label is no larger than what it names
_GROUND = "#e2e2e2"
_EDGE = "#1f1f1f"
_OUTLINE = "#7a0f5c"


def map_names(checked: Checked) -> tuple[str, ...]:
    """Return the names of the maps of ``checked``: one ``drift``, or one for each goods compared."""
    drifts = ("drift",) if checked.judged else tuple(f"drift-{goods}" for goods in _compared(checked))
    return ("design", "density", "coverage", *drifts)


def cloth_map(checked: Checked, name: str) -> bytes:
    """Return one map as PNG.

    Raises:
        BadJob: there is no such map of this check.

    """
    drawers: dict[str, Callable[[Checked], bytes]] = {
        "design": design_map,
        "density": density_map,
        "coverage": coverage_map,
    }
    if name not in map_names(checked):
        raise BadJob(f"there is no map '{name}' of this check: it has {', '.join(map_names(checked))}")
    with own_style():
        if name in drawers:
            return drawers[name](checked)
        return drift_map(checked, checked.judged or _compared(checked)[name.removeprefix("drift-")])


def map_paths(folder: Path, stem: str, names: tuple[str, ...]) -> tuple[Path, ...]:
    """Return where the maps of a design go."""
    return tuple(folder / f"{stem}-{name}.png" for name in names)


def maps(
    checked: Checked, folder: str | Path, *, stem: str | None = None, force: bool = False
) -> tuple[Path, ...]:
    """Write every map of ``checked`` into ``folder`` (made when missing) and return the files.

    Raises:
        BadJob: one of the files is there already and ``force`` is false; none is written then.
        OSError: the folder cannot be written to.

    """
    names, place = map_names(checked), Path(folder)
    paths = map_paths(place, stem or Path(checked.design.name).stem, names)
    if not force:
        refuse_existing(paths)
    place.mkdir(parents=True, exist_ok=True)
    for name, path in zip(names, paths, strict=True):
        write_whole(path, cloth_map(checked, name), force=force)
    return paths


def _compared(checked: Checked) -> dict[str, OnGoods]:
    """Return, of each goods compared, the one with its usual backing (the last of its kind)."""
    return {one.setup.cloth.name: one for one in checked.comparison}


def _hoop(checked: Checked) -> Hoop | None:
    first = checked.judged or next(iter(checked.comparison), None)
    return first.setup.hoop if first else None


def _file_title(checked: Checked) -> str:
    width, height = checked.design.size_mm
    return f"{checked.design.name} · {width:.1f} x {height:.1f} mm · {checked.design.stitches:,} stitches"


def design_map(checked: Checked) -> bytes:
    """Draw the design in its own thread colours, in neutral tones where the file holds none."""
    threads = checked.design.threads
    rgbs = [thread.rgb for thread in threads]
    if all(rgb is None for rgb in rgbs):
        remark = "The file holds no colours: drawn by colour number in neutral tones."
    elif any(rgb is None for rgb in rgbs):
        remark = "Thread colours as in the file; blocks without one in neutral tones."
    else:
        remark = "Thread colours as in the file."
    tones = [rgb or _NEUTRALS[number % len(_NEUTRALS)] for number, rgb in enumerate(rgbs)]
    ground = checked.job.colour
    remark += f" Goods drawn in {ground}." if ground else " The goods' colour is not known: drawn grey."
    sheet = Sheet(checked, f"Design: {_file_title(checked)}", remark)
    sheet.axes.set_facecolor(ground or _GROUND)
    sheet.frame(_hoop(checked))
    width = max(0.25, checked.cover.thread_width_mm * sheet.points_per_mm())
    lines, colours = segments(checked), checked.design.colour[checked.design.joined]
    # block by block in sewing order, so that later thread lies over earlier thread
    for number, tone in enumerate(tones):
        sheet.stitches(
            lines[colours == number], colors=tone, linewidths=width, zorder=2 + number / len(tones)
        )
        label = f"{number + 1}  {threads[number].name or tone if rgbs[number] else 'no colour'}"
        if number < 24:
            y = 0.84 - number * 0.03
            sheet.figure.text(0.845, y, "━", color=tone, fontsize=12, va="center")
            sheet.figure.text(0.87, y, label[:16], fontsize=7, va="center")
    return sheet.png()


def density_map(checked: Checked) -> bytes:
    """Draw millimetres of thread per mm2 of cloth on the cells that it was measured on."""
    field = checked.cover.density
    shown = np.ma.masked_less_equal(field.values, 0.0)
    sheet = Sheet(
        checked,
        f"Thread density: {_file_title(checked)}",
        f"Length of thread over each {field.grid.cell_mm:g} mm cell."
        " A fill of rows 0.4 mm apart lies at 2.5.",
    )
    sheet.frame(_hoop(checked))
    top = max(float(field.values.max(initial=0.0)), 1.0)
    image = sheet.axes.imshow(
        shown,
        origin="lower",
        extent=field.grid.extent_mm,
        cmap="viridis",
        vmin=0.0,
        vmax=top,
        interpolation="nearest",
    )
    sheet.look()
    sheet.scale(image, "thread, mm per mm2")
    return sheet.png()


def coverage_map(checked: Checked) -> bytes:
    """Draw how many threads lie on each point, with the voids ringed."""
    raster = checked.cover.raster
    most = 4
    counts = np.minimum(raster.threads, most)
    sheet = Sheet(
        checked,
        f"Coverage: {_file_title(checked)}",
        f"{checked.cover.coverage:.0%} of the stitched ground is covered by thread"
        f" {checked.cover.thread_width_mm:.1f} mm wide. Rings: voids, dashed where probably meant.",
    )
    sheet.frame(_hoop(checked))
    tones = ["#ffffff", *_sampled("cividis", most)]
    colours = ListedColormap(tones)
    norm = BoundaryNorm(np.arange(-0.5, most + 1.0), colours.N)
    image = sheet.axes.imshow(
        counts,
        origin="lower",
        extent=raster.grid.extent_mm,
        cmap=colours,
        norm=norm,
        interpolation="antialiased",
        interpolation_stage="rgba",
    )
    sheet.look()
    _rings(sheet, checked)
    sheet.scale(image, "threads over a point (4: four or more)")
    sheet.figure.axes[-1].set_yticks(range(most + 1))
    return sheet.png()


def _sampled(name: str, count: int) -> list[str]:
    """Return ``count`` tones of a colour map, light to dark."""
    return [to_hex(colour) for colour in matplotlib.colormaps[name](np.linspace(0.85, 0.1, count))]


def _rings(sheet: Sheet, checked: Checked) -> None:
    voids = sorted(checked.cover.voids, key=lambda void: -void.radius_mm)
    for number, void in enumerate(voids):
        dash = (0, (4, 2)) if void.meant else "solid"
        radius = max(void.radius_mm, 0.3)
        sheet.axes.add_patch(
            Circle(void.at, radius, fill=False, edgecolor=_OUTLINE, linewidth=1.4, linestyle=dash)
        )
        if number < _VOIDS_NAMED and void.radius_mm >= _NAMED_FROM_MM:
            sheet.axes.annotate(
                f"{void.area_mm2:.1f} mm2",
                void.at,
                xytext=(6, 6),
                textcoords="offset points",
                fontsize=7,
                color=_OUTLINE,
                bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 1},
            )


def drift_map(checked: Checked, on: OnGoods) -> bytes:
    """Draw how far each stitch drifts after it is sewn, and outlines as meant and as predicted."""
    drift, points = on.response.drift, checked.design.penetrations
    size = np.hypot(drift[:, 0], drift[:, 1])
    largest = float(size.max(initial=0.0))
    factor = exaggeration(largest, max(checked.design.size_mm))
    drawn = f"drawn {factor} times too far" if factor > 1 else "drawn true to scale"
    beyond, behind = on.response.pull_in.beyond_range, layers_in_words(on.stack.backings)
    sheet = Sheet(
        checked,
        f"Drift: {checked.design.name} on {on.setup.cloth.name}",
        f"Behind it: {behind}. How far each stitch drifts from its own moment to the end of the design"
        " (estimate)."
        f" Lines dashed: as meant; solid: as predicted, {drawn}; arrows likewise."
        + (f" {BEYOND}" if beyond else ""),
    )
    sheet.frame(on.setup.hoop)
    joined = np.flatnonzero(checked.design.joined)
    width = max(0.4, checked.cover.thread_width_mm * sheet.points_per_mm())
    lines = sheet.stitches(segments(checked), cmap="cividis", linewidths=width, zorder=2)
    lines.set_array(size[joined])
    top = max(float(np.quantile(size, 0.99)) if size.size else 0.0, 0.1)
    lines.set_clim(0.0, top)  # a few stitches that fly off must not flatten all others
    _arrows(sheet, points, drift, factor)
    _outlines(sheet, checked, drift, factor)
    _worst(sheet, on)
    sheet.scale(lines, "drift, mm", over=largest > top)
    return sheet.png()


def exaggeration(largest_mm: float, side_mm: float) -> int:
    """Return the factor that draws the largest drift at most at a set share of the longer side."""
    share = constants("report")["drift_shown_share"].value
    if largest_mm <= 0.0:
        return 1
    return max((factor for factor in _EXAGGERATIONS if factor * largest_mm <= share * side_mm), default=1)


def _arrows(sheet: Sheet, points: Floats, drift: Floats, factor: int) -> None:
    """Draw mean drift over a coarse lattice as arrows, at the same exaggeration as the outlines."""
    x0, x1, y0, y1 = sheet.view
    cell = max(x1 - x0, y1 - y0) / _FEW * 2
    column = ((points[:, 0] - x0) / cell).astype(np.int64)
    row = ((points[:, 1] - y0) / cell).astype(np.int64)
    _, inverse = np.unique(np.stack((column, row), axis=1), axis=0, return_inverse=True)
    inverse = inverse.ravel()
    count = np.bincount(inverse)
    mean = [np.bincount(inverse, weights=values) / count for values in (*points.T, *drift.T)]
    sheet.axes.quiver(
        *mean[:2], mean[2] * factor, mean[3] * factor, angles="xy", scale_units="xy", scale=1.0,
        color="white", edgecolor="black", linewidth=0.4, width=0.004, zorder=4,
    )  # fmt: skip


def _outlines(sheet: Sheet, checked: Checked, drift: Floats, factor: int) -> None:
    """Draw every outline and the edge that it borders, as meant (dashed) and as predicted (solid)."""
    for pair in checked.regions.pairs:
        for places, stitches, tone in (
            (pair.edge, pair.edge_stitch, _EDGE),
            (pair.at, pair.outline_stitch, _OUTLINE),
        ):
            moved = places + factor * drift[stitches]
            for line, dash, thick in ((places, (0, (3, 2)), 0.9), (moved, "solid", 1.5)):
                path = _broken(line).T
                sheet.axes.plot(*path, color="white", linewidth=thick + 1.4, alpha=0.8, zorder=5)
                sheet.axes.plot(*path, color=tone, linestyle=dash, linewidth=thick, zorder=5.5)
    if checked.regions.pairs:
        sheet.foot("━ outline", _OUTLINE, 0.42)
        sheet.foot("━ edge that it borders", _EDGE, 0.56)


def _broken(line: Floats) -> Floats:
    """Return ``line`` (k, 2) with a break (nan) wherever it leaps from one stretch to another."""
    if len(line) < 3:
        return line
    steps = np.hypot(*np.diff(line, axis=0).T)
    leaps = np.flatnonzero(steps > 5.0 * max(float(np.median(steps)), 0.1))
    return np.insert(line, leaps + 1, np.nan, axis=0)


def _worst(sheet: Sheet, on: OnGoods) -> None:
    """Ring the worst gap and say how large it is, towards the middle where there is room."""
    gap = worst_gap(on)
    if gap is None:
        return
    ring: dict[str, Any] = {"marker": "o", "markersize": 18, "fillstyle": "none"}
    sheet.axes.plot(*gap.at, **ring, color="black", markeredgewidth=3.2, zorder=6)
    sheet.axes.plot(*gap.at, **ring, color="white", markeredgewidth=1.2, zorder=7)
    x0, x1, y0, y1 = sheet.view
    right, high = gap.at[0] > (x0 + x1) / 2, gap.at[1] > (y0 + y1) / 2
    meant = meant_mm(gap, on.response)
    said = f"worst place: gap {_tenths(gap.worst_mm)} mm"
    said += "" if meant is None else f", in file {_tenths(meant)} mm"
    said += f"\n5-95 %: {_tenths(gap.low_mm)} to {_tenths(gap.high_mm)} mm"
    if on.response.pull_in.beyond_range:
        said = "worst gap: more than can be computed"
    sheet.axes.annotate(
        said,
        gap.at,
        xytext=(-16 if right else 16, -16 if high else 16),
        textcoords="offset points",
        ha="right" if right else "left",
        va="top" if high else "bottom",
        fontsize=8,
        zorder=8,
        bbox={"facecolor": "white", "edgecolor": "black", "alpha": 0.9, "boxstyle": "square,pad=0.3"},
    )


def _tenths(mm: float) -> str:
    return Units().bare(mm, signed=True)
