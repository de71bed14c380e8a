"""A scan's screen against the whole of check, on samples that a human judged."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from analyzer.library.measuring import look_at
from analyzer.library.types import Asked, Verdict

SAMPLES = Path(__file__).parents[1] / "sample_designs"
CASES = [
    case
    for case in tomllib.loads((SAMPLES / "expectations.toml").read_text(encoding="utf-8"))["case"]
    if set(case) <= {"file", "says", "goods", "outcomes", "must", "must_not", "level"} and "goods" in case
]


def verdicts(file: str, *names: str) -> dict[str, Verdict]:
    record = look_at(file, (SAMPLES / file).read_bytes(), Asked(names))
    return {one.goods: one for one in record.verdicts}


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['file']} on {case['goods']}")
def test_the_screen_says_of_a_sample_what_a_human_expects_of_check(case: dict[str, object]) -> None:
    """As a human judged them (sample_designs/expectations.toml), where the plan is free to choose."""
    file, on = str(case["file"]), str(case["goods"])
    assert verdicts(file, on)[on].outcome in case["outcomes"]  # type: ignore[operator]


def test_a_medium_layer_where_it_holds_and_the_most_of_its_kind_where_not() -> None:
    """Common practice, no source: a dense crest wants more behind knit than behind towelling."""
    found = verdicts("crest-outline-last.dst", "jersey", "terry")
    assert (found["terry"].layers, found["terry"].enough) == (1, True)
    assert found["jersey"].layers == 2
    assert not found["jersey"].enough


def test_the_goods_beside_it_make_no_difference_that_matters() -> None:
    """Derived: what the first goods lends the others is taken over, not measured anew."""
    beside = verdicts("regatta-lettering.pes", "poplin", "jersey")["jersey"]
    alone = verdicts("regatta-lettering.pes", "jersey")["jersey"]
    assert beside.outcome == alone.outcome
    assert beside.chance == pytest.approx(alone.chance, abs=0.1)
