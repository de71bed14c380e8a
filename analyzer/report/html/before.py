"""Before and after on the page: the design as meant, and as predicted to come out, as drawings."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.pipeline import Checked
from analyzer.report.before_after import cloth_grid, common_factor, panels
from analyzer.report.drift import mean_drift
from analyzer.report.files import PREDICTED_MAPS, job_map_names
from analyzer.report.html.layers import arrows, ends_of
from analyzer.report.html.shape import Outline, Patch, Sheet, path, sheet_of, thread


@dataclass(frozen=True, slots=True)
class View:
    """One of the drawings: without ``thread`` of its own the design lies as the file means it."""

    title: str
    says: str
    grid: str
    thread: tuple[Patch, ...] | None
    arrows: str


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """All of them, and by how much movements are enlarged in each."""

    views: tuple[View, ...]
    factor: int
    box: tuple[int, int, int, int]  #: of each drawing: the design with a margin, whatever the hoop


def before_after(checked: Checked, outline: Outline, sheet: Sheet) -> BeforeAfter | None:
    """Return the drawings; None where nothing is predicted for one cloth."""
    on = checked.judged
    if on is None or PREDICTED_MAPS[-1] not in job_map_names(checked.job):
        return None
    shown = panels(checked, on)
    factor = common_factor(checked, shown)
    close = sheet_of(checked, None)
    (mx, my), (hx, hy) = close.middle, close.half
    view = mx - hx, mx + hx, my - hy, my + hy
    drawn = []
    for panel in shown:
        course = panel.course
        amount = None if panel.directions_only else course
        moved = None if amount is None else thread(sheet, outline, factor * amount.drift[outline.kept])
        ways = ""
        if course is not None and panel.directions_only:
            tails, tips = ends_of(mean_drift(view, checked.design.penetrations, course.drift, all_alike=True))
            ways = arrows(sheet, tails, tips)
        grid = path(sheet, cloth_grid(view, amount, factor))
        drawn.append(View(panel.title, panel.says, grid, moved, ways))
    return BeforeAfter(tuple(drawn), factor, close.box)
