"""The cloth map of the design itself: thread on cloth in its own colours, or in ink for paper."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from scipy.ndimage import binary_closing, distance_transform_edt, gaussian_filter

from analyzer.arrays import Bools, Bytes, Floats
from analyzer.goods.types import Hoop
from analyzer.laid import Grid, lay
from analyzer.pipeline import Checked
from analyzer.report.canvas import Form, Sheet, file_title, segments
from analyzer.report.ground import ground_colour, surface
from analyzer.report.numbers import sound_text
from analyzer.report.thread_look import (
    FLUFF,
    broken_lines,
    glint,
    shadow,
    stretches,
    thread_colours,
    tones,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_GLINTS_FROM_PT = 1.2  # width of a thread from which its middle shines
_PIXELS = 900  # of the cloth's likeness along the longer side
_INK = "#000000"
_HATCHES = (
    "//////",
    "......",
    "\\\\\\\\\\\\",
    "xxxx",
    "------",
    "||||||",
    "oooo",
    "++++",
    "///",
    "\\\\\\",
    "...",
    "xx",
)
_INK_CELLS = 700  # of the raster from which areas are drawn, along the longer side
_LISTED = 24


def hoop_of(checked: Checked) -> Hoop | None:
    """Return the hoop that a check was made for; without goods the first one's."""
    first = checked.judged or next(iter(checked.comparison), None)
    return first.setup.hoop if first else None


def design_map(checked: Checked, form: Form) -> bytes:
    """Draw the design in its own thread colours, in neutral tones where the file holds none."""
    rgbs = [thread.rgb for thread in checked.design.threads]
    if all(rgb is None for rgb in rgbs):
        remark = "The file holds no colours: drawn by colour number in neutral tones."
    elif any(rgb is None for rgb in rgbs):
        remark = "Thread colours as in the file; blocks without one in neutral tones."
    else:
        remark = "Thread colours as in the file."
    ground = checked.job.colour
    remark += f" Goods drawn in {ground}." if ground else " The goods' colour is not known: drawn grey."
    sheet = Sheet(checked, f"Design: {file_title(checked)}", remark)
    sheet.frame(hoop_of(checked), ground_colour(checked))
    lay_cloth(sheet)
    draw_thread(sheet, checked.design.penetrations)
    _list_threads(sheet)
    return sheet.render(form)


def lay_cloth(
    sheet: Sheet, *, axes: Axes | None = None, view: tuple[float, float, float, float] | None = None
) -> None:
    """Lay the cloth under everything else: on the sheet, or on ``axes`` over ``view`` (x0, x1, y0, y1 mm)."""
    checked = sheet.checked
    cloth = checked.judged.setup.cloth if checked.judged else None
    where, shown = axes or sheet.axes, view or sheet.view
    image = surface(cloth, ground_colour(checked), shown, _PIXELS)
    where.imshow(image, origin="lower", extent=shown, interpolation="bilinear", zorder=0)
    if axes is None:
        sheet.look()


def draw_thread(sheet: Sheet, points: Floats, *, axes: Axes | None = None, scale: float = 1.0) -> None:
    """Draw all stitches as thread, in sewing order; ``points`` (m, 2) mm is where the penetrations are drawn.

    ``scale``: how much larger than on the sheet's own axes a millimetre is drawn.
    """
    design, regions = sheet.checked.design, sheet.checked.regions
    where = sheet.axes if axes is None else axes
    width = max(0.3, FLUFF * sheet.checked.cover.thread_width_mm * sheet.points_per_mm() * scale)
    looks = [(shadow(colour), tones(colour), glint(colour)) for colour in thread_colours(design)]
    order = 2.0
    # the edges of all of a region's threads first: where two stretches meet must not look like an edge
    for _, together in groupby(stretches(design, regions), key=lambda part: part.region):
        parts = list(together)
        strokes = [(part.ends, looks[part.colour][0], width) for part in parts]
        for part in parts:
            _, tone_of, light = looks[part.colour]
            strokes += [
                (part.ends[part.tone == tone], tone_of[tone], 0.72 * width) for tone in np.unique(part.tone)
            ]
            if width > _GLINTS_FROM_PT:
                strokes.append((part.ends, light, 0.2 * width))
        for ends, colour, wide in strokes:
            order += 1e-5
            where.add_patch(
                PathPatch(
                    compound(broken_lines(points, ends)), fill=False, edgecolor=colour, linewidth=wide,
                    capstyle="round", joinstyle="round", snap=False, zorder=order, rasterized=sheet.many,
                )
            )  # fmt: skip


def compound(lines: list[Floats]) -> Path:
    """Return lines, each (k, 2), as one path."""
    codes = np.concatenate([np.r_[Path.MOVETO, np.full(len(line) - 1, Path.LINETO)] for line in lines])
    return Path(np.concatenate(lines), codes)


