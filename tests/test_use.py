"""Thread and time: lockstitch geometry and a simple machine."""

import numpy as np
import pytest

from analyzer.cloth import lockstitch, use
from analyzer.design import Command, Design
from analyzer.goods.constants import constants

INCH_MM = 25.4


def line(count: int, stitch_mm: float = 3.0) -> Design:
    points = np.stack([np.arange(count + 1) * stitch_mm, np.zeros(count + 1)], axis=1)
    return Design.from_commands(points, np.full(count + 1, Command.STITCH))


def with_rows(*rows: tuple[float, float, Command]) -> Design:
    table = np.array(rows, dtype=float)
    return Design.from_commands(table[:, :2], table[:, 2].astype(np.uint8))


@pytest.mark.parametrize("upper_share", [0.5, 0.8, 1.0])
def test_ten_stitches_an_inch_through_a_hundredth_take_2_20_in_an_inch(upper_share):
    """Textbook worked example: thickness 0.01 in, 10 stitches per in, both threads: 2.20 in per in."""
    upper, lower = lockstitch(np.full(10, 0.1 * INCH_MM), 0.01 * INCH_MM, upper_share)
    assert (upper.sum() + lower.sum()) / INCH_MM == pytest.approx(2.20, rel=1e-12)


def test_a_seam_of_220_cm_at_2_5_takes_275_cm_of_each_thread():
    """Textbook worked example: 220 cm, ratio 2.5, so 550 cm, half from each.

    2 + 2 t / L = 2.5 where the thickness t is a quarter of the stitch length L; a balanced seam shares it.
    """
    upper, lower = lockstitch(np.full(1000, 2.2), 0.55, 0.5)
    assert upper.sum() / 10 == pytest.approx(275.0)
    assert lower.sum() / 10 == pytest.approx(275.0)


def test_use_of_a_thousand_stitches_is_about_what_the_trade_reckons():
    """Common practice: 5 m of upper and 3 to 3.5 m of bobbin thread for 1,000 stitches of some 3.3 mm."""
    taken = use(line(1000, 3.3), thickness_mm=0.85, speed_spm=800)
    assert taken.thread_m == pytest.approx(5.0, rel=0.05)
    assert 3.0 <= taken.bobbin_m <= 3.5


def test_thread_is_the_stitches_the_way_through_and_the_tails():
    known = constants("machine")
    design = with_rows(
        (0, 0, Command.STITCH),
        (4, 3, Command.STITCH),
        (4, 3, Command.COLOUR_CHANGE),
        (4, 3, Command.STITCH),
        (4, 13, Command.STITCH),
        (14, 13, Command.STITCH),
    )
    taken = use(design, thickness_mm=1.2, speed_spm=800)
    tail, through = known["upper_tail_mm"].value, 2 * 1.2 * known["upper_share"].value
    assert taken.colours_thread_m == pytest.approx(
        [(tail + 5 + through) / 1000, (tail + 20 + 2 * through) / 1000], rel=1e-12
    )
    assert taken.thread_m == pytest.approx(sum(taken.colours_thread_m), rel=1e-12)


def test_a_trim_saves_the_thread_that_would_be_carried_and_costs_tails_and_time():
    carried = with_rows((0, 0, 1), (3, 0, 1), (203, 0, 2), (203, 0, 1), (206, 0, 1))
    cut = with_rows((0, 0, 1), (3, 0, 1), (3, 0, 3), (203, 0, 2), (203, 0, 1), (206, 0, 1))
    one, two = (use(design, thickness_mm=0.5, speed_spm=800) for design in (carried, cut))
    assert one.thread_m - two.thread_m == pytest.approx((200 + 1 - 40) / 1000)
    trim_s, start_s = (constants("machine")[name].value for name in ("trim_s", "start_s"))
    assert (two.minutes - one.minutes) * 60 == pytest.approx(trim_s + start_s)


def test_thicker_goods_take_more_thread_and_the_same_time():
    thin, thick = (use(line(100), thickness_mm=t, speed_spm=800) for t in (0.4, 2.4))
    assert thick.thread_m > thin.thread_m
    assert thick.bobbin_m >= thin.bobbin_m
    assert thick.minutes == thin.minutes


def test_short_stitches_are_sewn_at_the_set_speed():
    start_s = constants("machine")["start_s"].value
    taken = use(line(800), thickness_mm=0.5, speed_spm=800)
    first_turn_s = 60 / (800 * constants("machine")["slow_share"].value)
    assert taken.minutes * 60 == pytest.approx(60 + start_s + first_turn_s)


def test_long_stitches_slow_the_machine_and_no_stitch_is_slower_than_the_slowest():
    minutes = [
        use(line(800, mm), thickness_mm=0.5, speed_spm=800).minutes for mm in (3.0, 6.0, 9.0, 12.1, 20.0)
    ]
    assert (np.diff(minutes[:4]) > 0).all()
    assert minutes[4] == pytest.approx(minutes[3])
    assert minutes[3] < 1.1 / constants("machine")["slow_share"].value


def test_half_the_speed_takes_twice_the_sewing_time():
    start_s = constants("machine")["start_s"].value
    fast, slow = (
        use(line(500), thickness_mm=0.5, speed_spm=spm).minutes * 60 - start_s for spm in (1000, 500)
    )
    assert slow == pytest.approx(2 * fast)


def test_a_move_of_the_frame_limits_the_speed():
    """Derived: from rest to rest over L at acceleration a takes 2 sqrt(L/a), within its share of a turn.

    At 1500 stitches a minute a turn is shorter than that for 3 mm, at 300 it is longer.
    """
    known = constants("machine")
    frame = 2 * np.sqrt(0.003 / known["frame_m_per_s2"].value) / known["frame_share"].value
    for spm in (1800, 300):
        two, one = (use(line(n, 3.0), thickness_mm=0.5, speed_spm=spm).minutes * 60 for n in (900, 100))
        assert (two - one) / 800 == pytest.approx(max(60 / spm, frame), rel=1e-9)
    assert 60 / 1800 < frame < 60 / 300


def test_colours_share_what_the_whole_takes():
    design = with_rows(
        (0, 0, 1), (3, 0, 1), (3, 0, 3), (9, 0, 2), (9, 0, 1), (12, 0, 1), (12, 0, 4), (12, 0, 1), (12, 4, 1)
    )
    taken = use(design, thickness_mm=0.8, speed_spm=700)
    assert len(taken.colours_minutes) == len(taken.colours_bobbin_m) == 2
    assert sum(taken.colours_minutes) == pytest.approx(taken.minutes)
    assert sum(taken.colours_bobbin_m) == pytest.approx(taken.bobbin_m)
    change_s = constants("machine")["colour_change_s"].value
    assert taken.colours_minutes[1] * 60 > change_s
    assert taken.colours_minutes[0] * 60 > constants("machine")["trim_s"].value


def test_a_trim_at_the_very_end_counts():
    sewn = with_rows((0, 0, 1), (3, 0, 1))
    cut = with_rows((0, 0, 1), (3, 0, 1), (3, 0, 3))
    one, two = (use(design, thickness_mm=0.5, speed_spm=800).minutes * 60 for design in (sewn, cut))
    assert two - one == pytest.approx(constants("machine")["trim_s"].value)
