"""What the plan proposes in situations that the trade knows: common practice, no source, unless named."""

from __future__ import annotations

from dataclasses import replace

import pytest
from evidence_by_hand import cover, job, one_layer, region, rows, sound_regions

from analyzer.cloth.types import Void
from analyzer.findings import Findings, PuckerVerdict, chance_words
from analyzer.goods import backing, cloth, cloths, resolve
from analyzer.goods.types import StackChoice
from analyzer.plan import Facts, allowed, candidates, choose_topping, named, usual_stack
from analyzer.plan.cautions import cautions
from analyzer.plan.handling import attach, needle, sheet_mm, speed_spm
from analyzer.plan.rules import burden_g_m2
from analyzer.plan.steps import steps as steps_of
from analyzer.regions.types import RegionKind, Regions

REGIONS = sound_regions(len(rows()))
LIGHT = replace(REGIONS, items=(region(0, RegionKind.RUN),))
OPEN = cover(coverage=0.3)
NOTHING = Findings((), (), PuckerVerdict(0.0, 0.0, 0.0, 0.0, (0.0, 0.0)), 0.5, 0.0, "")


def setup(goods: str = "cotton-twill", **settings):
    return resolve(job(goods, **settings), goods, (80.0, 60.0))


def steps(made, choice, laid, *, outcome: str, regions: Regions = REGIONS):
    return steps_of(made, Facts(regions, laid, NOTHING), choice, outcome=outcome)


def kinds(goods: str, **settings) -> set[str]:
    stacks = candidates(setup(goods, **settings), None, REGIONS, cover(), None)
    return {item.kind for stack in stacks for item in stack.backings[:1]}


@pytest.mark.parametrize(
    ("situation", "goods", "settings", "wanted", "unwanted"),
    [
        ("a tee: knits keep a cutaway", "jersey", {}, {"cutaway", "mesh-cutaway"}, {"tearaway"}),
        ("a polo likewise", "pique", {}, {"cutaway"}, {"tearaway", "wash-away-film"}),
        ("knit worn once still stretches", "jersey", {"care": "never-washed"}, {"cutaway"}, {"tearaway"}),
        ("a sports knit", "performance-knit", {}, {"mesh-cutaway"}, {"tearaway"}),
        ("workwear twill, washed often", "cotton-twill", {"care": "industrial"}, {"cutaway"}, {"tearaway"}),
        ("canvas tote, washed gently", "canvas", {}, {"tearaway"}, {"wash-away-film"}),
        ("twill whose clean back is seen", "cotton-twill", {"back": "seen"}, {"tearaway"}, {"cutaway"}),
        ("terry towel, both sides seen", "terry", {}, {"wash-away-fibrous"}, {"cutaway"}),
        ("sheer organza", "organza", {}, {"wash-away-film"}, {"mesh-cutaway", "cutaway"}),
        (
            "organza that must be dry-cleaned",
            "organza",
            {"care": "dry-cleaned"},
            {"mesh-cutaway"},
            {"wash-away-film"},
        ),
        ("free-standing lace", "none", {}, {"wash-away-film"}, {"tearaway", "cutaway"}),
        ("fleece blanket: no iron, nothing fused", "polar-fleece", {}, {"cutaway"}, {"fusible-cutaway"}),
        ("towel in a ring: nothing sticky", "terry", {}, {"tearaway"}, {"adhesive-tearaway"}),
        ("towel floated: sticky is fine", "terry", {"holding": "floated"}, {"adhesive-tearaway"}, set()),
        ("leather, not hooped", "leather", {}, {"cutaway", "adhesive-tearaway"}, {"wash-away-film"}),
        ("a cap: the buckram holds", "cotton-twill", {"holding": "cap-frame"}, {"tearaway"}, {"cutaway"}),
        ("felt that is never washed", "felt", {}, {"tearaway", "cutaway"}, {"wash-away-fibrous"}),
    ],
)
def test_kinds_of_backing(situation, goods, settings, wanted, unwanted):
    proposed = kinds(goods, **settings)
    assert wanted <= proposed, situation
    assert not unwanted & proposed, situation


@pytest.mark.parametrize("goods", sorted(cloths()))
@pytest.mark.parametrize("care", ["industrial", "washed-gently", "never-washed"])
@pytest.mark.parametrize("back", ["hidden", "seen", "skin"])
def test_there_is_always_something_to_try_simplest_and_lightest_first(goods, care, back):
    made = setup(goods, care=care, back=back)
    stacks = candidates(made, None, REGIONS, cover(), None)
    assert stacks
    laid = [all(backing(item.kind).attach == "laid" for item in stack.backings) for stack in stacks]
    kinds = [len({item.kind for item in stack.backings}) > 1 for stack in stacks]
    order = [
        (not simple, several, burden_g_m2(made, stack))
        for simple, several, stack in zip(laid, kinds, stacks, strict=True)
    ]
    assert order == sorted(order), "what is stuck or fused, or of two kinds, is more work and comes later"
    for stack in stacks:
        for item in stack.backings:
            assert item.g_m2 in backing(item.kind).weights_g_m2
            assert item.layers <= 2
            assert len(item.turns_deg) == item.layers
            assert len(set(item.turns_deg)) == item.layers
        if len({item.kind for item in stack.backings}) > 1:
            assert backing(stack.backings[0].kind).permanent, "what lies next to the goods stays"
            assert not backing(stack.backings[1].kind).permanent
            assert stack.backings[0].turns_deg != stack.backings[1].turns_deg


