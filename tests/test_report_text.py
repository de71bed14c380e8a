"""What the screen says, and how it is said."""

from __future__ import annotations

import dataclasses
import re
import unicodedata

import numpy as np
import pytest
import report_cases as cases

from analyzer.arrays import frozen
from analyzer.findings.types import Level
from analyzer.pipeline import Checked
from analyzer.plan.types import Conclusion
from analyzer.regions.types import Regions
from analyzer.report import Check, text
from analyzer.report.tables import sureness_lines
from analyzer.report.terminal import answer_rows, ending, held_in_words, summary
from analyzer.report.words import Units, level, measure, middle_of, ounces, parse_length_mm


def cells(line: str) -> int:
    return sum(2 if unicodedata.east_asian_width(mark) in "WF" else 1 for mark in line)


@pytest.mark.parametrize("checked", [cases.checked(), cases.checked(coloured=False), cases.compared()])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_plain_text_of_80_columns(checked: Checked, units: str) -> None:
    screen = text(checked, units=units)
    assert "\x1b" not in screen
    assert screen == screen.strip("\n") + "\n"
    for line in screen.splitlines():
        assert cells(line) <= 80
        assert line == line.rstrip()
        assert "…" not in line


def test_wide_letters_keep_to_the_columns() -> None:
    assert max(cells(line) for line in text(cases.checked(name="灯台" * 40)).splitlines()) <= 80


def test_answer_stands_first() -> None:
    top = text(cases.checked()).split("\n\n")[0]
    assert "SAMPLE FIRST" in top
    assert "outline-gap" in top
    assert "no-ties" not in top  # a note is not the one thing wrong
    assert "cutaway 85 g/m2 (2.5 oz/yd2)" in top
    assert top.count("\n") < 9


def test_millimetres_to_a_tenth_never_to_hundredths() -> None:
    screen = text(cases.checked())
    assert "+0.9" in screen
    assert "+0.4 to +1.6" in screen
    assert not re.search(r"\d\.\d\d", screen)
    assert re.search(r"\d\.\d\d", "0.87")  # the pattern can find what it must not


def test_gap_row_says_limits_and_likelihood_in_words() -> None:
    lines = text(cases.checked()).splitlines()
    number = next(i for i, line in enumerate(lines) if re.match(r"  run 1 +fill 0 ", line))
    said = ["run 1", "fill 0", "0.0", "+0.9", "+0.4 to +1.6", "+0.5", "14.2", "likely", "very"]
    assert re.split(r" {2,}", lines[number].strip()) == said
    assert lines[number + 1].strip() == "unlikely"


def test_gap_that_the_file_leaves_is_no_contradiction() -> None:
    """The file leaves 1.0 mm, so the limit there is 1.5 mm, and that the cloth adds so much is unlikely."""
    one = cases.checked()
    assert one.judged is not None
    left = dataclasses.replace(cases.GAP, worst_mm=1.0, limit_mm=1.5, chance_bare=0.02)
    judged = dataclasses.replace(one.judged, findings=dataclasses.replace(one.judged.findings, gaps=(left,)))
    lines = text(dataclasses.replace(one, judged=judged)).splitlines()
    number = next(i for i, line in enumerate(lines) if re.match(r"  run 1 +fill 0 ", line))
    assert re.split(r" {2,}", lines[number].strip())[-2:] == ["as in", "very"]
    assert "the file itself leaves bare cloth" in " ".join(" ".join(lines).split())
    assert "the file itself leaves bare cloth" not in " ".join(text(one).split())


def test_beyond_the_model_the_screen_gives_words_not_numbers() -> None:
    one = cases.checked()
    assert one.judged is not None
    assert one.plan is not None
    response = one.judged.response
    wild = dataclasses.replace(response, pull_in=dataclasses.replace(response.pull_in, beyond_range=True))
    fault = dataclasses.replace(cases.FAULT, because="expect 0.9 mm", advice="reach 1.7 mm further")
    calm = dataclasses.replace(one, plan=dataclasses.replace(one.plan, rework=()))
    tame = dataclasses.replace(
        calm, judged=dataclasses.replace(one.judged, findings=cases.findings((cases.NOTE, fault)))
    )
    assert tame.judged is not None
    worse = dataclasses.replace(tame, judged=dataclasses.replace(tame.judged, response=wild))
    numbers = r"[+-]0\.9|\+1\.6|22\.0|0\.[589] mm|1\.7|\(0\.1"
    before, after = (text(check) for check in (tame, worse))
    for screen, found in ((before, True), (after, False)):
        part = screen[screen.index("Where the cloth will move") : screen.index("\nPlan")]
        top = screen.split("\n\n")[0]
        assert bool(re.search(numbers, part)) == bool(re.search(numbers, top)) == found
    assert "more than can be computed" in after
    assert "more than can be computed" not in before
    assert "outline-gap" in after
    assert Check.of(worse).to_dict()["findings"][1]["measured"] == pytest.approx(0.8712)


