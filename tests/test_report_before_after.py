"""Before and after, gaps and the course of the sewing, on a design that is really sewn."""

from __future__ import annotations

import dataclasses
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from scipy.spatial import cKDTree

from analyzer.arrays import Floats
from analyzer.course import course
from analyzer.errors import BadJob
from analyzer.formats import read
from analyzer.job import Job
from analyzer.pipeline import Checked, check
from analyzer.report import cloth_map
from analyzer.report.before_after import panels
from analyzer.report.fill_in import worst_gap
from analyzer.report.gap_map import ribbon_mm, worst_station

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def crest() -> Checked:
    design = read("sample_designs/crest-outline-last.dst")
    return check(design, Job(goods="jersey", backing="cutaway:85"), changes=False)


def test_the_course_ends_where_the_response_does(crest: Checked) -> None:
    """Two ways to one number: the full response and the sewing step by step."""
    assert crest.judged is not None
    moved = course(crest)
    points = crest.design.penetrations
    assert moved.sewn[-1] == len(points)
    assert np.abs(moved.drift - crest.judged.response.drift).max() < 1e-9
    assert np.abs(moved.drift_after(-1, points) - moved.drift).max() < 1e-9


def test_what_has_just_been_sewn_has_hardly_moved(crest: Checked) -> None:
    """GEOMETRY: drift counts from a stitch's own moment, so right after it there is next to none."""
    moved = course(crest)
    points = crest.design.penetrations
    largest = float(np.hypot(*moved.drift.T).max())
    for step, sewn in enumerate(moved.sewn[:-1].tolist()):
        just = np.hypot(*moved.drift_after(step, points)[max(sewn - 3, 0) : sewn].T)
        assert just.max() < 0.12 * largest


def test_without_backing_the_cloth_moves_more(crest: Checked) -> None:
    """Any stabilizer reduces shrinkage (koreascience JAKO201928862524018, abstract)."""
    bare, backed = course(crest, bare=True), course(crest)
    assert np.hypot(*bare.drift.T).max() > 2.0 * np.hypot(*backed.drift.T).max()
    assert [panel.directions_only for panel in panels(crest, crest.judged)] == [False, True, False]


def test_no_course_without_goods(crest: Checked) -> None:
    with pytest.raises(BadJob, match="--goods"):
        course(dataclasses.replace(crest, judged=None))


def thread_begins(svg: ElementTree.Element, axes: str, view: Floats) -> Floats:
    """Return where each thread path in one picture begins, mm, in the order drawn.

    The picture's own frame, its first path, gives the scale: it is drawn round ``view`` (x0, x1, y0, y1).
    """
    group = next(one for one in svg.iter(f"{SVG}g") if one.get("id") == axes)
    paths = list(group.iter(f"{SVG}path"))
    frame = np.array(re.findall(r"[ML] ([-0-9.]+) ([-0-9.]+)", paths[0].get("d") or ""), dtype=np.float64)
    begins = [
        re.match(r"M ([-0-9.]+) ([-0-9.]+)", path.get("d") or "")
        for path in paths
        if "stroke-linecap: round" in (path.get("style") or "")
    ]
    at = np.array([move.groups() for move in begins if move], dtype=np.float64)
    share = (at - frame.min(axis=0)) / np.ptp(frame, axis=0)
    share[:, 1] = 1.0 - share[:, 1]  # SVG counts downwards
    result: Floats = view[[0, 2]] + share * (view[[1, 3]] - view[[0, 2]])
    return result


def test_displacements_are_drawn_as_large_as_told(crest: Checked) -> None:
    """Read back from the picture: threads begin where the file means them, and as drawn moved, over drift."""
    assert crest.judged is not None
    svg = ElementTree.fromstring(cloth_map(crest, "before-after", "svg"))
    told = re.search(r"drawn (\d+) times", svg[1].text or "")
    assert told is not None
    factor = float(told[1])
    x0, y0, x1, y1 = crest.design.bounds_mm
    margin = 0.12 * max(x1 - x0, y1 - y0)
    view = np.array((x0 - margin, x1 + margin, y0 - margin, y1 + margin))
    before, after = thread_begins(svg, "axes_1", view), thread_begins(svg, "axes_3", view)
    points, drift = crest.design.penetrations, crest.judged.response.drift
    near, at = cKDTree(points).query(before, k=2)
    alone = near[:, 1] > 0.05  # of two penetrations in one place either may be meant
    assert near[:, 0].max() < 0.01
    assert alone.sum() > 30
    shown = (after - before)[alone]
    assert np.abs(shown).max() > 1.0
    assert np.abs(shown - factor * drift[at[alone, 0]]).max() < 0.01


def test_ribbon_at_the_worst_place_is_as_wide_as_the_gap(crest: Checked) -> None:
    """What is drawn is what is judged: the ribbon's nominal width there is the JSON's worst_mm."""
    on = crest.judged
    assert on is not None
    verdict = worst_gap(on)
    assert verdict is not None
    gap = next(
        one for one in on.response.gaps if (one.outline, one.borders) == (verdict.outline, verdict.borders)
    )
    station = int(np.argmin(np.hypot(*(gap.at - np.array(verdict.at)).T)))
    assert ribbon_mm(gap, on)[station] == pytest.approx(verdict.worst_mm)


def test_the_worst_place_lies_where_its_outline_comes_to_lie(crest: Checked) -> None:
    on = crest.judged
    assert on is not None
    verdict = worst_gap(on)
    assert verdict is not None
    place = worst_station(crest, on, verdict)
    most = np.hypot(*on.response.drift.T).max()
    assert np.hypot(*(place.at - np.array(verdict.at))) <= most
    assert np.hypot(*place.normal) == pytest.approx(1.0)


def test_before_and_after_is_the_same_bytes_each_time(crest: Checked) -> None:
    assert cloth_map(crest, "before-after") == cloth_map(crest, "before-after")
