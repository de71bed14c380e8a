"""A job made definite: defaults, the smallest hoop, and what is refused."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer import goods
from analyzer.choices import BACKS, CARES, HOLDINGS
from analyzer.errors import BadJob, PrehoopError, UnknownGoods, UnknownHoop, UnknownName
from analyzer.goods import Setup, constants, resolve
from analyzer.goods.setup import usual_needle
from analyzer.job import Frame, Job, Limits, Machine

SIZE = (60.0, 40.0)
MACHINE = Machine(
    "workshop", needles=6, speed_spm=650, frames=(Frame("big", 300, 200), Frame("chest", 110, 110, "oval"))
)


def setup(cloth: str = "jersey", size: tuple[float, float] = SIZE, **job: Any) -> Setup:
    return resolve(Job(**job), cloth, size)


@pytest.mark.parametrize("name", sorted(goods.cloths()))
def test_a_job_that_says_nothing_takes_the_goods_own(name: str) -> None:
    found, cloth = setup(name), goods.cloth(name)
    held = "hooped" if cloth.hoopable else "floated"  # common practice: a ring marks such goods
    assert (found.cloth, found.care, found.back, found.holding) == (cloth, cloth.care, cloth.back, held)
    assert found.holding_asked == "hooped"
    assert found.thread.usual
    assert found.tolerance_mm == pytest.approx(0.8 if cloth.pile_mm else 0.5)
    assert not found.tolerance_given
    assert found.speed_spm == constants("setup")["speed_spm"].value
    assert found.limits == constants("limits")


def test_what_a_job_says_is_taken() -> None:
    found = setup(
        "canvas",
        care="Industrial",
        back="seen+skin",
        holding="magnetic",
        hoop="200x300",
        thread="viscose-60",
        needle="65/9",
        speed_spm=500,
        tolerance_mm=0.3,
        colour="#A0B0C0",
        limits=Limits(values=(("gap_bare_mm", 0.4),), silenced=("no-ties",)),
    )
    assert (found.care, found.back, found.holding) == ("industrial", "seen+skin", "magnetic")
    assert (found.hoop.width_mm, found.hoop.height_mm) == (200, 300)
    assert (found.thread.name, found.needle.name) == ("viscose-60", "65/9")
    assert (found.speed_spm, found.tolerance_mm, found.tolerance_given) == (500, 0.3, True)
    assert found.colour == "#a0b0c0"
    assert found.limits["gap_bare_mm"].value == found.limits["gap_bare_mm"].high == 0.4
    assert found.limits["gap_overlap_mm"] == constants("limits")["gap_overlap_mm"]
    assert found.silenced == ("no-ties",)


def test_the_users_own_gap_limit_is_the_tolerance() -> None:
    assert setup(limits=Limits(values=(("gap_bare_mm", 0.4),))).tolerance_mm == 0.4
    assert setup("terry", limits=Limits(values=(("gap_bare_mm", 0.4),))).tolerance_mm == pytest.approx(0.8)


@pytest.mark.parametrize("word", [*CARES, *BACKS, *HOLDINGS])
def test_every_known_word_is_taken(word: str) -> None:
    key = "care" if word in CARES else "back" if word in BACKS else "holding"
    assert getattr(setup(**{key: word}), key) == word


@pytest.mark.parametrize(
    ("job", "says"),
    [
        ({"care": "washed-offen"}, "washed-often"),
        ({"back": "skins"}, "skin"),
        ({"holding": "hoopd"}, "hooped"),
        ({"holding": "zzz"}, "known: hooped"),
        ({"colour": "red"}, "#rrggbb"),
        ({"colour": "#12345"}, "#rrggbb"),
        ({"speed_spm": 0}, "speed"),
        ({"speed_spm": -100}, "speed"),
        ({"speed_spm": 1e6}, "speed"),
        ({"speed_spm": math.nan}, "speed"),
        ({"tolerance_mm": 0}, "tolerance"),
        ({"tolerance_mm": -0.5}, "tolerance"),
        ({"tolerance_mm": 100}, "tolerance"),
        ({"tolerance_mm": math.nan}, "tolerance"),
        ({"hoop": "0x0"}, "impossible"),
        ({"hoop": "5000x5000"}, "impossible"),
        ({"limits": Limits(values=(("gap_bar_mm", 1.0),))}, "gap_bare_mm"),
        ({"limits": Limits(values=(("gap_bare_mm", -1.0),))}, "gap_bare_mm"),
        ({"limits": Limits(values=(("gap_bare_mm", math.inf),))}, "gap_bare_mm"),
        ({"machine": Machine("m", 1, 700, (Frame("f", 0, 100),))}, "impossible"),
        ({"machine": Machine("m", 1, 700, (Frame("f", 100, 100, "round"),))}, "shape"),
        ({"machine": Machine("m", 1, 0)}, "speed"),
    ],
)
def test_a_setting_that_cannot_be_met_is_refused_in_one_line(job: dict[str, Any], says: str) -> None:
    with pytest.raises(BadJob, match=says) as caught:
        setup(**job)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("cloth", "job", "nearest"),
    [
        ("jersy", {}, "jersey"),
        ("jersey", {"thread": "viscose40"}, "viscose-40"),
        ("jersey", {"needle": "76/11"}, "75/11"),
    ],
)
def test_a_name_in_no_table_is_met_with_the_nearest(cloth: str, job: dict[str, Any], nearest: str) -> None:
    with pytest.raises(UnknownName, match=f"did you mean .*{nearest}"):
        setup(cloth, **job)


def test_errors_can_be_caught_as_what_they_are() -> None:
    with pytest.raises(UnknownGoods) as caught:
        setup("velvetine")
    assert isinstance(caught.value, PrehoopError)
    assert isinstance(caught.value, LookupError)
    with pytest.raises(UnknownHoop):
        setup(hoop="huge")


@settings(deadline=None)
@given(st.floats(min_value=1, max_value=349), st.floats(min_value=1, max_value=349))
def test_the_smallest_rectangle_of_the_table_that_holds_the_design_is_taken(
    width: float, height: float
) -> None:
    clear = constants("setup")["foot_clearance_mm"].value
    found = setup(size=(width, height)).hoop
    assert found.shape == "rectangle"
    assert not found.cap
    assert found.width_mm >= width + 2 * clear
    assert found.height_mm >= height + 2 * clear
    for other in goods.hoops().values():
        if other.shape == "rectangle" and not other.cap:
            holds = other.width_mm >= width + 2 * clear and other.height_mm >= height + 2 * clear
            assert not holds or other.width_mm * other.height_mm >= found.width_mm * found.height_mm


def test_a_design_larger_than_every_hoop_gets_the_largest() -> None:
    found = setup(size=(900, 900)).hoop
    assert found.width_mm * found.height_mm == max(
        item.width_mm * item.height_mm for item in goods.hoops().values()
    )


def test_a_given_hoop_that_is_too_small_is_kept() -> None:
    """A finding says so; the design may be meant for turning or splitting."""
    assert setup(size=(150, 150), hoop="100x100").hoop.width_mm == 100


def test_caps_take_the_cap_frame_and_nothing_else_does() -> None:
    assert setup(size=(120, 45), holding="cap-frame").hoop.cap
    assert not setup(size=(340, 45)).hoop.cap


def test_the_machines_frames_come_before_the_table() -> None:
    """An oval holds a box whose corners lie inside: 60 x 40 with 5 mm all round in 110 x 110, not 90 x 90."""
    assert setup(machine=MACHINE).hoop.name == "chest"
    assert setup(machine=MACHINE, size=(90, 90)).hoop.name == "big"
    assert setup(machine=MACHINE, hoop="Chest").hoop.shape == "oval"
    assert setup(machine=MACHINE, hoop="130x180").hoop.width_mm == 130
    assert setup(machine=MACHINE).speed_spm == 650
    assert setup(machine=MACHINE, speed_spm=400).speed_spm == 400


@pytest.mark.parametrize(
    ("thread", "cloth", "expected"),
    [
        ("polyester-40", "jersey", "75/11"),
        ("polyester-40", "organza", "65/9"),
        ("polyester-40", "denim", "80/12"),
        ("viscose-60", "cotton-twill", "65/9"),
        ("viscose-60", "leather", "80/12"),
        ("polyester-12", "organza", "100/16"),
        ("metallic-40", "cotton-twill", "90/14"),
    ],
)
def test_the_needle_goes_by_thread_and_cloth(thread: str, cloth: str, expected: str) -> None:
    """Trade tables: 60 wt 65/9, 40 wt 75/11, 12 wt 100 and more; sheer 65-70, denim and leather 80-90."""
    assert usual_needle(goods.thread(thread), goods.cloth(cloth)).name == expected


@pytest.mark.parametrize(
    ("said", "meant"), [("polo", "pique"), ("t-shirt", "jersey"), ("towels", "terry"), ("caps", "cap-twill")]
)
def test_goods_are_found_by_what_they_are_called_in_full(said: str, meant: str) -> None:
    """From memory: what people call these goods; each stands in the title of its cloth."""
    with pytest.raises(UnknownGoods) as caught:
        setup(said)
    assert caught.value.nearest[0] == meant