def test_beyond_the_model_nothing_is_compared() -> None:
    one = cases.compared()
    first = one.comparison[0]
    pull = dataclasses.replace(first.response.pull_in, beyond_range=True)
    wild = dataclasses.replace(first, response=dataclasses.replace(first.response, pull_in=pull))
    lines = text(dataclasses.replace(one, comparison=(wild, *one.comparison[1:]))).splitlines()
    row = next(line.split() for line in lines if line.startswith("  jersey"))
    assert row == ["jersey", "nothing", "beyond", "-", "-", "-"]
    assert next(line.split() for line in lines if line.startswith("  terry"))[2] == "0.6"


def test_screen_ends_with_the_answer() -> None:
    """A terminal of 24 lines shows the end; two lines of it repeat the outcome and what to put behind."""
    last = text(cases.checked()).splitlines()[-2:]
    assert last[0] == "burgee on jersey of the tests: SAMPLE FIRST (outline-gap)"
    assert last[1] == "Behind: 2 x cutaway 85 g/m2 (2.5 oz/yd2), hooped; over: wash-away-film."
    assert "SAMPLE FIRST" not in text(cases.checked(), repeat=False).split("\n\n", 1)[1]
    assert text(cases.compared()).splitlines()[-1].startswith("burgee: measured and compared")


def test_what_the_top_says_is_not_said_again() -> None:
    screen = " ".join(text(cases.checked()).split())
    assert screen.count(cases.FAULT.because) == 1
    assert screen.count(cases.FAULT.advice) >= 1
    assert screen.count(cases.NOTE.because) == 1


def test_places_count_from_the_middle_of_the_design() -> None:
    """The square is 20 mm wide from its origin: (20, 18) lies 10 and 8 mm from its middle."""
    assert middle_of(cases.design()) == (10.0, 10.0)
    screen = text(cases.checked())
    assert "at (10.0, 8.0)" in screen
    assert "(20.0, 18.0)" not in screen
    assert "from its middle" in " ".join(screen.split())
    assert Check.of(cases.checked()).to_dict()["findings"][1]["at"] == [20.0, 18.0]


def test_lace_is_on_no_cloth() -> None:
    one = cases.checked()
    assert one.judged is not None
    setup = one.judged.setup
    none = dataclasses.replace(setup, cloth=dataclasses.replace(setup.cloth, family="none", name="none"))
    screen = text(dataclasses.replace(one, judged=dataclasses.replace(one.judged, setup=none)))
    assert screen.startswith("burgee as free-standing lace: SAMPLE FIRST")
    assert "Stitch it on" in screen


def test_cover_of_each_region_only_where_a_finding_is_about_it() -> None:
    one = cases.checked()
    assert one.judged is not None
    thin = dataclasses.replace(cases.NOTE, name="thin-cover")
    about = dataclasses.replace(one, judged=dataclasses.replace(one.judged, findings=cases.findings((thin,))))
    heads = [re.search(r"region .*\n", text(check)) for check in (one, about)]
    assert [bool(head and "cover" in head[0]) for head in heads] == [False, True]


def test_many_colours_are_folded() -> None:
    one = cases.checked()
    fill, run = one.regions.items
    many = tuple(dataclasses.replace(run, id=i, colour=i) for i in range(1, 152))
    covers = (
        one.cover.regions[0],
        *(dataclasses.replace(one.cover.regions[1], region=i) for i in range(1, 152)),
    )
    regions = Regions((fill, *many), one.regions.region_of, one.regions.pairs)
    screen = text(
        dataclasses.replace(one, regions=regions, cover=dataclasses.replace(one.cover, regions=covers))
    )
    assert re.search(r"\n  151 runs +151 colours +6,040 ", screen)


