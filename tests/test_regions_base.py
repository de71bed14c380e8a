"""Base stitching, lettering and appliques, against what designs were constructed as."""

from __future__ import annotations

import numpy as np
import pytest
from labelled import Labelled, circle, fill, run, satin
from labelled_families import labelled
from labelled_parts import column_points
from labelled_score import objects_found
from shapely.geometry import Polygon

from analyzer.design import Command
from analyzer.regions import RegionKind, UnderlayKind, cut

FIRST_FRESH, COUNT = 2000, 6
CENTRE = np.array([[0.0, 0.0], [30.0, 4.0]])
DISC = Polygon(circle(14))


def bases(book: Labelled) -> list[set[str]]:
    return [{kind.value for kind in base.kinds} for base in cut(book.design()).bases]


def test_each_kind_of_underlay_of_a_column_is_told_by_where_it_runs() -> None:
    aside = np.array([-0.13, 1.0]) * 1.1
    centre_run, edge_run, zig_zag, bare = (Labelled() for _ in range(4))
    run(centre_run, CENTRE, stitch=2.0)
    run(edge_run, CENTRE + aside, stitch=2.0)
    run(edge_run, CENTRE[::-1] - aside, stitch=2.0)
    zig_zag.sew(column_points(CENTRE, np.array([2.4]), 1.1), "underlay")
    for book in (centre_run, edge_run, zig_zag, bare):
        start = CENTRE[::-1] if book in (centre_run, zig_zag) else CENTRE
        satin(book, start, 4.0)
    assert bases(centre_run) == [{"centre-run"}]
    assert bases(edge_run) == [{"edge-run"}]
    assert bases(zig_zag) == [{"zig-zag"}]
    assert bases(bare) == [set()]


@pytest.mark.parametrize(
    ("edge", "turns", "kinds"),
    [
        (True, (), {"edge-run"}),
        (False, (90,), {"cross"}),
        (True, (90,), {"edge-run", "cross"}),
        (False, (45, -45), {"crossed-rows"}),
        (False, (), set()),
    ],
)
def test_each_kind_of_underlay_of_a_fill_is_told(edge: bool, turns: tuple[int, ...], kinds: set[str]) -> None:
    book = Labelled()
    if edge:
        run(book, circle(13.2))
    for turn in turns:
        fill(book, DISC.buffer(-0.8), angle=20 + turn, spacing=2.4)
    fill(book, DISC, angle=20)
    assert bases(book) == [kinds]


def test_a_line_that_only_crosses_under_a_column_is_no_underlay() -> None:
    book = Labelled()
    run(book, np.array([[14.0, -1.9], [16.0, 6.0]]), stitch=1.0)
    book.move(CENTRE[0])
    satin(book, CENTRE, 8.0)
    assert bases(book) == [set()]


def test_random_designs_have_the_base_that_was_sewn() -> None:
    agree, kinds_agree, kinds_seen = [], 0, 0
    for name in ("straight", "columns", "split_columns", "lettering"):
        for seed in range(COUNT):
            for hard in (False, True):
                sheet = labelled(name, FIRST_FRESH + seed, hard=hard)
                if not sheet.labels:
                    continue
                regions = cut(sheet.design())
                found = {base.region: {kind.value for kind in base.kinds} for base in regions.bases}
                for number, good, best in objects_found(sheet, regions):
                    if good and best in found:
                        base = sheet.made[number].base
                        agree.append(bool(base) == bool(found[best]))
                        kinds_agree += len(base & found[best])
                        kinds_seen += len(base | found[best])
    assert len(agree) > 60
    assert np.mean(agree) > 0.95
    assert kinds_agree / kinds_seen > 0.85


def test_letters_are_as_high_as_they_were_sewn() -> None:
    book = Labelled()
    for k, x in enumerate((0.0, 9.0, 18.0, 27.0)):
        if k:
            book.move(np.array([x, 0.0]))
        satin(book, np.array([[x, 0.0], [x, 7.0]]), 1.1)
        satin(book, np.array([[x, 7.0], [x + 4.5, 7.0]]), 1.1)
        satin(book, np.array([[x, 3.5], [x + 3.5, 3.5]]), 1.1)
    (word,) = cut(book.design()).lettering
    assert word.letters == 4
    assert word.height_mm == pytest.approx(7.55, abs=0.3)  # half a column above the upper centre line


@pytest.mark.parametrize("name", ["straight", "columns", "lines", "contour"])
def test_nothing_else_is_taken_for_lettering_or_applique(name: str) -> None:
    for seed in range(COUNT):
        regions = cut(labelled(name, FIRST_FRESH + seed, hard=False).design())
        assert regions.lettering == ()
        assert regions.appliques == ()


@pytest.mark.parametrize("laid", [False, True])
@pytest.mark.parametrize("cut_", [False, True])
@pytest.mark.parametrize("halt", [Command.STOP, Command.COLOUR_CHANGE])
@pytest.mark.parametrize("zig_zag", [False, True])
def test_an_applique_is_known_with_its_halts(laid: bool, cut_: bool, halt: Command, zig_zag: bool) -> None:
    path = circle(15)
    book = Labelled()
    run(book, path)
    if laid:
        book.command(halt)
    if zig_zag:
        satin(book, path, 2.0, spacing=1.0)
    else:
        run(book, path, passes=2)
    if cut_:
        book.command(halt)
    satin(book, path, 3.5)
    regions = cut(book.design())
    if not laid and (not cut_ or not zig_zag):
        # Without any halt it is a column on its underlay; three passes without one are one triple run.
        assert regions.appliques == ()
        return
    (found,) = regions.appliques
    assert (found.stop_after_placement, found.stop_after_tack_down) == (laid, cut_)
    assert regions.items[found.cover].kind is RegionKind.SATIN
    assert found.placement < min(found.tack_down) <= max(found.tack_down) < found.cover


def test_an_edge_run_under_a_bordered_fill_is_no_placement_line() -> None:
    book = Labelled()
    run(book, circle(13.2))
    fill(book, DISC)
    book.colour()
    run(book, circle(13.9))
    satin(book, circle(13.9), 2.5)
    regions = cut(book.design())
    assert regions.appliques == ()
    assert UnderlayKind.CENTRE_RUN in regions.bases[-1].kinds