def _list_threads(sheet: Sheet) -> None:
    threads = sheet.checked.design.threads
    for number, tone in enumerate(thread_colours(sheet.checked.design)[:_LISTED]):
        told = threads[number].name or (tone if threads[number].rgb else "no colour")
        y = 0.84 - number * 0.03
        sheet.swatch(0.845, y, tone)
        sheet.write(0.87, y, f"{number + 1}  {sound_text(told)}"[:16], fontsize=7, va="center")


def ink_map(checked: Checked, form: Form) -> bytes:
    """Draw the design for a sheet read in black and white: areas by colour number, told apart by their hatch.

    Axes and centre mark cross in the middle of the design, which is the middle of the hoop.
    """
    sheet = Sheet(
        checked,
        f"Design: {file_title(checked)}",
        "Numbers: colours in sewing order. The cross marks the middle of the design and of the hoop.",
    )
    sheet.frame(hoop_of(checked), "#ffffff")
    masks, grid = _shown(checked)
    for number, mask in enumerate(masks):
        _ink_area(sheet, number, mask, grid)
    for number, mask in enumerate(masks):
        _ink_number(sheet, number, mask, grid)
    _centre_mark(sheet)
    for number in range(min(len(masks), _LISTED)):
        name = checked.design.threads[number].name or checked.design.threads[number].rgb or "not named"
        sheet.write(
            0.845, 0.84 - number * 0.03, f"{number + 1}  {sound_text(name)}"[:20], fontsize=7, va="center"
        )
    return sheet.render(form)


def _shown(checked: Checked) -> tuple[list[Bools], Grid]:
    """Return, for each colour block, where its thread shows (ny, nx) once all is sewn, and the grid."""
    x0, y0, x1, y1 = checked.design.bounds_mm
    cell = max(x1 - x0, y1 - y0, 5.0) / _INK_CELLS
    grid = Grid(x0 - 2.0, y0 - 2.0, cell, int((x1 - x0 + 4.0) / cell) + 1, int((y1 - y0 + 4.0) / cell) + 1)
    lines, colours = segments(checked), checked.design.colour[checked.design.joined]
    close = np.ones((3, 3), dtype=np.bool_)
    rounds = max(1, round(0.3 / cell))
    over: Bools = np.zeros(grid.shape, dtype=np.bool_)
    masks: list[Bools] = []
    for number in reversed(range(len(checked.design.threads))):
        own = lines[colours == number]
        threads: Bytes = lay(own[:, 0], own[:, 1], 0.4, grid)
        mask: Bools = binary_closing(threads > 0, close, iterations=rounds)
        masks.append(mask & ~over)
        over |= mask
    return masks[::-1], grid


def _ink_area(sheet: Sheet, number: int, mask: Bools, grid: Grid) -> None:
    x0, x1, y0, y1 = grid.extent_mm
    half = grid.cell_mm / 2
    xs, ys = np.linspace(x0 + half, x1 - half, grid.nx), np.linspace(y0 + half, y1 - half, grid.ny)
    soft = gaussian_filter(mask.astype(np.float64), 1.0)
    if soft.max() <= 0.5:
        return
    hatch = _HATCHES[number % len(_HATCHES)]
    sheet.axes.contourf(xs, ys, soft, levels=[0.5, 2.0], colors="none", hatches=[hatch], zorder=2)
    sheet.axes.contour(xs, ys, soft, levels=[0.5], colors=_INK, linewidths=0.8, zorder=3)


def _ink_number(sheet: Sheet, number: int, mask: Bools, grid: Grid) -> None:
    """Write the colour's number where most of its thread shows around it."""
    if not mask.any():
        return
    row, column = np.unravel_index(int(np.argmax(distance_transform_edt(mask))), mask.shape)
    at = grid.x0_mm + (column + 0.5) * grid.cell_mm, grid.y0_mm + (row + 0.5) * grid.cell_mm
    sheet.axes.text(
        *at, str(number + 1), fontsize=10, weight="bold", color=_INK, ha="center", va="center", zorder=6,
        bbox={"boxstyle": "circle,pad=0.25", "facecolor": "#ffffff", "edgecolor": _INK, "linewidth": 0.8},
    )  # fmt: skip


def _centre_mark(sheet: Sheet) -> None:
    x0, x1, y0, y1 = sheet.view
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    for across, along in (((x0, x1), (y, y)), ((x, x), (y0, y1))):
        sheet.axes.plot(across, along, color="#ffffff", linewidth=2.2, zorder=4)
        sheet.axes.plot(across, along, color=_INK, linewidth=0.8, linestyle=(0, (8, 3, 1, 3)), zorder=4.1)
    sheet.axes.plot([x], [y], marker="o", markersize=12, fillstyle="none", color=_INK, zorder=5)
