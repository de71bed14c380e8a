"""The search: checked against trying every stack, over judges that get better with weight."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from evidence_by_hand import cover, evidence, job, one_layer, region, response, rows, sound_regions
from hypothesis import given
from hypothesis import strategies as st

from analyzer.findings import Finding, Findings, Level, PuckerVerdict, judge
from analyzer.goods import cloths, resolve
from analyzer.goods.types import StackChoice
from analyzer.plan import Facts, Trial, candidates, choose, trial_of
from analyzer.plan.search import Search, holds
from analyzer.regions.types import RegionKind, Regions

REGIONS = sound_regions(len(rows()))
LIGHT = Regions((region(0, RegionKind.RUN),), REGIONS.region_of, ())
MOST_TRIALS = 18  # of up to 40 stacks and two turns of each kind


def stacks(goods: str, regions: Regions = LIGHT) -> tuple[StackChoice, ...]:
    return candidates(resolve(job(goods), goods, (80.0, 60.0)), None, regions, cover(), None)


def judge_of(hardness: float, strengths: dict[str, float]) -> Callable[[StackChoice], Trial]:
    """Return a judge whose chance of missing falls with weight times the strength of its kind."""

    def judged(choice: StackChoice) -> Trial:
        held = sum(item.total_g_m2 * strengths.get(item.kind, 1.0) for item in choice.backings)
        chance = 1.0 / (1.0 + math.exp((held - hardness) / 15.0))
        return Trial(choice, chance, "outline-gap", (), chance > 0.98)

    return judged


strengths = st.dictionaries(
    st.sampled_from(
        ["cutaway", "mesh-cutaway", "tearaway", "soft-tearaway", "fusible-cutaway", "wash-away-film"]
    ),
    st.floats(0.3, 3.0),
)


@given(goods=st.sampled_from(sorted(cloths())), hardness=st.floats(-100, 500), strengths=strengths)
def test_the_lightest_that_holds_is_found_in_few_trials(goods, hardness, strengths):
    tried = stacks(goods)
    search = Search(tried, judge_of(hardness, strengths))
    every = [choice for choice in tried if holds(judge_of(hardness, strengths)(choice))]
    assert search.lightest() == (every[0] if every else None)
    assert len(search.trials) <= MOST_TRIALS


@given(
    goods=st.sampled_from(sorted(cloths())),
    hardness=st.floats(-100, 400),
    more=st.floats(0, 200),
    strengths=strengths,
)
def test_a_harder_design_never_gets_a_lighter_stack(goods, hardness, more, strengths):
    tried = stacks(goods)
    easy = Search(tried, judge_of(hardness, strengths)).lightest()
    hard = Search(tried, judge_of(hardness + more, strengths)).lightest()
    if hard is not None:
        assert easy is not None
        assert tried.index(easy) <= tried.index(hard)


def test_a_search_that_only_halves_over_all_kinds_at_once_would_go_wrong():
    """The negative control: with kinds of unequal strength the mixed list is not monotone."""
    tried = stacks("canvas", REGIONS)
    judged = judge_of(110.0, {"soft-tearaway": 0.3, "tearaway": 2.5, "cutaway": 1.0})
    good = [holds(judged(choice)) for choice in tried]
    assert good != sorted(good)
    assert Search(tried, judged).lightest() == tried[good.index(True)]


def facts(measured: Findings | None = None) -> Facts:
    return Facts(REGIONS, cover(), measured or judge(evidence(response=None)))


def setup(goods: str = "jersey", **settings):
    return resolve(job(goods, **settings), goods, (80.0, 60.0))


def constant(chance: float, *, beyond: bool = False, faults: tuple[str, ...] = ()):
    return lambda choice: Trial(choice, chance, "outline-gap", faults, beyond)


def fault(name: str, level: Level = Level.FAULT) -> Findings:
    item = Finding(name, level, (), None, 1.0, 0.5, "mm", None, "It is so.", "Change it.")
    return Findings((item,), (), PuckerVerdict(0, 0, 0, 0, (0, 0)), 0.5, 0.0, "")


@pytest.mark.parametrize(
    ("judged", "measured", "outcome"),
    [
        (constant(0.02), None, "hoop-it"),
        (constant(0.3), None, "sample-first"),
        (constant(0.09, faults=("outline-gap",)), None, "sample-first"),
        (constant(0.7), None, "rework"),
        (constant(0.02, beyond=True), None, "rework"),
        (constant(0.02), fault("lace-comes-apart"), "rework"),
        (constant(0.02), fault("hoop-too-small"), "rework"),
        (constant(0.02), fault("needle-crowding"), "rework"),
        (constant(0.02), fault("needle-crowding", Level.CAUTION), "sample-first"),
        (constant(0.02), fault("no-ties", Level.CAUTION), "hoop-it"),
    ],
)
@pytest.mark.parametrize("one_given", [False, True])
def test_outcome(judged, measured, outcome, one_given):
    tried = (one_layer(),) if one_given else stacks("jersey")
    plan = choose(setup(), facts(measured), tried, judged, given=one_given)
    assert plan.outcome == outcome
    if one_given:
        assert (plan.choice, plan.alternatives) == (one_layer(), ())


def test_lace_beyond_range_wants_a_sample():
    lace = setup("none")
    tried = candidates(lace, None, REGIONS, cover(), None)
    assert choose(lace, facts(), tried, constant(0.02, beyond=True)).outcome == "sample-first"
    assert choose(lace, facts(), tried, constant(0.7, beyond=True)).outcome == "rework"


def test_the_neighbours_are_named_with_why_not():
    tried = stacks("sweatshirt")
    plan = choose(setup("sweatshirt"), facts(), tried, judge_of(40.0, {}))
    lighter, heavier = plan.alternatives[0], plan.alternatives[-1]
    assert "lighter" in lighter.why_not
    assert "likely" in lighter.why_not
    assert "heavier" in heavier.why_not
    kind = plan.choice.backings[0].kind
    assert heavier.backing.startswith(kind)
    assert lighter.g_m2 < plan.choice.total_g_m2 < heavier.g_m2
    assert lighter.chance > 0.1 > heavier.chance
    assert heavier.relative_cost > 1.0


def test_where_nothing_holds_the_best_is_still_proposed():
    tried = stacks("jersey")
    heaviest = max(choice.total_g_m2 for choice in tried)
    plan = choose(setup(), facts(), tried, judge_of(heaviest + 10.0, {}))
    assert plan.outcome == "rework"
    assert plan.choice.total_g_m2 == heaviest


def test_what_no_backing_cures_does_not_pile_up_backing():
    """Where all stacks miss alike the lightest is proposed: more would cost and gain nothing."""
    plan = choose(setup(), facts(), stacks("jersey"), constant(0.3))
    tried = [choice.total_g_m2 for choice in stacks("jersey")]
    assert plan.outcome == "sample-first"
    assert plan.choice.total_g_m2 <= sorted(tried)[len(tried) // 2]


@pytest.mark.parametrize(
    ("stock", "word"), [("cutaway:85", "from the stock only"), ("tearaway:51", "Nothing in")]
)
def test_the_stock_is_named_and_so_is_a_stock_that_does_not_suit(stock, word):
    tried = candidates(setup(), (stock,), REGIONS, cover(), None)
    plan = choose(setup(), facts(), tried, constant(0.02), ordinary=lambda: stacks("jersey"))
    assert any(word in reason for reason in plan.reasons)


def test_caps_go_by_rules_alone_and_say_so():
    cap = setup("cotton-twill", holding="cap-frame")
    tried = candidates(cap, None, REGIONS, cover(), None)

    def never(choice: StackChoice) -> Trial:
        raise AssertionError("nothing is computed for caps")

    plan = choose(cap, facts(), tried, never)
    assert plan.outcome == "sample-first"
    assert plan.choice.backings[0].kind == "tearaway"
    assert any("rules of the trade only" in reason for reason in plan.reasons)


def test_a_trial_takes_only_the_faults_that_a_stack_decides():
    beyond = evidence(response=response(beyond=True))
    trial = trial_of(one_layer(), judge(beyond), beyond_range=True)
    assert trial.faults == ("beyond-range",)
    small = evidence(job(hoop="15x15"))
    assert trial_of(one_layer(), judge(small), beyond_range=False).faults == ()


def test_what_the_search_found_is_confirmed_and_stepped_up_where_it_does_not_hold() -> None:
    """The search may judge coarsely; the plan goes by the judge that sees more."""
    tried = stacks("sweatshirt")
    coarse = choose(setup("sweatshirt"), facts(), tried, judge_of(60.0, {}))
    same = choose(setup("sweatshirt"), facts(), tried, judge_of(60.0, {}), confirm=judge_of(60.0, {}))
    assert same.choice == coarse.choice
    harder = choose(setup("sweatshirt"), facts(), tried, judge_of(60.0, {}), confirm=judge_of(70.0, {}))
    assert harder.choice.total_g_m2 > coarse.choice.total_g_m2
    assert holds(judge_of(70.0, {})(harder.choice))


def test_a_given_stack_that_fails_sends_back_to_the_search() -> None:
    """The person named the stack: the first thing to change is that stack, not the design."""
    bare = (StackChoice((), None),)
    given = choose(setup(), facts(), bare, constant(0.9), given=True)
    assert given.outcome == "rework"
    assert any("search" in step for step in given.steps.sewing)
    assert any("searched" in reason for reason in given.reasons)
    searched = choose(setup(), facts(), stacks("jersey"), constant(0.9))
    assert not any("search" in step for step in searched.steps.sewing)
