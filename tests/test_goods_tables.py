"""The tables as committed, and the rules that they are held to when they are read."""

import copy
import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from analyzer import goods
from analyzer.choices import BACKS, CARES
from analyzer.errors import (
    BadTable,
    UnknownBacking,
    UnknownGoods,
    UnknownName,
    UnknownNeedle,
    UnknownThread,
    UnknownTopping,
)
from analyzer.goods import Value, constants, entries, units
from analyzer.goods.constants import as_value, parse, read_table
from analyzer.goods.listing import quantities

CLOTHS = [
    "jersey",
    "interlock",
    "pique",
    "rib",
    "sweatshirt",
    "performance-knit",
    "denim",
    "cotton-twill",
    "poplin",
    "canvas",
    "terry",
    "polar-fleece",
    "plush",
    "organza",
    "tulle",
    "batiste",
    "satin-weave",
    "felt",
    "leather",
    "coated-cloth",
    "none",
]
BACKINGS = ["cutaway", "mesh-cutaway", "tearaway", "soft-tearaway", "wash-away-fibrous", "wash-away-film"]
TOPPINGS = ["wash-away-film", "heat-away-film", "opaque-film"]
ITEMS = [
    (f"{table} {name}", item)
    for table in ("cloths", "backings", "toppings", "threads", "needles")
    for name, item in getattr(goods, table)().items()
]

#: KES-F of six denims, A to F: Kumari & Khurana, Journal of Textiles 2016, article 4614168, table 5.
DENIM_EXTENSION_PERCENT = (5.515, 5.735, 4.695, 5.135, 4.710, 5.455)  # at 500 gf/cm
DENIM_SHEAR_GF_CM_DEGREE = (2.180, 1.538, 3.398, 1.613, 1.538, 1.500)
DENIM_BENDING_GF_CM2_CM = (0.172, 0.144, 0.227, 0.147, 0.207, 0.148)


def test_the_names_that_others_rely_on_are_there() -> None:
    assert set(CLOTHS) <= set(goods.cloths())
    assert set(BACKINGS) <= set(goods.backings())
    assert set(TOPPINGS) <= set(goods.toppings())


def test_the_tables_are_as_large_as_the_job_needs() -> None:
    assert len(goods.cloths()) >= 15
    assert len(goods.backings()) >= 8
    assert len(goods.toppings()) >= 3
    assert len(goods.threads()) >= 5
    assert {"100x100", "130x180", "160x260", "200x300", "360x200"} <= set(goods.hoops())
    assert "75/11" in goods.needles()


@pytest.mark.parametrize(("where", "item"), ITEMS)
def test_every_quantity_has_an_ordered_range_a_mark_and_a_source(where: str, item: Any) -> None:
    found = list(quantities(item))
    assert found, where
    for name, value in found:
        assert 0 <= value.low <= value.value <= value.high < float("inf"), name
        assert value.known in ("measured", "related", "guess"), name
        assert len(value.source) > 10, name


@pytest.mark.parametrize("cloth", goods.cloths().values(), ids=lambda cloth: cloth.name)
def test_every_cloth_is_admissible_and_names_what_is_known(cloth: goods.Cloth) -> None:
    assert cloth.back in BACKS
    assert cloth.care in CARES
    assert cloth.needle in goods.needles()
    assert set(cloth.backings) <= set(goods.backings())
    assert cloth.backings
    assert cloth.backings_source
    if cloth.family == "none":
        return
    nu21 = cloth.poisson12.value * cloth.e2_kn_per_m.value / cloth.e1_kn_per_m.value
    assert cloth.poisson12.value * nu21 < 1
    assert (cloth.pile_mm is not None) == cloth.family.startswith("pile")


def test_knits_stretch_more_than_wovens() -> None:
    """As the knits of Wang et al. 2011 lie below the denims of Kumari & Khurana 2016, so does every class."""
    mean = {
        name: (cloth.e1_kn_per_m.value * cloth.e2_kn_per_m.value) ** 0.5
        for name, cloth in goods.cloths().items()
    }
    knits = [mean[name] for name, cloth in goods.cloths().items() if cloth.family in ("knit", "pile-knit")]
    wovens = [mean[name] for name in ("poplin", "cotton-twill", "denim", "canvas")]
    assert max(knits) < min(wovens)


def test_the_denim_of_the_table_holds_published_measurements() -> None:
    """Shear and bending of six denims, in the tester's own units, fall into the table's ranges."""
    denim, jersey = goods.cloth("denim"), goods.cloth("jersey")
    shear = [units.shear_n_per_m_from_kes(x) for x in DENIM_SHEAR_GF_CM_DEGREE]
    bending = [units.bending_unm_from_kes(x) for x in DENIM_BENDING_GF_CM2_CM]
    assert all(denim.shear_n_per_m.low <= x <= denim.shear_n_per_m.high * 1.01 for x in shear)
    assert all(denim.bending_unm.low <= x <= denim.bending_unm.high for x in bending)
    assert not any(jersey.shear_n_per_m.low <= x <= jersey.shear_n_per_m.high for x in shear)


