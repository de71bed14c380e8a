"""The network of threads that holds a free-standing piece together."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from cloth_shapes import WIDTH_MM, rows, sewn, square
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer import findings
from analyzer.cloth import measure, use
from analyzer.cloth.lace import lace as lace_of
from analyzer.cloth.lace import network
from analyzer.cloth.nearby import Nearby
from analyzer.cloth.types import Lace
from analyzer.formats import read
from analyzer.laid import Grid, clip
from analyzer.regions import RegionKind, cut

SAMPLES = Path(__file__).parent.parent / "sample_designs"


def segments(*ends) -> tuple[np.ndarray, np.ndarray]:
    table = np.array(ends, dtype=float)
    return table[:, :2], table[:, 2:]


def hashed(a: np.ndarray, b: np.ndarray) -> Nearby:
    x, y = np.concatenate([a, b]).min(axis=0, initial=0.0) - 0.23
    wide, tall = np.ceil(np.concatenate([a, b]).max(axis=0, initial=1.0) - (x, y)).astype(int)
    grid = Grid(float(x), float(y), 1.0, int(wide), int(tall))
    return Nearby.of(a, b, grid, clip(a, b, grid))


def lace(a: np.ndarray, b: np.ndarray) -> Lace:
    return lace_of(hashed(a, b))


def crossings(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return network(hashed(a, b)).crossings.pairs


def test_two_threads_that_cross_are_one_piece_and_two_that_do_not_are_two():
    assert lace(*segments((0, 0, 4, 4), (0, 4, 4, 0))).pieces == 1
    apart = lace(*segments((0, 0, 4, 0), (0, 1, 2, 1)))
    assert (apart.pieces, apart.crossings) == (2, 0)
    assert apart.largest_share == pytest.approx(4 / 6)
    ((x, y),) = apart.loose_at
    assert (0.0 < x < 2.0, y) == (True, 1.0)


def test_threads_that_share_a_hole_hold_each_other_without_crossing():
    found = lace(*segments((0, 0, 4, 0), (4, 0, 4, 5)))
    assert (found.pieces, found.crossings) == (1, 0)


def test_a_thread_that_ends_on_another_crosses_it():
    assert crossings(*segments((0, 0, 4, 0), (2, 0, 2, 3))).tolist() == [[0, 1]]


def test_threads_along_one_line_do_not_cross():
    assert lace(*segments((0, 0, 4, 0), (1, 0, 3, 0))).crossings == 0


def test_a_mesh_has_a_crossing_at_every_knot():
    """7 by 5 long threads: 35 crossings, one piece; derived."""
    y, x = np.arange(5.0), np.arange(7.0)
    across = [(-1, v, 8, v) for v in y]
    along = [(v, -1, v, 6) for v in x]
    found = lace(*segments(*across, *along))
    assert (found.pieces, found.crossings) == (1, 35)


number = st.integers(0, 300).map(lambda v: v / 10 + 0.0123 * (v % 7))


@given(st.lists(st.tuples(number, number, number, number), min_size=2, max_size=25, unique=True))
@settings(max_examples=80, deadline=None)
def test_crossings_are_those_that_shapely_finds(ends):
    """GEOS' crosses predicate; pairs that only touch are left out of the comparison."""
    a, b = segments(*ends)
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    found = {tuple(pair) for pair in crossings(a, b).tolist()}
    for i in range(len(lines)):
        for j in range(i + 1, len(lines)):
            if shapely.crosses(lines[i], lines[j]):
                assert (i, j) in found
            elif shapely.distance(lines[i], lines[j]) > 1e-6:
                assert (i, j) not in found


def test_crossings_do_not_depend_on_how_many_pairs_are_compared_at_a_time(monkeypatch):
    ends = np.random.default_rng(1).uniform(0, 12, (120, 4))
    whole = crossings(ends[:, :2], ends[:, 2:])
    monkeypatch.setattr("analyzer.cloth.crossings._MOST_PAIRS", 50)
    assert (crossings(ends[:, :2], ends[:, 2:]) == whole).all()
    assert len(whole) > 100


def test_rows_of_a_fill_hang_together_by_one_thread_only():
    part = rows(square(10))
    cover = measure(*sewn(part), thread_width_mm=WIDTH_MM)
    assert (cover.lace.pieces, cover.lace.crossings) == (1, 0)
    cut = measure(*sewn(part[:200], part[200:]), thread_width_mm=WIDTH_MM) if len(part) > 250 else None
    assert cut is None or cut.lace.pieces == 2


