"""Why a plan is what it is: what decides, what is left, where trade and computation differ, what to buy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from evidence_by_hand import cover, evidence, gap, job, one_layer, region, response, rows, sound_regions

from analyzer.errors import BadJob
from analyzer.findings import Finding, Findings, Level, Margin, PuckerVerdict, judge
from analyzer.goods import build_stack, resolve
from analyzer.goods.types import StackChoice
from analyzer.job import Limits
from analyzer.mechanics.types import ColumnDraws
from analyzer.plan import Facts, Rework, Trial, candidates, choose, named
from analyzer.plan.candidates import piece_of, turned
from analyzer.plan.rules import broken, is_patch, least_g_m2, relative_cost
from analyzer.plan.search import Search
from analyzer.regions.types import Applique, RegionKind, Regions

REGIONS = sound_regions(len(rows()))
NOTHING = Findings((), (), PuckerVerdict(0.0, 0.0, 0.0, 0.0, (0.0, 0.0)), 0.5, 0.0, "")
FACTS = Facts(REGIONS, cover(), NOTHING)


def setup(goods: str = "jersey", **settings):
    return resolve(job(goods, **settings), goods, (80.0, 60.0))


def stacks(goods: str = "jersey", stock: tuple[str, ...] | None = None, **settings):
    return candidates(setup(goods, **settings), stock, REGIONS, cover(), None)


def needs(kinds: dict[str, float], otherwise: float = 1e9):
    """Return a judge for whom a stack holds from a weight that depends on its kind, g/m2."""

    def judged(choice: StackChoice) -> Trial:
        kind = choice.backings[0].kind if choice.backings else ""
        chance = 0.02 if choice.total_g_m2 >= kinds.get(kind, otherwise) else 0.4
        margin = Margin("outline-gap", 0.25, 0.5, "mm", chance)
        return Trial(choice, chance, "outline-gap", (), False, (margin,))

    return judged


def said(plan) -> str:
    return "\n".join(plan.reasons)


def test_the_limit_that_decides_is_told_with_what_is_left() -> None:
    plan = choose(setup(), FACTS, stacks(), needs({"mesh-cutaway": 45.0}))
    assert plan.decided_by == Margin("outline-gap", 0.25, 0.5, "mm", 0.02)
    assert plan.decided_by.room == pytest.approx(0.25)
    assert "outline-gap: 0.2 mm at nominal values, 0.5 mm allowed, 0.2 mm left" in said(plan)
    assert plan.stacks_tried >= 2


def test_margins_are_those_of_the_judged_draws() -> None:
    """Every limit that a stack decides is there, with its nominal value, its limit and its chance."""
    drift = np.linspace(0.0, 0.6, 400)
    loss = ColumnDraws(2, 4.0, 0.3, np.linspace(0.0, 1.0, 400))
    found = judge(evidence(response=response(gaps=(gap(0.0, drift),), columns=(loss,)))).margins
    by_name = {margin.name: margin for margin in found}
    assert next(iter(by_name)) == found[0].name == "outline-gap"
    assert by_name["outline-gap"].nominal == pytest.approx(0.3)
    assert by_name["outline-gap"].limit == pytest.approx(0.3), "a thin run of another colour"
    assert by_name["outline-gap"].chance == pytest.approx(0.5, abs=0.01)
    assert by_name["column-narrows"].limit == pytest.approx(0.8), "a fifth of 4 mm"
    assert by_name["column-narrows"].chance == pytest.approx(0.2, abs=0.01)
    assert {"outline-overlap", "edge-pucker"} <= set(by_name)
    assert judge(evidence(response=None)).margins == ()


def test_the_chance_accepted_is_the_users_to_set() -> None:
    def judged(choice: StackChoice) -> Trial:
        return Trial(choice, 8.0 / choice.total_g_m2, "outline-gap", (), False)

    strict = Limits((("chance_accepted", 0.09),))
    usual, careful = (
        choose(setup("sweatshirt", **given), FACTS, stacks("sweatshirt"), judged)
        for given in ({}, {"limits": strict})
    )
    assert usual.choice.total_g_m2 < careful.choice.total_g_m2
    assert "one piece in ten" in said(usual)
    assert "one piece in 11" in said(careful)
    with pytest.raises(BadJob):
        setup(limits=Limits((("chance_acepted", 0.05),)))


def test_a_sheet_is_turned_where_that_saves_a_step() -> None:
    def judged(choice: StackChoice) -> Trial:
        across = choice.layers == 1 and choice.backings[0].turns_deg == (90.0,)
        chance = 5.0 / (choice.total_g_m2 * (1.3 if across else 1.0))
        return Trial(choice, chance, "outline-gap", (), False)

    tried = stacks("sweatshirt")
    search = Search(tried, judged)
    found = search.lightest()
    assert found is not None
    assert found.backings[0].turns_deg == (90.0,)
    assert judged(turned(found)).chance_of_missing < 0.1
    straight = next(choice for choice in tried if judged(choice).chance_of_missing < 0.1)
    assert found.total_g_m2 < straight.total_g_m2
    plan = choose(setup("sweatshirt"), FACTS, tried, judged)
    assert any("quarter" in step for step in plan.steps.before)
    assert Search(tried, needs({"cutaway": 60.0})).lightest() in tried, "not where it gains nothing"


def test_where_trade_and_computation_differ_both_are_said() -> None:
    twill = setup("cotton-twill")
    tried = stacks("cotton-twill")
    fails = choose(twill, FACTS, tried, needs({"cutaway": 85.0}))
    trade = "By the trade: first of all tearaway. Computed, "
    assert f"{trade}tearaway:64 does not hold (outline-gap)" in said(fails)
    lighter = choose(twill, FACTS, tried, needs({"tearaway": 64.0, "soft-tearaway": 30.0}))
    assert f"{trade}tearaway:51 does not hold" in said(lighter)
    agree = choose(twill, FACTS, tried, needs({"tearaway": 44.0}))
    assert "By the trade" not in said(agree)


def test_two_tearaways_behind_a_knit_are_no_cutaway() -> None:
    two = (one_layer("tearaway", 51.0, layers=2),)
    plan = choose(setup(), FACTS, two, needs({"tearaway": 10.0}), given=True)
    assert plan.outcome == "sample-first"
    assert "keep a backing that stays" in said(plan)
    assert "holds while it is sewn" in said(plan)
    cutaway = choose(setup(), FACTS, (one_layer(),), needs({"cutaway": 10.0}), given=True)
    assert cutaway.outcome == "hoop-it"
    assert "By the trade" not in said(cutaway)


@pytest.mark.parametrize(
    ("goods", "settings", "choice", "breaks"),
    [
        ("jersey", {}, one_layer(), False),
        ("jersey", {}, one_layer("tearaway", 51.0), True),
        ("cotton-twill", {"care": "industrial"}, one_layer("tearaway", 51.0), True),
        ("cotton-twill", {}, one_layer("tearaway", 51.0), False),
        ("linen", {}, one_layer("cutaway", 68.0), True),
        ("organza", {"care": "dry-cleaned"}, one_layer("wash-away-fibrous", 50.0), True),
        ("organza", {}, one_layer("wash-away-fibrous", 50.0), False),
        ("none", {}, one_layer("tearaway", 51.0), True),
        ("polar-fleece", {}, one_layer("cutaway", 68.0), False),
    ],
)
def test_rules_that_a_given_stack_breaks(goods, settings, choice, breaks) -> None:
    assert bool(broken(setup(goods, **settings), choice)) is breaks


def test_a_stock_of_one_weight_is_doubled_or_mixed() -> None:
    assert [named(s) for s in stacks("sweatshirt", ("cutaway:51", "cutaway:68"))] == [
        "cutaway:51",
        "cutaway:68",
        "cutaway:51x2",
        "cutaway:51 + cutaway:68",
        "cutaway:68x2",
    ]
    mixed = stacks("sweatshirt", ("cutaway:51", "cutaway:68"))[3]
    assert [turn for item in mixed.backings for turn in item.turns_deg] == [0.0, 90.0]


def test_what_to_buy_where_the_stock_will_not_do() -> None:
    stock = stacks("sweatshirt", ("cutaway:37",))
    usual = stacks("sweatshirt")
    made = setup("sweatshirt")
    judged = needs({"cutaway": 85.0})
    weak = choose(made, FACTS, stock, judged, ordinary=lambda: usual)
    assert weak.buy == "cutaway:85"
    assert "Buy cutaway:85" in said(weak)
    enough = choose(made, FACTS, stock, needs({"cutaway": 70.0}), ordinary=lambda: usual)
    assert enough.buy is None
    assert named(enough.choice) == "cutaway:37x2"
    hopeless = choose(made, FACTS, stock, needs({}), ordinary=lambda: usual)
    assert hopeless.buy is None
    assert "Buying would not help" in said(hopeless)


def test_a_stock_that_breaks_a_rule_says_what_to_buy_though_it_holds() -> None:
    judged = needs({"tearaway": 30.0, "mesh-cutaway": 51.0})
    plan = choose(setup(), FACTS, stacks("jersey", ("tearaway:51",)), judged, ordinary=stacks)
    assert plan.outcome == "sample-first"
    assert plan.buy == "mesh-cutaway:51"


def test_many_stitches_want_some_weight_whatever_is_computed() -> None:
    """Step-up met in print: one light layer up to about 8,000 stitches."""
    many = replace(REGIONS, items=tuple(replace(item, stitches=3000) for item in REGIONS.items))
    assert least_g_m2(setup("denim"), REGIONS) == 0.0
    assert least_g_m2(setup("denim"), many) == 44.0
    assert least_g_m2(setup("organza"), many) == 0.0
    tried = candidates(setup("denim"), None, many, cover(), None)
    assert min(stack.total_g_m2 for stack in tried) >= 44.0
    plan = choose(setup("denim"), Facts(many, cover(), NOTHING), tried, needs({"tearaway": 1.0}))
    assert "12,000 stitches nothing lighter than 44 g/m2" in said(plan)


def test_costs_are_those_of_the_table_and_alternatives_carry_numbers() -> None:
    made = setup("sweatshirt")
    assert relative_cost(made, one_layer("cutaway", 68.0)) == pytest.approx(68.0)
    assert relative_cost(made, one_layer("mesh-cutaway", 51.0)) > 51.0
    plan = choose(made, FACTS, stacks("sweatshirt"), needs({"cutaway": 61.0}))
    lighter, stronger = plan.alternatives[0], plan.alternatives[-1]
    assert (lighter.chance, stronger.chance) == (0.4, 0.02)
    assert stronger.backing == "cutaway:68"
    assert stronger.relative_cost == pytest.approx(68.0 / 61.0)
    assert stronger.decided_by == Margin("outline-gap", 0.25, 0.5, "mm", 0.02)


def badge(goods: str, **border) -> bool:
    last = {"width_mm": 4.0, "outline_of": (2,), "bbox_mm": (-2.0, -2.0, 22.0, 22.0)} | border
    with_border = replace(REGIONS, items=(*REGIONS.items, region(4, RegionKind.SATIN, **last)))
    return is_patch(setup(goods), with_border)


@pytest.mark.parametrize(
    ("goods", "border", "patch"),
    [
        ("cotton-twill", {}, True),
        ("felt", {}, True),
        ("jersey", {}, False),
        ("denim", {}, False),
        ("cotton-twill", {"outline_of": ()}, False),
        ("cotton-twill", {"bbox_mm": (2.0, 2.0, 22.0, 22.0)}, False),
        ("cotton-twill", {"bbox_mm": (-200.0, -2.0, 22.0, 22.0)}, False),
    ],
)
def test_a_patch_is_a_fill_in_a_closed_satin_on_goods_for_patches(goods, border, patch) -> None:
    assert badge(goods, **border) is patch


def test_a_patch_wants_a_firm_backing_whatever_is_computed() -> None:
    border = region(4, RegionKind.SATIN, width_mm=4.0, outline_of=(2,), bbox_mm=(-2.0, -2.0, 22.0, 22.0))
    patch = replace(REGIONS, items=(*REGIONS.items, border))
    made = setup("cotton-twill")
    tried = candidates(made, None, patch, cover(count=5), None)
    assert min(choice.total_g_m2 for choice in tried) >= 61.0
    assert {item.kind for choice in tried for item in choice.backings} == {"tearaway", "cutaway"}
    plan = choose(made, Facts(patch, cover(count=5), NOTHING), tried, needs({"tearaway": 1.0}))
    assert "nothing lighter than 61 g/m2" in said(plan)
    assert any("cut both out close to the border" in step for step in plan.steps.finishing)


def test_an_applique_piece_is_a_layer_over_the_goods() -> None:
    sewn: Regions = replace(REGIONS, appliques=(Applique(1, (1,), 2, True, True),))
    assert piece_of(setup("sweatshirt"), REGIONS) is None
    assert piece_of(setup("sweatshirt"), sewn) == "sweatshirt"
    made = setup("sweatshirt", applique="felt")
    assert piece_of(made, sewn) == "felt"
    tried = candidates(made, None, sewn, cover(), None)
    assert {choice.piece for choice in tried} == {"felt"}
    with_piece = build_stack(made, tried[0])
    without = build_stack(made, replace(tried[0], piece=None))
    assert [layer.kind for layer in with_piece.layers][-1] == "nonwoven"
    assert with_piece.thickness_mm == pytest.approx(without.thickness_mm + 1.5)
    assert with_piece.membrane[0, 0] > without.membrane[0, 0]
    plan = choose(made, Facts(sewn, cover(), NOTHING), tried, needs({"cutaway": 50.0}))
    assert "felt" in said(plan)
    assert "assumed" not in said(plan)
    assert any("stop after the placement line" in step for step in plan.steps.sewing)
    assumed = choose(setup("sweatshirt"), Facts(sewn, cover(), NOTHING), tried, needs({"cutaway": 50.0}))
    assert "--applique" in said(assumed)


def test_doubts_that_a_stack_does_not_cure() -> None:
    def measured(name: str) -> Facts:
        item = Finding(name, Level.CAUTION, (), None, 1.0, 0.5, "mm", None, "It is so.", "Change it.")
        return Facts(REGIONS, cover(), replace(NOTHING, items=(item,)))

    judged = needs({"mesh-cutaway": 45.0})
    for name, words in (("missing-stop", "in the file first"), ("small-lettering", "Only a sew-out")):
        plan = choose(setup(), measured(name), stacks(), judged)
        assert plan.outcome == "sample-first"
        assert words in said(plan)
    terry, tried = setup("terry"), stacks("terry")
    drowned = choose(terry, replace(FACTS, drowned_share=0.9), tried, needs({"tearaway": 1.0}))
    dry = choose(terry, replace(FACTS, drowned_share=0.1), tried, needs({"tearaway": 1.0}))
    assert (drowned.outcome, dry.outcome) == ("sample-first", "hoop-it")


def _change(region_id: int | None, what: str) -> Rework:
    return Rework(what, region_id, None, "Then it is rarer.", 0.4, 0.1, None, None)


def test_what_is_said_first_follows_what_the_search_came_to() -> None:
    helps = lambda choice: (_change(3, "Let it reach further."), _change(None, "Counter it."))  # noqa: E731
    holding = choose(setup(), FACTS, stacks(), needs({"mesh-cutaway": 45.0}), changes=helps)
    assert holding.conclusion.do.startswith("Nothing more")
    assert holding.conclusion.misses == ""
    failing = choose(setup(), FACTS, stacks(), needs({}), changes=helps)
    assert failing.conclusion.do.startswith("More backing does not help")
    assert failing.conclusion.do.endswith("Region 3: Let it reach further. Then it is rarer.")
    assert "outline-gap" in failing.conclusion.misses
    given = choose(setup(), FACTS, (one_layer(),), needs({}), changes=helps, given=True)
    assert given.conclusion.do == "", "nothing was searched: what the finding names may help"


def test_of_buying_and_changing_the_design_only_one_is_said() -> None:
    made, stock, usual = setup("sweatshirt"), stacks("sweatshirt", ("cutaway:37",)), stacks("sweatshirt")
    weak = choose(made, FACTS, stock, needs({"cutaway": 85.0}), ordinary=lambda: usual)
    assert "The design has to help" not in said(weak)
    assert "With everything in the stock" in said(weak)
    assert weak.conclusion.do.startswith("Buy cutaway:85")
    hopeless = choose(made, FACTS, stock, needs({}), ordinary=lambda: usual)
    assert "The design has to help" in said(hopeless)
    assert "Neither what is in stock" in hopeless.conclusion.do
    assert "Buy " not in hopeless.conclusion.do


def test_what_to_buy_is_judged_as_finely_as_the_plan() -> None:
    """On a coarse grid 85 g/m2 holds, in full only 102 does: to buy 85 would be refused once it is there."""
    made, stock, usual = setup("sweatshirt"), stacks("sweatshirt", ("cutaway:37",)), stacks("sweatshirt")
    coarse, full = needs({"cutaway": 85.0}), needs({"cutaway": 102.0})
    assert choose(made, FACTS, stock, coarse, confirm=full, ordinary=lambda: usual).buy == "cutaway:102"
    assert choose(made, FACTS, stock, coarse, confirm=needs({}), ordinary=lambda: usual).buy is None


def test_a_bad_stock_and_a_cap_give_their_reason_first() -> None:
    judged = needs({"tearaway": 30.0, "mesh-cutaway": 51.0})
    bad = choose(setup(), FACTS, stacks("jersey", ("tearaway:51",)), judged, ordinary=stacks).conclusion
    assert bad.why.startswith("Nothing in the stock suits these goods")
    assert "keep a backing that stays" in bad.why
    assert bad.do.startswith("Buy mesh-cutaway:51")
    cap = stacks("cap-twill", holding="cap-frame")
    ended = choose(setup("cap-twill", holding="cap-frame"), FACTS, cap, judged).conclusion
    assert "nothing is computed" in ended.why
    assert ended.do.startswith("Sew a sample")


@pytest.mark.parametrize(("goods", "holding"), [("jersey", "hooped"), ("cap-twill", "cap-frame")])
def test_what_does_not_fit_the_hoop_wants_a_larger_one_and_nothing_else(goods, holding) -> None:
    too_small = Finding("hoop-too-small", Level.FAULT, (), None, 8.0, 0.0, "mm", None, "", "")
    facts = replace(FACTS, measured=replace(NOTHING, items=(too_small,)))
    made = setup(goods, holding=holding)
    plan = choose(
        made,
        facts,
        stacks(goods, holding=holding),
        needs({}),
        changes=lambda choice: (_change(3, "Turn its rows."),),
    )
    assert plan.outcome == "rework"
    assert plan.rework == ()
    assert plan.alternatives == ()
    assert plan.steps.sewing[0].startswith("Do not sew it in this hoop")
    assert "design has to help" not in said(plan)
