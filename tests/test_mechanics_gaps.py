"""The gap along every sort of pair, found in the stitches: what the file leaves plus what drift adds."""

from types import SimpleNamespace

import numpy as np
import pytest
from disc_by_hand import CUTAWAY, HOOP, TWILL, stack

from analyzer.design import Command, Design
from analyzer.goods import draw
from analyzer.mechanics import prepare, respond
from analyzer.mechanics.answer import _gaps
from analyzer.regions import cut

SPACING_MM, LENGTH_MM, HALF_MM = 0.4, 3.5, 10.0
DISTANCE_MM = 0.3  # that the file leaves


def rows(left, right, low, high):
    """Staggered rows along x."""
    points = []
    for k, y in enumerate(np.arange(low, high + 1e-9, SPACING_MM)):
        inner = np.arange(left + 1.0 + LENGTH_MM * (k % 4) / 4, right - 1.0, LENGTH_MM)
        row = np.r_[left, inner, right]
        points.append(np.column_stack([row if k % 2 == 0 else row[::-1], np.full(row.size, y)]))
    return np.concatenate(points)


def run_around(half):
    """A run round a square, in stitches of 2 mm."""
    side = np.linspace(-half, half, round(half) + 1)[:-1]
    edge = np.full(side.size, half)
    corners = [(side, -edge), (edge, side), (-side, edge), (-edge, -side)]
    return np.concatenate([np.column_stack(c) for c in corners] + [np.array([[-half, -half]])])


def column(left, right, low, high):
    """A satin with its threads along x."""
    y = np.arange(low, high + 1e-9, 0.2)
    return np.column_stack([np.where(np.arange(y.size) % 2 == 0, left, right), y])


def design_of(*parts):
    """One colour for each part."""
    points, kinds = [], []
    for part in parts:
        points += [part, part[-1:]]
        kinds += [Command.STITCH] * len(part) + [Command.COLOUR_CHANGE]
    return Design.from_commands(np.concatenate(points), np.array(kinds))


EDGE = HALF_MM + DISTANCE_MM
SORTS = {
    "run": run_around(EDGE),
    "satin": column(EDGE, EDGE + 3.0, -HALF_MM, HALF_MM),
    "fill": rows(EDGE, EDGE + 12.0, -HALF_MM, HALF_MM),
}


@pytest.mark.parametrize("sort", SORTS)
def test_a_gap_is_what_the_file_leaves_plus_the_drift_of_both_edges(sort):
    """Worked out from the drift of the nearest penetrations on both sides of the square's right edge."""
    design = design_of(rows(-HALF_MM, HALF_MM, -HALF_MM, HALF_MM), SORTS[sort])
    regions = cut(design)
    found = respond(prepare(design, regions, HOOP), stack(TWILL, CUTAWAY), draw(20, 1))
    (gap,) = [g for g in found.gaps if {g.outline, g.borders} == {0, 1}]
    assert regions.items[gap.outline].kind.value == sort
    right = (gap.normal[:, 0] > 0.9) & (np.abs(gap.at[:, 1]) < HALF_MM - 2.0)
    assert np.count_nonzero(right) > 20
    assert gap.meant_mm[right] == pytest.approx(DISTANCE_MM, abs=0.1)

    def drift_near(points, region, x):
        own = np.flatnonzero((regions.region_of == region) & (np.abs(design.penetrations[:, 0] - x) < 0.05))
        away = np.abs(points[:, 1, None] - design.penetrations[own, 1])
        near = np.argsort(away, axis=1)[:, :2]  # rows and threads come from both sides
        return found.drift[own[near], 0].mean(axis=1)

    outer = drift_near(gap.at[right], gap.outline, EDGE)
    inner = drift_near(gap.at[right], gap.borders, HALF_MM)
    by_hand = gap.meant_mm[right] + (outer - inner)
    assert gap.nominal_mm[right].mean() == pytest.approx(by_hand.mean(), abs=0.01)
    assert gap.nominal_mm[right] == pytest.approx(by_hand, abs=0.05)
    # negative controls: drift left out, and with the other sign
    assert abs(gap.nominal_mm[right].mean() - gap.meant_mm[right].mean()) > 0.015
    wrong = gap.meant_mm[right] - (outer - inner)
    assert abs(gap.nominal_mm[right].mean() - wrong.mean()) > 0.04


def test_an_outline_over_the_edge_overlaps():
    """A satin that the file sews half a millimetre over the square: a negative gap, less drift."""
    over = column(HALF_MM - 0.5, HALF_MM + 2.5, -HALF_MM, HALF_MM)
    design = design_of(rows(-HALF_MM, HALF_MM, -HALF_MM, HALF_MM), over)
    found = respond(prepare(design, cut(design), HOOP), stack(TWILL, CUTAWAY), draw(20, 1))
    (gap,) = [g for g in found.gaps if g.outline == 1]
    middle = np.abs(gap.at[:, 1]) < HALF_MM - 2.0
    assert gap.meant_mm[middle] == pytest.approx(-0.5, abs=0.1)
    assert (gap.nominal_mm[middle] > gap.meant_mm[middle]).all()
    assert gap.draws_mm[:, middle].mean() < 0.0


def test_an_outline_whose_stations_lie_on_each_other_has_a_distance_between_them():
    """A line sewn to and fro in one place: found on a design scaled down, whose stations came twice."""
    at = np.repeat(np.column_stack([np.arange(5) * 0.5, np.zeros(5)]), 3, axis=0)
    pair = SimpleNamespace(outline=1, borders=0, at=at, normal=np.ones_like(at), meant_mm=np.zeros(len(at)))
    sewing = SimpleNamespace(regions=SimpleNamespace(pairs=(pair,)))
    (gap,) = _gaps(sewing, np.zeros(len(at)), np.zeros((2, len(at))))
    assert gap.station_mm == 0.5
