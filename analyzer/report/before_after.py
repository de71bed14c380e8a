"""Before and after, side by side: the design as the file means it, and as it is predicted to come out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from analyzer.arrays import Floats
from analyzer.course import course, seen
from analyzer.mechanics import Course, at_points
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.canvas import Form, Sheet
from analyzer.report.design_map import draw_thread, lay_cloth
from analyzer.report.drift import arrows_on, exaggeration
from analyzer.report.predicted import beyond_words
from analyzer.report.words import Units, goods_phrase, layers_in_words

_SIDE_IN, _HEIGHT_IN = 4.4, 6.35  # of one picture, and of the sheet
_GRID_LINES = 8  # of the cloth's own grid along the longer side
_FINE = 60  # points of one of its lines
_PALE = "#8a8a8a"
_STEPS_MM = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


@dataclass(frozen=True, slots=True)
class Panel:
    """One of the pictures: ``course`` is None for the file as meant."""

    title: str
    says: str
    course: Course | None
    directions_only: bool = False  #: beyond what can be computed: directions only


def panels(checked: Checked, on: OnGoods) -> tuple[Panel, ...]:
    """Return the pictures of a design: as meant, with nothing behind it, with what is planned.

    Lace cannot be sewn without its backing, and where nothing is planned the two would be one.
    """
    shown = [Panel("As the file means it", "Every stitch where it was digitized.", None)]
    backed = bool(on.stack.backings)
    if on.setup.cloth.family != "none" and backed:
        shown.append(_predicted(checked, "With nothing behind it", course(checked, bare=True), on))
    behind = f"On {layers_in_words(on.stack.backings)}" if backed else "With nothing behind it"
    shown.append(_predicted(checked, behind, course(checked), on))
    return tuple(shown)


def _predicted(checked: Checked, title: str, moved: Course, on: OnGoods) -> Panel:
    if moved.beyond_range:
        return Panel(title, f"{beyond_words(on)} Arrows show only which way.", moved, directions_only=True)
    most = float(np.hypot(*moved.drift[seen(checked)].T).max(initial=0.0))
    return Panel(title, f"Stitches drift by up to {Units().length(most)} after they are sewn.", moved)


def before_after_map(checked: Checked, on: OnGoods, form: Form) -> bytes:
    """Draw the design as meant and as predicted, displacements enlarged by one factor that is told."""
    shown = panels(checked, on)
    factor = common_factor(checked, shown)
    drawn = f"drawn {factor} times as large as they are" if factor > 1 else "drawn true to scale"
    sheet = Sheet(
        checked,
        f"Before and after: {checked.design.name} {goods_phrase(on.setup.cloth, short=True)}",
        f"Movements are {drawn} (estimates); thin lines are the cloth's own grid, straight before sewing.",
        size_in=(_width_in(len(shown)), _HEIGHT_IN),
        box=_box(0, len(shown)),
    )
    sheet.frame(None)
    for number, panel in enumerate(shown):
        axes = sheet.whole.add_axes(_box(number, len(shown))) if number else sheet.axes
        _draw(sheet, axes, panel, factor)
        left = _box(number, len(shown))[0]
        sheet.head(left, 1.0 - 1.02 / _HEIGHT_IN, panel.title, weight="bold", fontsize=10, va="baseline")
        sheet.head(left, 1.0 - 1.10 / _HEIGHT_IN, panel.says, fontsize=8.5)
    return sheet.render(form)


def common_factor(checked: Checked, shown: tuple[Panel, ...]) -> int:
    """Return by which factor the movements of all pictures are enlarged, so that they can be compared."""
    computed = [panel.course for panel in shown if panel.course is not None and not panel.directions_only]
    shows = seen(checked)
    largest = max((float(np.hypot(*one.drift[shows].T).max(initial=0.0)) for one in computed), default=0.0)
    return exaggeration(largest, max(checked.design.size_mm))


def displaced(checked: Checked, moved: Course, factor: float) -> Floats:
    """Return where the penetrations (m, 2) mm are drawn when their drift is enlarged by ``factor``."""
    result: Floats = checked.design.penetrations + factor * moved.drift
    return result


def _width_in(count: int) -> float:
    return _SIDE_IN * count + 0.4


def _box(number: int, count: int) -> tuple[float, float, float, float]:
    """Return where one of the pictures stands, as shares of the sheet: left, bottom, width, height."""
    side = _SIDE_IN - 0.15
    width = _width_in(count)
    return (0.25 + number * _SIDE_IN) / width, 0.085, side / width, side / _HEIGHT_IN


def _draw(sheet: Sheet, axes: Axes, panel: Panel, factor: float) -> None:
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlabel("")
    axes.set_ylabel("")
    lay_cloth(sheet, axes=axes, view=sheet.view)
    points, moved = sheet.checked.design.penetrations, panel.course
    amount = None if moved is None or panel.directions_only else moved
    _cloth_grid(sheet, axes, amount, factor)
    draw_thread(sheet, points if amount is None else displaced(sheet.checked, amount, factor), axes=axes)
    if moved is not None and panel.directions_only:
        arrows_on(axes, sheet.view, points, moved.drift, all_alike=True)
    axes.set_xlim(*sheet.view[:2])
    axes.set_ylim(*sheet.view[2:])


def _cloth_grid(sheet: Sheet, axes: Axes, moved: Course | None, factor: float) -> None:
    for line in cloth_grid(sheet.view, moved, factor):
        axes.plot(*line.T, color=_PALE, linewidth=0.5, zorder=1)


def cloth_grid(view: tuple[float, float, float, float], moved: Course | None, factor: float) -> list[Floats]:
    """Return the lines (k, 2) mm of a square grid on the cloth, moved as the cloth is at the end."""
    x0, x1, y0, y1 = view
    step = next((one for one in _STEPS_MM if max(x1 - x0, y1 - y0) / one <= _GRID_LINES), _STEPS_MM[-1])
    fine_x, fine_y = np.linspace(x0, x1, _FINE), np.linspace(y0, y1, _FINE)
    lines = [np.stack((np.full(_FINE, x), fine_y), axis=1) for x in np.arange(x0 + step / 2, x1, step)]
    lines += [np.stack((fine_x, np.full(_FINE, y)), axis=1) for y in np.arange(y0 + step / 2, y1, step)]
    if moved is None:
        return lines
    grid, end = moved.grid, moved.moved[-1]
    return [line + factor * at_points(grid, end, line) for line in lines]