def test_denim_at_working_load_is_as_stiff_as_its_measured_secant() -> None:
    """Load over extension at 500 gf/cm (490.3 N/m) against the low-load value times its factor."""
    denim = goods.cloth("denim")
    secant = [0.4903 / (percent / 100) for percent in DENIM_EXTENSION_PERCENT]
    mean = (denim.e1_kn_per_m.value * denim.e2_kn_per_m.value) ** 0.5
    assert min(secant) * 0.85 <= mean * denim.working_factor.value <= max(secant) * 1.15
    assert not min(secant) * 0.85 <= mean <= max(secant) * 1.15


def test_backings_stay_below_the_bound_of_a_random_fibre_network() -> None:
    """Stiffness of a random network is at most a third of the fibre's specific modulus (Cox 1952).

    Specific moduli in N/tex (= kN.m/g): polyester staple 8.8, nylon 2.6, viscose 6.5, from Morton & Hearle,
    Physical Properties of Textile Fibres, 4th ed., tables 13.1-13.2; vinylal 2.2 from memory.
    """
    fibre = {"cutaway": 8.8, "mesh-cutaway": 2.6, "tearaway": 6.5, "wash-away-fibrous": 2.2}
    for kind, modulus in fibre.items():
        found, bound = goods.backing(kind).stiffness_knm_per_g, modulus / 3
        assert f"{100 * found.low / bound:.0f}-{100 * found.high / bound:.0f} % of the bound" in found.source
        assert found.high < bound


def test_a_bonded_backing_is_its_base_with_more_weight() -> None:
    """A cutaway of 51 g/m2 with 13 of resin, 1.0-1.3 times as stiff; a tearaway of 51 with 20 of adhesive."""
    base, fused = (goods.backing(kind).stiffness_knm_per_g for kind in ("cutaway", "fusible-cutaway"))
    assert fused.low == pytest.approx(base.low * 51 / 64, rel=0.02)
    assert fused.value == pytest.approx(base.value * 1.15 * 51 / 64, rel=0.05)
    assert fused.high == pytest.approx(base.high * 1.3 * 51 / 64, rel=0.02)
    base, stuck = (goods.backing(kind).stiffness_knm_per_g for kind in ("tearaway", "adhesive-tearaway"))
    for end in ("low", "value", "high"):
        assert getattr(stuck, end) == pytest.approx(getattr(base, end) * 51 / 71, rel=0.02)


def test_threads_stay_below_the_stiffness_of_their_straight_fibres() -> None:
    """Initial modulus times tex: viscose 4.8, polyester 10.6 N/tex (Morton & Hearle, tables 13.1-13.2)."""
    modulus = {"viscose": 4.8, "polyester": 10.6}
    for thread in goods.threads().values():
        if thread.material in modulus:
            straight = modulus[thread.material] * thread.tex.value
            assert thread.axial_stiffness_n.high < straight
            assert 0.2 < thread.axial_stiffness_n.value / straight < 0.9


def test_laid_threads_are_wider_than_round_ones() -> None:
    """Flattened on the cloth; round diameter from fibre density and a packing of 0.65."""
    density = {"viscose": 1.52, "polyester": 1.38, "cotton": 1.54}
    for thread in goods.threads().values():
        if thread.material in density:
            width = units.thread_diameter_mm(thread.tex.value, density[thread.material], 0.65)
            assert width < thread.laid_width_mm.value < 2 * width


def test_weights_of_the_trade_are_whole_ounces_and_tenths() -> None:
    """1.5, 2.0, 2.5 and 3.0 oz/yd2 are among the usual cutaways, to the nearest gram."""
    usual = goods.backing("cutaway").weights_g_m2
    assert {round(units.g_m2_from_oz_yd2(oz)) for oz in (1.5, 2.0, 2.5, 3.0)} <= set(usual)


def test_the_film_follows_its_data_sheet() -> None:
    """Modulus 39-245 MPa (400-2500 kg/cm2) over a density of 1.27 g/cm3 gives the specific stiffness."""
    film = goods.backing("wash-away-film").stiffness_knm_per_g
    assert film.low == pytest.approx(39e6 / 1.27e6 / 1e3, rel=0.02)
    assert film.high == pytest.approx(245e6 / 1.27e6 / 1e3, rel=0.02)


@pytest.mark.parametrize(
    ("look_up", "name", "error", "nearest"),
    [
        (goods.cloth, "jersy", UnknownGoods, "jersey"),
        (goods.backing, "cut-away", UnknownBacking, "cutaway"),
        (goods.topping, "washaway-film", UnknownTopping, "wash-away-film"),
        (goods.thread, "polyester40", UnknownThread, "polyester-40"),
        (goods.needle, "75/12", UnknownNeedle, "75/11"),
    ],
)
def test_an_unknown_name_is_met_with_the_nearest(
    look_up: Callable[[str], Any], name: str, error: type[UnknownName], nearest: str
) -> None:
    with pytest.raises(error) as caught:
        look_up(name)
    assert caught.value.nearest[0] == nearest
    assert "\n" not in str(caught.value)
    assert look_up(nearest)