@pytest.mark.parametrize(
    ("goods", "regions", "tried"),
    [
        ("denim", LIGHT, True),
        ("cotton-twill", LIGHT, True),
        ("cotton-twill", REGIONS, False),
        ("poplin", LIGHT, False),
        ("jersey", LIGHT, False),
        ("organza", LIGHT, False),
        ("none", LIGHT, False),
    ],
)
def test_nothing_behind_only_under_light_stitching_on_firm_heavy_goods(goods, regions: Regions, tried):
    stacks = candidates(setup(goods), None, regions, cover(), None)
    assert (stacks[0].backings == ()) is tried


def test_lace_stands_on_enough_film():
    """Film of 80 um, about 100 g/m2, or two layers of fibrous wash-away carry lace."""
    lace = candidates(setup("none"), None, REGIONS, cover(), None)
    assert min(stack.total_g_m2 for stack in lace) >= 80
    organza = candidates(setup("organza"), None, REGIONS, cover(), None)
    assert min(stack.total_g_m2 for stack in organza) < 80


def test_only_the_stock_is_used():
    stacks = candidates(setup("jersey"), ("cutaway:68", "tearaway:51"), REGIONS, cover(), None)
    assert [named(stack) for stack in stacks] == ["cutaway:68", "cutaway:68x2"]
    only_wrong = candidates(setup("jersey"), ("tearaway:51",), REGIONS, cover(), None)
    assert {item.kind for stack in only_wrong for item in stack.backings} == {"tearaway"}


def test_backing_that_stays_does_not_outweigh_the_goods():
    """Common practice, no source. Where every step would, the lightest is left."""
    for goods in ("jersey", "sweatshirt", "performance-knit"):
        limit = cloth(goods).weight_g_m2.value
        assert all(
            stack.total_g_m2 <= limit for stack in candidates(setup(goods), None, REGIONS, cover(), None)
        )
    heavy = candidates(setup("jersey"), ("cutaway:102", "cutaway:200"), REGIONS, cover(), None)
    assert [named(stack) for stack in heavy] == ["cutaway:102"]


def test_rules_that_cut_something_off_say_so():
    assert any("washed often" in reason for reason in allowed(setup("denim", care="washed-often")).reasons)
    assert allowed(setup("canvas")).reasons == ()


@pytest.mark.parametrize(
    ("goods", "settings", "regions", "laid", "kind"),
    [
        ("terry", {}, REGIONS, cover(), "wash-away-film"),
        ("polar-fleece", {}, REGIONS, cover(), "wash-away-film"),
        ("terry", {"care": "dry-cleaned"}, REGIONS, cover(), "heat-away-film"),
        ("plush", {"care": "dry-cleaned"}, REGIONS, cover(), "opaque-film"),
        ("plush", {"care": "dry-cleaned"}, LIGHT, OPEN, None),
        ("plush", {"care": "dry-cleaned"}, REGIONS, OPEN, None),
        ("jersey", {}, REGIONS, cover(), None),
        ("leather", {}, REGIONS, cover(), None),
    ],
)
def test_topping(goods, settings, regions, laid, kind):
    picked = choose_topping(
        setup(goods, **settings), regions, replace(laid, regions=laid.regions[: len(regions.items)])
    )
    assert (picked and picked.kind) == kind


@pytest.mark.parametrize(
    ("goods", "point"),
    [
        ("jersey", "light ball"),
        ("terry", "sharp"),
        ("denim", "sharp"),
        ("polar-fleece", "light ball"),
        ("organza", "sharp"),
    ],
)
def test_needle_point_by_cloth(goods, point):
    assert needle(setup(goods), REGIONS).endswith(point)


def test_sheet_reaches_25_mm_beyond_the_hoop_on_every_side():
    assert sheet_mm(setup(hoop="130x180")) == (180.0, 230.0)


def test_delicate_goods_are_sewn_more_slowly():
    assert speed_spm(setup("organza")) <= 600 < speed_spm(setup("denim", speed_spm=900))
    assert speed_spm(setup("organza", speed_spm=400)) == 400


