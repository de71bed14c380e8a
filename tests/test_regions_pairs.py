"""Pairing outlines with edges: which are found, which are not, and the gap that the file itself leaves.

The oracle is shapely's distance to the polygon that was filled, which the cutting never sees.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
import shapely
from labelled import Labelled, circle, fill, rectangle, run, satin
from labelled_designs import L_SHAPE, TABLE, details, neighbours, ring
from shapely.geometry import Polygon

from analyzer.regions import OutlinePair, Regions, cut

SHAPES = {"box": rectangle(36, 24), "disc": Polygon(circle(16)), "l": L_SHAPE}


def around(shape: Polygon, offset: float) -> np.ndarray:
    return shapely.get_coordinates(shape.buffer(offset, join_style="mitre").exterior)


def one_pair(book: Labelled) -> OutlinePair:
    (pair,) = cut(book.design()).pairs
    return pair


def signed(shape: Polygon, points: np.ndarray) -> np.ndarray:
    """Signed distance out of ``shape``, mm, by shapely."""
    places = shapely.points(points)
    away = shapely.distance(shapely.boundary(shape), places)
    return np.where(shapely.contains(shape, places), -away, away)


@pytest.mark.parametrize("make", TABLE, ids=lambda make: make.__name__)
def test_outlines_are_found_and_no_others(make: Callable[[], Labelled]) -> None:
    regions = cut(make().design())
    kinds = [item.kind.value for item in regions.items]
    found = Counter((kinds[pair.outline], kinds[pair.borders]) for pair in regions.pairs)
    assert found == Counter(TABLE[make][1])
    for pair in regions.pairs:
        assert pair.borders in regions.items[pair.outline].outline_of


@pytest.mark.parametrize("offset", [-0.3, 0.0, 0.4])
@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0])
@pytest.mark.parametrize("name", SHAPES)
def test_a_run_leaves_the_gap_that_was_programmed(name: str, angle: float, offset: float) -> None:
    shape = SHAPES[name]
    book = Labelled()
    fill(book, shape, angle=angle)
    book.colour()
    run(book, around(shape, offset))
    pair = one_pair(book)
    # Where a row runs along the edge the fill itself ends up to a spacing inside: the median sees past it.
    assert np.median(pair.meant_mm) == pytest.approx(offset, abs=0.06)
    error = pair.meant_mm - signed(shape, pair.at)
    assert abs(np.mean(error)) < 0.08
    assert np.std(error) < 0.2
    along = len(pair.at) * 0.5
    assert along > 0.85 * shape.length


@pytest.mark.parametrize("overlap", [-0.5, 0.0, 0.6])
@pytest.mark.parametrize("angle", [0.0, 55.0])
def test_a_satin_border_counts_from_its_inner_rail(angle: float, overlap: float) -> None:
    shape, width = Polygon(circle(18)), 2.4
    book = Labelled()
    fill(book, shape, angle=angle)
    book.colour()
    satin(book, circle(18 + overlap + width / 2), width)
    pair = one_pair(book)
    assert np.median(pair.meant_mm) == pytest.approx(overlap, abs=0.08)
    assert np.hypot(*pair.at.T).mean() == pytest.approx(18 + overlap, abs=0.1)


def test_normals_point_out_of_the_border_and_edges_lie_on_it() -> None:
    book = Labelled()
    fill(book, SHAPES["disc"], angle=10)
    book.colour()
    run(book, circle(16.4))
    design = book.design()
    pair = one_pair(book)
    radial = pair.edge / np.linalg.norm(pair.edge, axis=1)[:, None]
    assert np.einsum("ij,ij->i", pair.normal, radial).min() > 0.8
    assert np.linalg.norm(pair.normal, axis=1) == pytest.approx(1.0)
    made = design.penetrations[pair.edge_stitch]
    # Rows that meet an edge squarely end every 0.8 mm; along it their stitches are 3.5 mm long.
    assert np.median(np.linalg.norm(made - pair.edge, axis=1)) < 0.4
    assert np.linalg.norm(made - pair.edge, axis=1).max() < 2.0
    assert (design.colour[pair.edge_stitch] == 0).all()
    assert (design.colour[pair.outline_stitch] == 1).all()
    step = design.penetrations[pair.outline_stitch] - pair.at
    assert np.linalg.norm(step, axis=1).max() < 2.6


def test_both_edges_of_a_ring_have_their_outline() -> None:
    outer, inner = cut(ring().design()).pairs
    assert np.median(outer.meant_mm) == pytest.approx(0.0, abs=0.05)
    assert np.median(inner.meant_mm) == pytest.approx(0.3, abs=0.06)
    radial = inner.at / np.linalg.norm(inner.at, axis=1)[:, None]
    assert np.median(np.einsum("ij,ij->i", inner.normal, radial)) < -0.95


def test_every_pass_of_an_outline_counts_once() -> None:
    lengths = []
    for passes in (1, 2, 3):
        book = Labelled()
        fill(book, SHAPES["box"])
        book.colour()
        run(book, around(SHAPES["box"], 0.2), passes=passes)
        lengths.append(len(one_pair(book).at))
    assert max(lengths) < 1.15 * min(lengths)


def test_fills_that_abut_are_a_pair_and_the_later_one_is_the_outline() -> None:
    regions: Regions = cut(neighbours().design())
    (pair,) = regions.pairs
    assert pair.outline > pair.borders
    assert np.median(pair.meant_mm) == pytest.approx(0.3, abs=0.05)
    assert pair.normal[:, 0].min() > 0.9


@pytest.mark.parametrize("away", [2.5, 6.0])
def test_a_line_too_far_from_an_edge_is_no_outline(away: float) -> None:
    book = Labelled()
    fill(book, SHAPES["box"])
    book.colour()
    run(book, around(SHAPES["box"], away))
    assert cut(book.design()).pairs == ()
    assert cut(details().design()).pairs == ()


def test_a_line_that_crosses_an_edge_is_no_outline() -> None:
    book = Labelled()
    fill(book, SHAPES["box"])
    for x in (-10.0, 0.0, 10.0):
        book.colour()
        run(book, np.array([[x, -30.0], [x + 4, 30.0]]))
    assert cut(book.design()).pairs == ()


def test_on_random_shapes_the_gap_is_found_without_bias() -> None:
    """Thirty blobs of random size, angle and spacing, each with a run or a satin at a random offset."""
    rng = np.random.default_rng(7)
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    errors, fills = [], 0
    for _ in range(30):
        radius = 1 + sum(rng.normal(0, 0.4 / k) * np.cos(k * t + rng.uniform(0, 6)) for k in range(2, 6))
        radius = np.clip(radius, 0.45, 1.8) * rng.uniform(9, 22)
        shape = Polygon(np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1))
        book = Labelled()
        fill(book, shape, angle=rng.uniform(0, 180), spacing=rng.choice([0.3, 0.4, 0.5, 0.7]))
        book.colour()
        offset = rng.uniform(-0.5, 0.6)
        if rng.random() < 0.5:
            run(book, around(shape, offset), passes=int(rng.integers(1, 4)))
        else:
            satin(book, around(shape, offset + 1.1), 2.2)
        regions = cut(book.design())
        fills += sum(item.kind.value == "fill" for item in regions.items) == 1
        outlines = [pair for pair in regions.pairs if (regions.items[pair.outline].colour == 1)]
        assert outlines
        error = np.concatenate([pair.meant_mm - signed(shape, pair.at) for pair in outlines])
        errors.append(float(np.median(error)))
    assert fills >= 28
    assert abs(np.mean(errors)) < 0.03
    assert np.std(errors) < 0.05


def leaning_rows(shape: tuple[float, float], first: list[tuple[float, float]]) -> np.ndarray:
    """Rows 0.4 mm apart that share their ends, down a box ``shape`` from its top, after points ``first``."""
    wide, high = shape
    down = np.arange(high, 0.0, -0.4)
    ends = np.stack([np.where(np.arange(len(down)) % 2, wide, 0.0), down], axis=1)
    rows = [np.linspace(a, b, 9)[1:] for a, b in itertools.pairwise(ends)]
    return np.concatenate([np.array(first).reshape(-1, 2), ends[:1], *rows])


def test_a_row_that_leans_over_others_takes_nothing_from_the_edge() -> None:
    """Rows that go up to the top edge and back down over it lay that twice: it is no hole."""
    book = Labelled()
    book.sew(leaning_rows((20.0, 12.0), [(0.0, 10.2), (10.0, 11.1), (20.0, 12.0), (10.0, 12.0)]), "fill")
    book.colour()
    shape = Polygon([(0, 0), (20, 0), (20, 12), (0, 12)])
    run(book, around(shape, 0.4))
    pair = one_pair(book)
    top = np.abs(pair.at[:, 1] - 12.4) < 0.05
    inner = top & (pair.at[:, 0] > 1.0) & (pair.at[:, 0] < 19.0)
    assert inner.sum() > 25
    assert np.abs(pair.meant_mm[inner] - 0.4).max() < 0.15


@pytest.mark.parametrize("ends", ["step", "vee"])
def test_one_first_row_after_underlay_is_of_the_fill_and_the_edge_run_is_not(ends: str) -> None:
    """The first row lies on the side that the others go away from, an edge run on the other (derived)."""
    shape = Polygon([(0, -6), (11.4, -6), (12.4, -4.2), (12.9, 2.7), (12.5, 4.9), (11.8, 8.2), (0, 8.2)])
    book = Labelled()
    run(book, shapely.get_coordinates(shape.buffer(-0.7, join_style="mitre").exterior), label="underlay")
    below = len(book.points)
    book.sew(np.array([(12.0, -3.8), (12.4, -4.2)]), "travel")
    begun = len(book.points)
    fill(book, shape, angle=266.4, spacing=0.46, ends=ends)
    regions = cut(book.design())
    kinds = np.array([item.kind.value for item in regions.items])[regions.region_of]
    assert (kinds[begun + 1 :] == "fill").all()  # after the way to where the first row begins
    assert (kinds[:below] != "fill").all()