def test_plan_and_sureness_are_all_there() -> None:
    screen = " ".join(text(cases.checked()).split())
    for said in (
        "wash-away-film: keeps stitches above the loops", "lay the backing", "stop after colour 1",
        "trim the backing to 5 mm", "hoop without stretching", "tearaway:50: tears at the outline",
        "75/11 ball", "sewing field 100.0 x 100.0 mm", "Uncalibrated estimates.",
        "Ranks are surer than millimetres.",
        "gap 0.2 mm instead of 0.9 mm",
    ):  # fmt: skip
        assert said in screen


def test_calibrated_says_by_how_many_sewouts() -> None:
    sureness = dataclasses.replace(cases.SURENESS, calibrated=True, from_sewouts=3)
    screen = text(dataclasses.replace(cases.checked(), sureness=sureness))
    assert "Calibrated by 3 sew-outs" in screen
    assert "Uncalibrated" not in screen


def test_without_goods_neither_outcome_nor_plan() -> None:
    screen = text(cases.compared())
    assert not re.search(
        r"hoop it|sample first|rework|Put behind it|^Plan", screen, re.IGNORECASE | re.MULTILINE
    )
    assert "cotton-twill" in screen


def test_file_without_colours_says_so() -> None:
    assert "2 blocks, no colours in the file" in text(cases.checked(coloured=False))
    assert "harbour blue (245)" in text(cases.checked())


def test_levels_differ_by_word_and_shape() -> None:
    said = [level(one) for one in Level]
    assert len({one.split()[0] for one in said}) == len({one.split()[1] for one in said}) == 3


def test_many_regions_become_kinds() -> None:
    one = cases.checked()
    fill, run = one.regions.items
    many = tuple(dataclasses.replace(run, id=i) for i in range(1, 31))
    covers = (
        one.cover.regions[0],
        *(dataclasses.replace(one.cover.regions[1], region=i) for i in range(1, 31)),
    )
    regions = Regions((fill, *many), frozen(np.zeros(287, dtype=np.int32)), one.regions.pairs)
    screen = text(
        dataclasses.replace(one, regions=regions, cover=dataclasses.replace(one.cover, regions=covers))
    )
    assert "30 run" in screen
    assert "run 17" not in screen
    assert "run 1 " in text(one)


def test_bold_is_the_only_dress() -> None:
    dressed = text(cases.checked(), bold=True)
    assert set(re.findall(r"\x1b\[([0-9;]*)m", dressed)) == {"1", "0"}
    assert re.sub(r"\x1b\[[0-9;]*m", "", dressed) == text(cases.checked())


def units_of_sentences(units: str) -> list[str]:
    """Return the lengths in mm that a screen says below the table of regions."""
    said = re.sub(r"\s+", " ", text(cases.checked(), units=units).split("Regions, in sewing order")[-1])
    return re.findall(r"[0-9] mm\b(?! of thread)", said)


def test_lengths_in_sentences_follow_the_units() -> None:
    units = Units("in")  # 1 in = 25.4 mm exactly: international yard and pound agreement of 1959
    assert units.sentence("Cut it 150 x 150 mm, 25 mm beyond.") == "Cut it 5.90 x 5.90 in, 1.00 in beyond."
    assert units.sentence("0.1 to 0.4 mm") == "0.004 to 0.016 in"
    assert units.sentence("15.4 mm of thread per mm2 on 195 mm2") == "15.4 mm of thread per mm2 on 195 mm2"
    assert units.sentence("moved by +0.3 mm") == "moved by +0.012 in"
    assert Units("mm").sentence("moved by 0.3 mm") == "moved by 0.3 mm"


def test_inches() -> None:
    """1 in is 25.4 mm by definition (International Yard and Pound Agreement, 1959)."""
    assert "in in)" not in text(cases.checked(), units="in")
    assert "stay metric" in text(cases.checked(), units="in")
    assert units_of_sentences("in") == [], "a sentence says millimetres on a screen of inches"
    assert units_of_sentences("mm"), "the comparison itself can fail"
    assert "stay metric" not in text(cases.checked())
    units = Units("in")
    assert units.length(254.0) == "10.00 in"
    assert units.length(12.7) == "0.500 in"
    assert units.length(-0.5, signed=True) == "-0.020 in"