def test_attachment_follows_the_backing_and_the_holding():
    assert attach(setup(), one_layer()) == "hooped"
    assert attach(setup(holding="floated"), one_layer()) == "floated"
    assert attach(setup("jersey"), one_layer("fusible-cutaway", 64.0)) == "fused"
    assert attach(setup("leather", holding="floated"), one_layer("adhesive-tearaway", 71.0)) == "adhesive"


def test_rinsing_comes_before_pressing_and_the_topping_before_the_backing():
    finishing = steps(
        setup("terry"), one_layer("wash-away-fibrous", 50.0, "wash-away-film"), cover(), outcome="hoop-it"
    ).finishing
    words = ["Snip", "topping", "Rinse the wash-away", "Rinse before", "Press face down"]
    places = [next(i for i, step in enumerate(finishing) if word in step) for word in words]
    assert places == sorted(places)


def test_the_first_step_of_sewing_follows_the_outcome():
    first = {
        outcome: steps(setup(), one_layer(), cover(), outcome=outcome).sewing[0]
        for outcome in ("hoop-it", "sample-first", "rework")
    }
    assert "before the first good piece" in first["hoop-it"]
    assert "measure the gaps" in first["sample-first"]
    assert "Change the design first" in first["rework"]


def test_nothing_is_said_of_rinsing_where_nothing_is_rinsed():
    finishing = steps(setup("jersey"), one_layer(), cover(), outcome="hoop-it").finishing
    assert not any("Rinse" in step or "rinsing" in step for step in finishing)


def test_cutaway_is_trimmed_and_left_in_an_open_middle():
    ring = cover(voids=(Void(900.0, (10.0, 10.0), 15.0, True),))
    closed = steps(setup("jersey"), one_layer(), cover(), outcome="hoop-it").finishing
    opened = steps(setup("jersey"), one_layer(), ring, outcome="hoop-it").finishing
    assert any("6 mm" in step for step in closed)
    assert not any("open middle" in step for step in closed)
    assert any("open middle" in step for step in opened)
    torn = steps(setup("canvas"), one_layer("tearaway", 51.0), ring, outcome="hoop-it").finishing
    assert not any("open middle" in step for step in torn)


def test_skin_wants_a_soft_backing_or_a_cover():
    stiff = steps(setup("jersey"), one_layer(), cover(), outcome="hoop-it").finishing
    soft = steps(setup("jersey"), one_layer("mesh-cutaway", 51.0), cover(), outcome="hoop-it").finishing
    assert any("soft cover" in step for step in stiff)
    assert not any("soft cover" in step for step in soft)


def test_layers_are_turned_and_nothing_is_cut_where_nothing_is_behind():
    two = steps(setup("jersey"), one_layer(layers=2), cover(), outcome="hoop-it").before
    bare = steps(setup("denim"), StackChoice((), None), cover(), outcome="hoop-it").before
    assert any("2 layers" in step and "90 degrees" in step for step in two)
    assert not any("Cut the backing" in step for step in bare)


@pytest.mark.parametrize(
    ("goods", "settings", "choice", "word", "there"),
    [
        ("performance-knit", {}, one_layer(), "dye", True),
        ("denim", {}, one_layer(), "dye", False),
        ("jersey", {}, one_layer(), "sleepwear", True),
        ("canvas", {}, one_layer(), "sleepwear", False),
        ("denim", {"holding": "adhesive"}, one_layer(), "Spray", True),
        ("denim", {}, one_layer(), "Spray", False),
        ("polar-fleece", {}, one_layer(), "no iron", True),
        ("denim", {}, one_layer(), "no iron", False),
        ("jersey", {}, one_layer(), "formaldehyde", True),
        ("canvas", {}, one_layer(), "formaldehyde", False),
        ("terry", {}, one_layer("tearaway", 51.0, "wash-away-film"), "first wash", True),
        ("terry", {}, one_layer("tearaway", 51.0), "No topping", True),
        ("denim", {"holding": "magnetic"}, one_layer(), "pacemakers", True),
        ("denim", {"holding": "magnetic"}, one_layer(), "fingers", True),
        ("denim", {}, one_layer(), "pacemakers", False),
        ("plush", {}, one_layer(), "nothing may come off", True),
        ("denim", {}, one_layer(), "nothing may come off", False),
        ("cotton-twill", {"care": "industrial", "thread": "viscose-40"}, one_layer(), "bleach", True),
        ("cotton-twill", {"care": "industrial"}, one_layer(), "bleach", False),
        ("leather", {}, one_layer(), "must not be wetted", True),
        ("plush", {"care": "dry-cleaned"}, one_layer("cutaway", 68.0, "heat-away-film"), "tip only", True),
        ("denim", {}, one_layer(), "needle breaks", True),
    ],
)
def test_cautions_only_where_they_apply(goods, settings, choice, word, there):
    said = cautions(setup(goods, **settings), choice)
    assert any(word in caution for caution in said) is there


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "very unlikely"),
        (0.12, "unlikely"),
        (0.5, "about even"),
        (0.7, "likely"),
        (0.95, "very likely"),
    ],
)
def test_chances_in_words(chance, words):
    """Mastrandrea et al. 2010, IPCC guidance note on uncertainties, table 1."""
    assert chance_words(chance) == words


