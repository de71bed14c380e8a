"""What ``check`` says of the sample designs is what ``sample_designs/expectations.toml`` says to expect.

The expectations are our own judgement of invented designs: they show that the whole job hangs together, not
that the millimetres are right.
"""

from __future__ import annotations

import json
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from analyzer import Check, Job, check, read
from analyzer.report import json_schema as schema_text

SAMPLES = Path(__file__).parent.parent / "sample_designs"
CASES: list[dict[str, Any]] = tomllib.loads((SAMPLES / "expectations.toml").read_text(encoding="utf-8"))[
    "case"
]
SCHEMA: dict[str, Any] = json.loads(schema_text())
LEVELS = ["note", "caution", "fault"]
MOST_FINDINGS = 3  # of a design that is sound on these goods


@cache
def checked(file: str, goods: str | None, backing: str | None = None) -> Check:
    return check(read(SAMPLES / file), Job(goods=goods, backing=backing))


def of_case(case: dict[str, Any]) -> Check:
    return checked(case["file"], case["goods"], case.get("backing"))


@pytest.mark.parametrize(
    "case", CASES, ids=lambda case: f"{case['file']} on {case['goods']}, {case.get('backing', 'planned')}"
)
def test_a_sample_comes_out_as_expected(case: dict[str, Any]) -> None:
    result = of_case(case)
    names = {item.name for item in result.findings}
    assert result.outcome in case["outcomes"]
    assert names >= set(case["must"])
    assert not names & set(case["must_not"])
    assert all(LEVELS.index(item.level) <= LEVELS.index(case["level"]) for item in result.findings)
    if result.outcome == "hoop-it":
        assert len(result.findings) <= MOST_FINDINGS
        assert result.judged is not None
        assert result.judged.findings.chance_of_missing < 0.10
    jsonschema.validate(result.to_dict(), SCHEMA)


def test_every_sample_has_its_expectation() -> None:
    designs = {p.name for p in SAMPLES.iterdir() if p.suffix in (".dst", ".pes", ".exp", ".jef", ".vp3")}
    assert {case["file"] for case in CASES} == designs
    assert len({name.rpartition(".")[2] for name in designs}) == 5


def test_designs_differ_in_what_they_need() -> None:
    results = [of_case(case) for case in CASES]
    assert len({r.plan.choice for r in results if r.plan}) >= 5
    assert {r.outcome for r in results} == {"hoop-it", "sample-first", "rework"}
    assert len({r.cover.coverage for r in results}) >= 9


def test_a_late_outline_misses_by_more_than_one_sewn_at_once() -> None:
    """Oars and waves sewn in between draw the field further in; on one and the same backing.

    The difference is small: a finished field is stiff, and what is sewn on top of it draws it in little.
    """
    last, at_once = (
        checked(f"crest-outline-{when}.dst", "jersey", "cutaway:68") for when in ("last", "first")
    )
    (late,), (early,) = last.gaps, at_once.gaps
    assert late.high_mm > early.high_mm
    assert late.chance_bare > early.chance_bare


@pytest.mark.parametrize("file", ["crest-outline-last.dst", "signal-flags.jef"])
def test_without_goods_it_measures_and_compares_and_gives_no_outcome(file: str) -> None:
    result = checked(file, None)
    document = result.to_dict()
    jsonschema.validate(document, SCHEMA)
    assert document["job"]["goods"] is None
    assert document["outcome"] is None
    assert document["plan"] is None
    compared = [line["goods"] for line in document["comparison"]]
    assert list(dict.fromkeys(compared)) == ["jersey", "terry", "cotton-twill"]
    assert document["cover"]["coverage"] > 0
    assert len({line.response.pull_in.max_mm for line in result.comparison}) == len(result.comparison)


@pytest.mark.parametrize("file", ["crest-outline-last.dst", "rope-wreath.exp"])
def test_no_colours_are_invented_where_the_format_holds_none(file: str) -> None:
    design = checked(file, None).to_dict()["design"]
    assert all(colour["rgb"] is None and colour["name"] is None for colour in design["colours"])
    assert any("colour" in note for note in design["notes"])


def test_the_same_check_gives_the_same_bytes() -> None:
    again = check(read(SAMPLES / "signal-flags.jef"), Job(goods="canvas"))
    assert again.to_json() == checked("signal-flags.jef", "canvas").to_json()
    other = check(read(SAMPLES / "signal-flags.jef"), Job(goods="canvas", seed=1))
    assert other.to_json() != again.to_json()