def test_a_needle_is_known_by_its_metric_size_alone() -> None:
    assert goods.needle("75") is goods.needle("75/11")


def test_tables_cannot_be_changed() -> None:
    with pytest.raises(TypeError):
        goods.cloths()["jersey"] = goods.cloth("denim")  # type: ignore[index]
    with pytest.raises(dataclasses.FrozenInstanceError):
        goods.cloth("jersey").name = "other"  # type: ignore[misc]


def changed(table: str, name: str, **changes: Any) -> dict[str, Any]:
    """Return one entry of a committed table with some keys changed (None takes a key away)."""
    entry = copy.deepcopy(read_table(table)[name])
    for key, value in changes.items():
        if value is None:
            del entry[key]
        else:
            entry[key] = value
    return {name: entry}


LONG = {"low": 1, "value": 2, "high": 3, "known": "guess", "source": "made for the test"}


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"weight_g_m2": [160, 130, 200]}, "low <= value <= high"),
        ({"weight_g_m2": [130, 160]}, r"\[low, value, high\]"),
        ({"weight_g_m2": [0, 0, 200]}, "positive"),
        ({"weight_g_m2": [-1, 160, 200]}, "positive"),
        ({"weight_g_m2": [130, 160, float("inf")]}, "low <= value <= high"),
        ({"weight_g_m2": [130, float("nan"), 200]}, "low <= value <= high"),
        ({"weight_g_m2": ["a", 160, 200]}, "numbers"),
        ({"weight_g_m2": None}, "weight_g_m2"),
        ({"weight_g_m2": {**LONG, "source": " "}}, "source"),
        ({"weight_g_m2": {**LONG, "known": "certain"}}, "known"),
        ({"source": ""}, "source"),
        ({"source": None}, "source"),
        ({"known": "A"}, "known"),
        ({"poisson12": [0.2, 1.6, 1.8]}, "nu12"),
        ({"family": "wovn"}, "family"),
        ({"stretchy": "yes"}, "stretchy"),
        ({"care": "rarely"}, "care"),
        ({"backings": ["cutaway", "cutaway"]}, "twice"),
        ({"backings": "cutaway"}, "list"),
        ({"title": ""}, "title"),
        ({"wieght": 3}, "unknown key 'wieght'"),
    ],
)
def test_a_cloth_that_breaks_a_rule_is_refused_by_name(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(BadTable, match=says) as caught:
        entries.build(changed("cloths", "jersey", **changes), entries.as_cloth, "mine.toml")
    assert str(caught.value).startswith("mine.toml, jersey")
    assert "\n" not in str(caught.value)


def test_an_unchanged_entry_is_taken() -> None:
    """Negative control of the rules above."""
    assert entries.build(changed("cloths", "jersey"), entries.as_cloth, "mine.toml")["jersey"] == goods.cloth(
        "jersey"
    )


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"weights_g_m2": [85, 51]}, "ascend"),
        ({"weights_g_m2": []}, "list of numbers"),
        ({"weights_g_m2": [0, 51]}, "positive"),
        ({"weights_g_m2": ["a"]}, "list of numbers"),
        ({"poisson": [0.2, 0.3, 1.0]}, "nu12"),
        ({"attach": "glued"}, "attach"),
        ({"bending_at_g_m2": 0}, "positive"),
        ({"bending_at_g_m2": True}, "positive"),
    ],
)
def test_a_backing_that_breaks_a_rule_is_refused_by_name(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(BadTable, match=says) as caught:
        entries.build(changed("backings", "cutaway", **changes), entries.as_backing, "mine.toml")
    assert str(caught.value).startswith("mine.toml, cutaway")


def test_an_empty_table_an_entry_that_is_no_table_and_a_missing_file_are_refused() -> None:
    with pytest.raises(BadTable, match="no entry"):
        entries.build({}, entries.as_cloth, "mine.toml")
    with pytest.raises(BadTable, match=r"mine\.toml, jersey"):
        entries.build({"jersey": 3}, entries.as_cloth, "mine.toml")
    with pytest.raises(BadTable, match=r"absent\.toml"):
        read_table("absent")


def test_a_name_given_twice_is_no_table() -> None:
    with pytest.raises(BadTable, match=r"mine\.toml.*line 3"):
        parse("[a]\nx = 1\n[a]\n", "mine.toml")


@pytest.mark.parametrize("room", ["mechanics", "setup", "limits"])
def test_constants_are_values_with_a_source(room: str) -> None:
    table = constants(room)
    assert table
    assert all(isinstance(value, Value) and value.source.strip() for value in table.values())


def test_a_constant_must_be_a_table() -> None:
    with pytest.raises(BadTable, match=r"mechanics\.toml, pull_n"):
        as_value("mechanics.toml, pull_n", 3)  # type: ignore[arg-type]