def test_with_nothing_behind_there_is_no_backing_to_warn_of():
    bare, backed = cautions(setup("jersey"), StackChoice((), None)), cautions(setup("jersey"), one_layer())
    assert not any("formaldehyde" in said for said in bare)
    assert any("formaldehyde" in said for said in backed)
    assert all(any("Makers'" in said for said in each) for each in (bare, backed))


@pytest.mark.parametrize(
    ("goods", "settings", "word", "there"),
    [
        ("velvet", {}, "Do not close a ring", True),
        ("velvet", {"holding": "magnetic"}, "Do not close a ring", False),
        ("leather", {}, "Needle holes stay", True),
        ("linen", {}, "Prewash", True),
        ("cotton-twill", {}, "Prewash", False),
        ("linen", {}, "bobbin thread", True),
        ("denim", {}, "bobbin thread", False),
        ("canvas", {"thread": "metallic-40"}, "large eye", True),
        ("canvas", {"hoop": "360x360"}, "overlap", True),
        ("canvas", {"hoop": "130x180"}, "overlap", False),
        ("cap-twill", {"holding": "cap-frame"}, "bottom up", True),
        ("denim", {"holding": "clamped"}, "Clamp the goods", True),
        ("denim", {"holding": "magnetic"}, "Close the magnetic frame", True),
        ("denim", {"holding": "floated"}, "lay the goods on it", True),
        ("denim", {"holding": "adhesive"}, "press the goods on flat", True),
    ],
)
def test_steps_only_where_they_apply(goods, settings, word, there):
    made = steps(setup(goods, **settings), one_layer("tearaway", 51.0), cover(), outcome="hoop-it")
    assert any(word in step for step in (*made.before, *made.sewing)) is there


@pytest.mark.parametrize("kind", ["none", "tearaway", "fusible-cutaway", "adhesive-tearaway"])
@pytest.mark.parametrize(
    ("holding", "words"),
    [
        ("hooped", ("Hoop the goods",)),
        ("floated", ("lay the goods on it", "press the goods on")),
        ("adhesive", ("press the goods on",)),
        ("clamped", ("Clamp the goods",)),
        ("magnetic", ("Close the magnetic frame",)),
        ("cap-frame", ("Strap the cap",)),
    ],
)
def test_whatever_lies_behind_the_goods_somebody_is_told_to_hold_them(kind, holding, words):
    """However the backing is joined to the goods, they are held after that, before the design is traced."""
    choice = StackChoice((), None) if kind == "none" else one_layer(kind, 64.0)
    before = steps(setup("cotton-twill", holding=holding), choice, cover(), outcome="hoop-it").before
    (held,) = [i for i, step in enumerate(before) if any(word in step for word in words)]
    assert before[held + 1].startswith("Trace")
    fused = [i for i, step in enumerate(before) if step.startswith("Fuse the backing")]
    assert fused == ([held - 1] if kind == "fusible-cutaway" else [])
    if kind in ("none", "fusible-cutaway"):
        assert "Hoop the backing" not in before[held], "no backing is left that a ring could hold"


def test_a_wedge_is_for_leather_but_not_under_satin():
    """Common practice, no source."""
    satin = replace(REGIONS, items=(*REGIONS.items, region(4, RegionKind.SATIN, width_mm=3.0)))
    assert needle(setup("leather"), REGIONS).endswith("wedge")
    assert needle(setup("leather"), satin).endswith("sharp")


@pytest.mark.parametrize(
    ("goods", "settings", "kind"),
    [
        ("jersey", {}, "mesh-cutaway"),  # soft mesh for light tees
        ("sweatshirt", {}, "cutaway"),
        ("denim", {}, "tearaway"),
        ("poplin", {}, "mesh-cutaway"),  # against skin and washed often: what stays, and soft
        ("polar-fleece", {}, "cutaway"),
        ("organza", {}, "wash-away-film"),
        ("terry", {}, "tearaway"),
    ],
)
def test_what_is_usual_is_the_kind_that_the_goods_name_first(goods, settings, kind):
    """A kind nearer to medium weight is no reason to take another (common practice, no source)."""
    made = setup(goods, **settings)
    choice = usual_stack(made, REGIONS, cover(), "wash-away-film")
    assert (choice.layers, choice.topping) == (1, "wash-away-film")
    assert choice.backings[0].kind == kind
    weights = backing(kind).weights_g_m2
    assert choice.total_g_m2 == min(weights, key=lambda each: abs(each - 68.0))
