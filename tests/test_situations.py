"""What the plan says of the situations of ``situations.toml`` is what the trade would say of them.

The expectations were written down before the program was asked. A case that disagrees says why; once it
agrees, that has to go again. The designs are small constructions, the goods are classes of cloth: this shows
that the plan is sensible, not that the millimetres are right.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from situation_designs import BUILT, design

from analyzer import Check, Job, check
from analyzer.errors import PrehoopError

SITUATIONS: Mapping[str, Mapping[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "situations.toml").read_text(encoding="utf-8")
)
SETTINGS = ("goods", "care", "back", "holding", "thread", "hoop", "colour", "backing", "stock")
WORDS = ("situation", "expects", "source", "disagrees")
WANTED = (
    *("outcomes", "kinds", "g_m2", "layers", "topping", "needles", "attach", "speed_max"),
    *("findings", "not_findings", "says", "says_not", "rework"),
)
MOST_DISAGREEMENTS = 2


@cache
def checked(name: str) -> Check:
    case = SITUATIONS[name]
    settings = {key: case[key] for key in SETTINGS if key in case}
    if "stock" in settings:
        settings["stock"] = tuple(settings["stock"])
    return check(design(case["design"]), Job(**settings))


def texts_of(result: Check) -> str:
    """Return everything that the plan says, in small letters."""
    plan = result.plan
    assert plan is not None
    steps = plan.steps
    said: Iterable[str] = (
        *steps.before,
        *steps.sewing,
        *steps.finishing,
        *plan.cautions,
        *plan.reasons,
        *(f"{one.what} {one.effect}" for one in plan.rework),
    )
    return "\n".join(said).lower()


def disagreements(case: Mapping[str, Any], result: Check) -> list[str]:
    """Return what comes out differently from what is expected."""
    plan = result.plan
    assert plan is not None
    kinds = {item.kind for item in plan.choice.backings} or {"none"}
    topping = plan.topping.kind if plan.topping else "none"
    names = {item.name for item in result.findings}
    said = texts_of(result)
    weight, layers = plan.choice.total_g_m2, plan.choice.layers

    def within(key: str, value: float) -> bool:
        return key not in case or case[key][0] <= value <= case[key][1]

    wrong = {
        f"outcome {plan.outcome}": plan.outcome in case["outcomes"],
        f"behind it {sorted(kinds)}": "kinds" not in case or kinds <= set(case["kinds"]),
        f"{weight:g} g/m2 behind it": within("g_m2", weight),
        f"{layers} layers": within("layers", layers),
        f"topping {topping}": "topping" not in case or topping in case["topping"],
        f"needle {plan.needle}": "needles" not in case or plan.needle in case["needles"],
        f"attached {plan.attach}": "attach" not in case or plan.attach in case["attach"],
        f"speed {plan.speed_spm:g}": plan.speed_spm <= case.get("speed_max", plan.speed_spm),
        "no rework": bool(plan.rework) or not case.get("rework", False),
    }
    wrong |= {f"finding {name} missing": name in names for name in case.get("findings", ())}
    wrong |= {f"finding {name}": name not in names for name in case.get("not_findings", ())}
    wrong |= {f"does not say '{word}'": word in said for word in case.get("says", ())}
    wrong |= {f"says '{word}'": word not in said for word in case.get("says_not", ())}
    return [what for what, right in wrong.items() if not right]


def too_fine(text: str) -> list[str]:
    """Return the lengths finer than 0.1 mm and the chances in figures; rows' distances are the file's own."""
    found = [line for line in text.splitlines() if re.search(r"\d\.\d\d+ mm", line) and "rows" not in line]
    return found + [line for line in text.splitlines() if re.search(r"chance of \d|\d %.*likely", line)]


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=[pytest.mark.long] * (SITUATIONS[n].get("slow", False))) for n in SITUATIONS],
)
def test_the_plan_says_what_the_trade_would(name: str) -> None:
    case, result = SITUATIONS[name], checked(name)
    found = disagreements(case, result)
    because = "\n".join(item.because.lower() for item in result.findings)
    assert not too_fine(f"{texts_of(result)}\n{because}")
    if "disagrees" in case:
        assert found, f"{name} agrees by now: take its `disagrees` out"
    else:
        assert not found, f"{case['expects']} But: {'; '.join(found)}"


def test_the_table_is_whole_and_nearly_all_of_it_agrees() -> None:
    assert len(SITUATIONS) >= 40
    assert sum("disagrees" in case for case in SITUATIONS.values()) <= MOST_DISAGREEMENTS
    for name, case in SITUATIONS.items():
        assert {"situation", "expects", "source", "design", "goods", "outcomes"} <= set(case), name
        assert set(case) <= {*SETTINGS, *WORDS, *WANTED, "design", "slow"}, name
        assert any(key in case for key in WANTED if key != "outcomes"), f"{name}: nothing but an outcome"
    assert len({case["goods"] for case in SITUATIONS.values()}) >= 20
    assert {case["design"] for case in SITUATIONS.values()} >= set(BUILT)


def test_a_wrong_expectation_is_noticed() -> None:
    """The negative control: the table can fail, in each of its keys."""
    case = {
        "outcomes": ["rework"],
        "kinds": ["tearaway"],
        "g_m2": [500, 600],
        "layers": [3, 4],
        "topping": ["opaque-film"],
        "needles": ["100/16 wedge"],
        "attach": ["fused"],
        "speed_max": 10,
        "rework": True,
        "findings": ["lace-comes-apart"],
        "says": ["use a wash-away on this tee"],
        "says_not": ["do not stretch"],
    }
    assert len(disagreements(case, checked("tee-left-chest"))) == len(case)


def test_figures_that_are_too_fine_are_noticed() -> None:
    """The negative control."""
    assert too_fine("the gap is 0.31 mm")
    assert too_fine("a chance of 0.3 is left")
    assert not too_fine("the gap is 0.3 mm\nits rows lie 0.42 mm apart")


def test_what_is_named_exists() -> None:
    """Names in the table are names of the tables: a slip in a name would make an expectation empty."""
    from analyzer.findings import RULES
    from analyzer.goods import backings, cloths, toppings

    for case in SITUATIONS.values():
        assert case["goods"] in cloths()
        assert set(case.get("kinds", ())) <= {*backings(), "none"}
        assert set(case.get("topping", ())) <= {*toppings(), "none"}
        assert {*case.get("findings", ()), *case.get("not_findings", ())} <= set(RULES)
        assert set(case["outcomes"]) <= {"hoop-it", "sample-first", "rework"}


def test_errors_are_errors() -> None:
    with pytest.raises(PrehoopError):
        check(design("mark"), Job(goods="jersey", backing="slate:85"))