@pytest.mark.parametrize(
    ("mm", "said"),
    [(0.04, "0.0 mm"), (-0.04, "0.0 mm"), (0.26, "+0.3 mm"), (-1.26, "-1.3 mm"), (12.0, "+12.0 mm")],
)
def test_signed_millimetres(mm: float, said: str) -> None:
    assert Units().length(mm, signed=True) == said


def test_ounces_follow_grams() -> None:
    """1 oz/yd2 is 28.349523 g over 0.83612736 m2 = 33.906 g/m2."""
    assert ounces(33.906 * 2) == "68 g/m2 (2.0 oz/yd2)"


def test_measures_keep_their_units() -> None:
    assert measure(0.8712, "mm", Units()) == "0.9 mm"
    assert measure(25.4, "mm", Units("in")) == "1.00 in"
    assert measure(4.21, "mm/mm2", Units("in")) == "4.2 mm/mm2"


@pytest.mark.parametrize(("typed", "mm"), [("0.5", 0.5), ("0.5mm", 0.5), ("4in", 101.6), (" 1 IN ", 25.4)])
def test_typed_lengths(typed: str, mm: float) -> None:
    assert parse_length_mm(typed) == pytest.approx(mm)


@pytest.mark.parametrize("typed", ["", "nan", "-1", "0", "1 ft", "1e400", "inf"])
def test_no_lengths(typed: str) -> None:
    with pytest.raises(ValueError, match="no length above zero"):
        parse_length_mm(typed)


def test_a_hoop_too_small_is_the_first_thing_said() -> None:
    """Before what the cloth would do in it: that is computed for a hoop that it is never sewn in."""
    one = cases.checked()
    assert one.judged is not None
    small = dataclasses.replace(
        cases.FAULT, name="hoop-too-small", chance=None, because="Too large.", advice="Take a larger hoop."
    )
    beyond = dataclasses.replace(cases.FAULT, name="beyond-range", chance=None)
    found = dataclasses.replace(one.judged.findings, items=(beyond, cases.FAULT, small))
    judged = dataclasses.replace(one.judged, findings=found)
    rows = dict(answer_rows(dataclasses.replace(one, judged=judged)))
    assert rows["What is wrong"] == "hoop-too-small: Too large."
    assert rows["What to try"] == "Take a larger hoop."


def test_the_first_lines_follow_the_plan_where_a_stack_decides() -> None:
    one = cases.checked()
    assert one.plan is not None
    ended = Conclusion(why="A rule is broken.", misses="It misses.", do="Change the file.")
    concluded = dataclasses.replace(one, plan=dataclasses.replace(one.plan, conclusion=ended))
    rows = answer_rows(concluded)
    assert dict(rows)["What to try"] == "Change the file.", "not the stronger backing of the finding"
    assert dict(rows)["Besides"] == "A rule is broken."
    assert concluded.judged is not None
    none = dataclasses.replace(concluded.judged, findings=cases.findings(()))
    rows = answer_rows(dataclasses.replace(concluded, judged=none))
    assert rows[:2] == [("What is wrong", "A rule is broken."), ("What to try", "Change the file.")]


@pytest.mark.parametrize(
    ("attach", "holding", "said"),
    [
        ("hooped", "hooped", "hooped"),
        ("hooped", "cap-frame", "strapped on with the cap"),
        ("fused", "cap-frame", "fused"),
        ("hooped", "clamped", "clamped"),
    ],
)
def test_nothing_is_hooped_in_a_cap_frame(attach: str, holding: str, said: str) -> None:
    plan = dataclasses.replace(cases.plan(), attach=attach, holding=holding)  # type: ignore[arg-type]
    assert held_in_words(plan) == said


def test_where_nothing_was_computed_nothing_is_said_of_ranges() -> None:
    lines = sureness_lines(dataclasses.replace(cases.SURENESS, mostly_from=(), says="Nothing is computed."))
    assert lines == ["Nothing is computed."]
    assert "ranges" in " ".join(sureness_lines(cases.SURENESS))


@pytest.mark.parametrize("length", range(1, 80))
def test_the_verdict_is_never_broken_over_two_lines(length: int) -> None:
    one = cases.checked(name="a" * length)
    lines = text(one).splitlines()
    assert sum("SAMPLE FIRST" in line for line in lines) == 2, "at the top and at the end"
    several = summary([ending(one)]).splitlines()
    assert sum("SAMPLE FIRST" in line for line in several) == 1