def net(side: float, at: float = 0.0, mesh: float = 2.0) -> list[tuple[float, ...]]:
    """Return the lines of a square net, each sewn twice, standing over the last line by half a mesh."""
    lines = np.arange(0.0, side + 0.1, mesh)
    out, far = -mesh / 2, side + mesh / 2
    across = [(at + out, v, at + far, v) for v in lines for _ in range(2)]
    along = [(at + v, out, at + v, far) for v in lines for _ in range(2)]
    return across + along


def bridged(threads: int) -> list[tuple[float, ...]]:
    """Return two nets of 16 mm, 8 mm apart, and threads from the one to the other."""
    bridge = [(15.0, 8.0 + 0.2 * i, 27.0, 8.0 + 0.2 * i) for i in range(threads)]
    return net(16.0) + net(16.0, at=26.0) + bridge


@pytest.mark.parametrize("threads", [1, 2, 3, 6])
def test_two_nets_hang_on_each_other_by_as_many_threads_as_join_them(threads):
    """By construction; the nets themselves hang together by far more."""
    (link,) = lace(*segments(*bridged(threads))).weak_links
    assert link.threads == threads
    assert link.parted_share == pytest.approx(0.5, abs=0.05)
    assert 15.0 < link.at[0] < 27.0
    assert link.at[1] == pytest.approx(8.0 + 0.1 * (threads - 1), abs=0.05)


def test_the_fewest_threads_are_the_least_cut_of_any_set_of_joints():
    """A ring of four nets joined by 1, 2, 3 and 2 threads: parting one takes two joints (derived).

    Nets A-B 1, B-C 2, C-D 3, D-A 2 (round the ring): B hangs by 1 + 2, A by 1 + 2, D by 3 + 2.
    """
    lines = []
    for x, y in ((0, 0), (30, 0), (30, 30), (0, 30)):
        lines += [(a + x, b + y, c + x, d + y) for a, b, c, d in net(16.0)]
    ab = [(14.0, 8.0, 32.0, 8.0)]
    bc = [(38.0 + 0.2 * i, 14.0, 38.0 + 0.2 * i, 32.0) for i in range(2)]
    cd = [(14.0, 38.0 + 0.2 * i, 32.0, 38.0 + 0.2 * i) for i in range(3)]
    da = [(8.0 + 0.2 * i, 14.0, 8.0 + 0.2 * i, 32.0) for i in range(2)]
    assert min(link.threads for link in lace(*segments(*lines, *ab, *bc, *cd, *da)).weak_links) == 3


def test_a_sound_net_has_no_weak_link_and_loose_thread_ends_are_none():
    assert lace(*segments(*net(30.0))).weak_links == ()
    ends = [(30.0, 30.0, 38.0, 38.0), (0.0, 0.0, -8.0, -8.0)]
    assert lace(*segments(*net(30.0), *ends)).weak_links == ()


def test_the_sample_of_lace_looks_like_lace_and_is_sound_and_other_samples_do_not():
    for file in ("lace-starfish.dst", "lighthouse-sketch.jef", "rope-wreath.exp", "signal-flags.jef"):
        design = read(SAMPLES / file)
        cover = measure(design, cut(design), thread_width_mm=WIDTH_MM)
        assert cover.looks_like_lace == (file == "lace-starfish.dst")
        assert cover.lace.pieces == 1 or file != "lace-starfish.dst"
        assert cover.lace.weak_links == () or file != "lace-starfish.dst"


def test_lace_sewn_too_loosely_is_caught_and_the_same_sewn_well_passes():
    """Found by the file alone, no goods named: two nets joined by one thread, and by twelve."""
    found = []
    for threads in (1, 12):
        parts = [np.array(line).reshape(2, 2) for line in bridged(threads)]
        design, regions = sewn(*parts, spacing=None, kind=RegionKind.RUN)
        cover = measure(design, regions, thread_width_mm=WIDTH_MM)
        taken = use(design, thickness_mm=0.5, speed_spm=600)
        names = {item.name: item for item in findings.measure(design, regions, cover, taken).items}
        found.append(names.keys() & {"lace-weak-link", "lace-comes-apart"})
    assert found == [{"lace-weak-link"}, set()]


def test_the_network_is_left_out_where_nobody_asks():
    cover = measure(*sewn(rows(square(10))), thread_width_mm=WIDTH_MM, lace=False)
    assert (cover.lace.pieces, cover.lace.weak_links) == (0, ())


def test_no_threads_no_network():
    found = lace(np.zeros((0, 2)), np.zeros((0, 2)))
    assert (found.pieces, found.crossings, found.largest_share, found.loose_at) == (0, 0, 0.0, ())
