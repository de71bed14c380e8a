"""Learning from one test piece, proved on virtual sew-outs that the law does not know.

The stitch-by-stitch model plays the machine, with pull, lock share, thread stiffness, play and stiffnesses of
cloth and backing drawn from the tables' own spreads and hidden, and in every second world a bobbin tie that
the law has no name for. Predicted is the gap of another design. The wished-for figures are the project's own.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from hidden_worlds import Bench, after, bench, predicted, record, truth, world

from analyzer.sewout.piece import measures

Told = tuple[np.ndarray, float]
SEEN = {
    "one 8 mm column": lambda one: one.name == "8 mm column, upright",
    "all columns": lambda one: one.kind == "width",
    "columns and fill": lambda one: one.kind in ("width", "sewn"),
    "columns, fill, gaps": lambda one: one.kind != "marks",
    "everything": lambda one: True,
}


@cache
def shared() -> Bench:
    return bench()


@cache
def told(number: int) -> Told:
    return truth(shared(), world(number))


def limits(number: int, error: float, seen: str = "everything", pieces: int = 1) -> np.ndarray:
    """Median, 5 and 95 % of the predicted gap after so many test pieces."""
    kinds = np.array([SEEN[seen](one) for one in measures()])
    measured, _ = told(number)
    records = [record(shared(), measured, error, 10_000 * k + number, kinds) for k in range(pieces)]
    found: np.ndarray = np.percentile(after(shared(), records), [50, 5, 95])
    return found


def score(numbers: range, found: list[np.ndarray]) -> tuple[float, float]:
    """Median relative error, and the share of truths within the 90 % limits."""
    true = np.array([told(number)[1] for number in numbers])
    middle, low, high = np.array(found).T
    return float(np.median(np.abs(middle / true - 1.0))), float(np.mean((low <= true) & (true <= high)))


def test_one_test_piece_tells_the_gap_of_another_design() -> None:
    """Over 20 worlds: from over 35 % off to under 20 %, and limits that hold no less than they claim."""
    numbers = range(20)
    untaught = np.percentile(predicted(None), [50, 5, 95])
    before, _ = score(numbers, [untaught] * len(numbers))
    off, held = score(numbers, [limits(number, 0.1) for number in numbers])
    assert before > 0.35
    assert off < 0.2
    assert held >= 0.85


def test_a_wrong_ruler_teaches_wrong() -> None:
    """Negative control: movements read twice as large make the predicted gap far too large."""
    measured, true = told(0)
    meant = shared().nodes.meant
    every = np.ones(len(measured), dtype=bool)
    taught = after(shared(), [record(shared(), 2.0 * measured - meant, 0.1, 0, every)])
    assert np.percentile(taught, 50) > 1.4 * true


def test_a_slipped_hoop_does_not_rule() -> None:
    """One measure 1.5 mm off, among eleven, moves the prediction by less than its own limits are wide."""
    measured, _ = told(0)
    every = np.ones(len(measured), dtype=bool)
    slipped = measured.copy()
    slipped[-1] -= 1.5
    sound, odd = (after(shared(), [record(shared(), m, 0.1, 0, every)]) for m in (measured, slipped))
    low, middle, high = np.percentile(sound, [5, 50, 95])
    assert low < np.median(odd) < high
    assert np.median(odd) != middle


@pytest.mark.long
@pytest.mark.parametrize(
    ("error", "seen", "pieces"),
    [(0.1, seen, 1) for seen in SEEN if seen != "all columns"]
    + [pytest.param(0.1, "all columns", 1, marks=pytest.mark.xfail(reason="81.5 % held, not 85 %"))]
    + [(0.05, "everything", 1), (0.2, "everything", 1), (0.1, "everything", 2), (0.1, "everything", 3)],
)
def test_two_hundred_worlds(
    record_property: Callable[[str, object], None], error: float, seen: str, pieces: int
) -> None:
    """The same over 200 worlds; what was found goes into the test report."""
    numbers = range(200)
    off, held = score(numbers, [limits(number, error, seen, pieces) for number in numbers])
    record_property("median error", off)
    record_property("share within the limits", held)
    assert held >= 0.85
    if seen == "everything" and error <= 0.1:
        assert off < 0.2
