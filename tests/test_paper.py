"""What stands on paper: the same numbers as in the JSON, nothing lost, the same bytes from the same check."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import report_cases as cases
from pypdf import PageObject, PdfReader

from analyzer import Job, __version__, read
from analyzer.design import Command, Design, Thread
from analyzer.errors import BadJob
from analyzer.findings import RULES, chance_words
from analyzer.job import Machine
from analyzer.pipeline import Checked
from analyzer.report import Check, check
from analyzer.report.paper import (
    Occasion,
    Piece,
    check_report,
    digitizer_note,
    risk_report,
    sewing_sheet,
    spelling_proof,
)
from analyzer.report.paper.letters import printable, spelled
from analyzer.report.paper.pages import FOOT_MM, LETTER_HEIGHT_MM
from analyzer.report.paper.picture import thinned
from analyzer.report.paper.risk import plain_words
from analyzer.report.paper.threads import blocks, slotted

SAMPLES = Path(__file__).parents[1] / "sample_designs"
MM_PER_POINT = 25.4 / 72.0  # ISO 32000-1, 8.3.2.3: one unit of default user space is 1/72 inch


def pages(pdf: bytes) -> list[str]:
    """Return the words of each page, blanks made one."""
    return [re.sub(r"\s+", " ", page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def words(pdf: bytes) -> str:
    return " ".join(pages(pdf))


@pytest.fixture(scope="module")
def crest() -> Check:
    return check(read(SAMPLES / "crest-outline-last.dst"), Job(goods="jersey"))


def test_numbers_on_paper_are_those_of_the_json(crest: Check) -> None:
    said, document = words(check_report(crest)), crest.to_dict()
    plan, gap = document["plan"], document["gaps"][0]
    assert f"{document['design']['stitches']:,}" in said
    assert f"{document['design']['width_mm']:.1f} x {document['design']['height_mm']:.1f} mm" in said
    for key in ("worst_mm", "low_mm", "high_mm"):
        assert f"{gap[key]:+.1f}" in said
    assert f"{gap['worst_mm']:+.1f} ({gap['low_mm']:+.1f} to {gap['high_mm']:+.1f})" in said
    for backing in plan["backing"]:
        assert f"{backing['kind']} {backing['g_m2']:.0f} g/m2" in said
    assert f"{plan['sheet_mm'][0]:.0f} x {plan['sheet_mm'][1]:.0f} mm" in said
    for colour in document["use"]["colours"]:
        assert f"{colour['thread_m']:.1f}" in said
    for step in (*plan["steps"]["before"], *plan["steps"]["sewing"], *plan["steps"]["finishing"]):
        assert re.sub(r"\s+", " ", step) in said
    for finding in document["findings"]:
        assert plain_words()[finding["name"]] in said
        if finding["chance"] is not None:
            assert chance_words(finding["chance"]) in said
    assert f"{gap['worst_mm'] + 0.1:+.1f} ({gap['low_mm']:+.1f}" not in said  # the comparison can fail


def test_no_length_is_finer_than_a_tenth(crest: Check) -> None:
    said = words(check_report(crest))
    said = said.replace("(5.91 x 5.91 in)", "")
    assert not re.search(r"\d\.\d\d+ ?mm", said)


def test_every_page_says_which_file_and_version(crest: Check) -> None:
    for page in pages(check_report(crest)):
        assert crest.design.sha256 in page
        assert f"prehoop {__version__}" in page
    said = words(check_report(crest))
    for setting in ("jersey", "washed-often", "hooped", "polyester-40", "seed 0", "Uncalibrated estimates"):
        assert setting in said
    assert "another file needs another" not in said


def test_the_first_piece_is_signed_for_one_file(crest: Check) -> None:
    assert f"sewn from file {crest.design.sha256[:12]}" in words(sewing_sheet(Piece(crest)))


def test_same_check_same_bytes_in_another_process(tmp_path: Path) -> None:
    script = (
        "import sys\nfrom analyzer import Job, check, read\nfrom analyzer.report.paper import check_report\n"
        "made = check_report(check(read(sys.argv[1]), Job(goods='terry'), changes=False))\n"
        "open(sys.argv[2], 'wb').write(made)\n"
    )
    made = []
    for name in ("a.pdf", "b.pdf"):
        command = [sys.executable, "-c", script, str(SAMPLES / "lighthouse-sketch.jef"), str(tmp_path / name)]
        subprocess.run(command, check=True, timeout=120)
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    other = check(read(SAMPLES / "lighthouse-sketch.jef"), Job(goods="felt"), changes=False)
    assert check_report(other) != made[0]


def test_fonts_are_embedded_and_nothing_runs(crest: Check) -> None:
    reader = PdfReader(io.BytesIO(check_report(crest)))
    fonts = 0
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"].get_object()
            fonts += 1
    assert fonts
    raw = b"".join(PdfReader(io.BytesIO(check_report(crest))).stream.getvalue().split())
    assert b"/JavaScript" not in raw
    assert b"/URI" not in raw


def heights_of(page: PageObject) -> list[float]:
    """Return how high each word of a page stands over its lower edge, points."""
    places: list[float] = []

    def see(text: str, _cm: object, tm: list[float], *_: object) -> None:
        if text.strip() and tm[5] > 0:
            places.append(tm[5])

    page.extract_text(visitor_text=see)
    return places


@pytest.mark.parametrize("make", [check_report, lambda c: sewing_sheet(Piece(c))])
def test_everything_printed_lies_on_both_a4_and_letter(crest: Check, make: object) -> None:
    # ISO 216: A4 210 x 297 mm; ANSI/ASME Y14.1: Letter 215.9 x 279.4 mm
    assert FOOT_MM < LETTER_HEIGHT_MM
    lowest = []
    for page in PdfReader(io.BytesIO(make(crest))).pages:  # type: ignore[operator]
        top = float(page.mediabox.height)
        lowest.append(max((top - y) * MM_PER_POINT for y in heights_of(page)))
        assert float(page.mediabox.width) * MM_PER_POINT == pytest.approx(210.0, abs=0.1)
    assert max(lowest) < LETTER_HEIGHT_MM - 5.0


@pytest.mark.parametrize(
    ("file", "goods"),
    [
        ("crest-outline-last.dst", "jersey"),
        ("overdense-flag.exp", "jersey"),
        ("lace-starfish.dst", "none"),
        ("regatta-lettering.pes", "satin-weave"),
    ],
)
def test_a_sewing_sheet_is_one_page(file: str, goods: str) -> None:
    made = check(read(SAMPLES / file), Job(goods=goods), changes=False)
    sheet = sewing_sheet(Piece(made, position=1, quantity=24, placement="left chest"))
    assert len(pages(sheet)) == 1
    assert len(sheet) < 300_000


def test_names_of_all_peoples_are_printed_right() -> None:
    names = ("Αθηνά Ωραία", "Жанна Ёлкина", "Łukasz Ångström", "Dvořák")
    said = words(spelling_proof(Piece(cases.checked(), names=names)))
    for name in names:
        assert name in said
    assert " ".join(names[0].split()[1]) in said


def test_decomposed_accents_are_printed_composed() -> None:
    assert printable("Dvor\u030ca\u0301k") == "Dvořák"  # Unicode Standard Annex 15, normalisation form C


def test_what_the_font_lacks_or_must_not_be_obeyed_stands_as_numbers() -> None:
    assert printable("灯") == "[U+706F]"
    assert printable("a\u202eb\x00c") == "a[U+202E]b[U+0000]c"  # right-to-left override: UAX 9
    assert printable("a\nb\tc") == "a b c"
    assert spelled("Jo Ann") == "J o ␣ A n n"
    assert "[U+706F]" in words(spelling_proof(Piece(cases.checked(), names=("灯台",))))


@pytest.mark.parametrize(
    "name", ["<b>bold</b>.dst", "**stars**__lines__", "x" * 400, "\u202e=cmd", "a\x00b\n\nc", ""]
)
def test_hostile_names_are_text(name: str) -> None:
    checked = cases.checked(name=name)
    for made in (check_report(checked), risk_report([Piece(checked, title=name)], Occasion(customer=name))):
        assert made.startswith(b"%PDF")
        assert printable(name)[:30].replace(" ", "") in words(made).replace(" ", "")


def test_a_risk_report_of_an_order_lists_what_is_missing_and_changed(crest: Check) -> None:
    pieces = [Piece(crest, position=1, title="Crew tee", quantity=24, spares=2, sizes=(("S", 4), ("L", 20)))]
    said = words(
        risk_report(
            pieces,
            Occasion("R-14", "Regatta committee", "2027-05-02"),
            ["flag.pes: cut short"],
            ["tee: more"],
        )
    )
    for text in (
        "R-14",
        "Regatta committee",
        "2027-05-02",
        "Crew tee",
        "flag.pes: cut short",
        "tee: more",
        "4 x S",
    ):
        assert text in said
    assert "send 2 more" in said
    assert said.count("I accept the risks named") == 1


def test_the_risk_report_is_in_words_of_the_customer(crest: Check) -> None:
    said = words(risk_report([Piece(crest)]))
    assert crest.plan is not None
    assert {one.region for one in crest.plan.rework} > {None}, "changes to a region and to the whole"
    assert "copy of the design that is moved" in said
    for of_the_shop in ("prehoop counter", "Region ", "needle and the moving frame", "least known value"):
        assert of_the_shop not in said
    two = words(risk_report([Piece(crest, position=1), Piece(cases.checked(), position=2), Piece(crest)]))
    assert two.count("Uncalibrated estimates. No measured sew-out") == 1
    assert "formaldehyde" in said, "what the wearer has to know stays"
    sheet = words(sewing_sheet(Piece(crest)))
    for caution in crest.plan.cautions:
        assert re.sub(r"\s+", " ", caution) in sheet, "how to work the machine stands on the sewing sheet"


def test_the_paper_to_be_signed_says_both_limits(crest: Check) -> None:
    said = words(risk_report([Piece(crest)]))
    assert "limit 0.3 mm" in said
    assert "bare cloth allowed 0.5 mm (0.3 mm at thin outlines)" in said
    asked = check(
        read(SAMPLES / "crest-outline-last.dst"), Job(goods="jersey", tolerance_mm=0.4), changes=False
    )
    assert "bare cloth allowed 0.4 mm, backing" in words(risk_report([Piece(asked)]))


def test_a_customer_gets_no_figures_that_cannot_be_seen() -> None:
    """3193 mm of thread sewn in between against 3000 mm tells nobody anything."""
    between = replace(cases.FAULT, name="order-fights-cloth", measured=3193.3, limit=3000.0, chance=None)
    one = cases.checked()
    assert one.judged is not None
    found = replace(one.judged.findings, items=(between, replace(cases.FAULT, measured=0.9, limit=0.5)))
    said = words(risk_report([Piece(replace(one, judged=replace(one.judged, findings=found)))]))
    assert plain_words()["order-fights-cloth"] in said
    assert "3193" not in said
    assert "0.9 mm, limit 0.5 mm" in said


def test_of_lace_no_goods_are_asked_for() -> None:
    lace = check(read(SAMPLES / "lace-starfish.dst"), Job(goods="none"), changes=False)
    said = words(risk_report([Piece(lace, quantity=5, spares=1)]))
    assert "more of the goods" not in said
    assert "we sew 1 more" in said


def test_a_frame_too_small_is_no_rule_of_the_goods_and_nothing_else_is_promised() -> None:
    small = check(read(SAMPLES / "crest-outline-last.dst"), Job(goods="jersey", hoop="30x30"))
    said = words(risk_report([Piece(small)]))
    assert "larger frame" in said
    assert f"{plain_words()['hoop-too-small']} from size and frame" in said
    assert plain_words()["beyond-range"] not in said
    assert "changed before" not in said
    assert digitizer_note(Piece(small)) is None


def test_every_finding_has_plain_words_for_a_customer() -> None:
    assert set(plain_words()) == set(RULES)
    assert all(not re.search(r"\d", text) for text in plain_words().values())


def test_movement_that_cannot_be_computed_is_not_drawn() -> None:
    cap = check(
        read(SAMPLES / "signal-flags.jef"), Job(goods="cotton-twill", holding="cap-frame"), changes=False
    )
    said = words(check_report(cap))
    assert "As we expect" not in said
    assert "as we expect" not in said
    assert "nothing is predicted" in said


def test_without_goods_there_is_no_promise_and_no_plan() -> None:
    made = check(read(SAMPLES / "lighthouse-sketch.jef"), Job())
    said = words(check_report(made))
    assert "Measured only" in said or "We expect" not in said
    assert "Behind it" not in said


def test_a_note_asks_for_each_change_with_colour_and_place(crest: Check) -> None:
    note = digitizer_note(Piece(crest))
    assert note is not None
    said = words(note)
    assert crest.plan is not None
    wanted = [one for one in crest.plan.rework if one.region is not None]
    assert wanted
    for one in wanted:
        region = next(item for item in crest.regions.items if item.id == one.region)
        assert f"colour {region.colour + 1}, {region.kind.value} {region.id}" in said
        assert one.what in said
        assert one.effect in said
    assert digitizer_note(Piece(replace(crest, plan=replace(crest.plan, rework=())))) is None


def test_inches_on_paper(crest: Check) -> None:
    said = words(check_report(crest, "in"))
    width, height = crest.design.size_mm
    assert f"{width / 25.4:.2f} x {height / 25.4:.2f} in" in said  # 1 in = 25.4 mm exactly
    report = said.split("What this holds")[0]
    bars = r"\b(1|2|5|10|20|50|100) mm\b"  # the scale bars of pictures stay metric
    assert not re.search(r"\d mm\b(?! of thread)", re.sub(bars, "", report))


def test_a_thread_used_again_stays_on_its_needle() -> None:
    assert slotted(["red", "white", "red"], 6) == ([1, 2, 1], [False, False, False])


def test_the_fewest_rethreads_there_can_be() -> None:
    # worked by hand: with two needles, a b c a b wants one of the two rethreaded for c and once more for it
    slots, rethreads = slotted(["a", "b", "c", "a", "b"], 2)
    assert sum(rethreads) == 2
    assert slots[0] == slots[3]


def test_one_needle_rethreads_at_every_change() -> None:
    assert slotted(["a", "b", "a"], 1) == ([1, 1, 1], [False, True, True])


def test_blocks_without_colours_are_threads_of_their_own() -> None:
    checked = check(read(SAMPLES / "crest-outline-last.dst"), Job(goods="jersey"), changes=False)
    assert [block.needle for block in blocks(checked, (), 6)] == [1, 2, 3, 4]
    assert [block.needle for block in blocks(checked, ("brass", "navy", "brass", "navy"), 6)] == [
        1,
        2,
        1,
        2,
    ]


def test_metres_add_up(crest: Check) -> None:
    used = blocks(crest, (), None)
    assert sum(block.metres for block in used) == pytest.approx(crest.use.thread_m)
    assert sum(block.stitches for block in used) == crest.design.stitches


def stopping() -> Checked:
    """Return a check whose first block halts after its tenth stitch."""
    points = np.stack([np.linspace(0.0, 60.0, 31), np.zeros(31)], axis=1)
    kinds = np.full(31, Command.STITCH)
    kinds[11] = Command.STOP
    design = Design.from_commands(
        points, kinds, name="stop", format="PES", sha256="1" * 64, threads=(Thread("#112233"),)
    )
    return check(design, Job(goods="poplin", machine=Machine("loft", 6, 800.0)), changes=False)


def test_halts_of_the_machine_stand_in_the_thread_list() -> None:
    assert "machine stops after 10 of its stitches" in words(sewing_sheet(Piece(stopping())))


def test_a_drawing_keeps_its_ends_and_its_course() -> None:
    turn = np.linspace(0.0, 6.0, 5000)
    path = np.stack([20.0 * np.cos(turn), 20.0 * np.sin(turn)], axis=1)
    thin = thinned(path, 0.12)
    assert len(thin) < len(path)
    np.testing.assert_allclose(thin[[0, -1]], path[[0, -1]])
    assert np.hypot(*np.diff(thin, axis=0).T).max() < 0.2


def test_a_report_is_never_written_over(crest: Check, tmp_path: Path) -> None:
    file = tmp_path / "crest.pdf"
    crest.report(file)
    with pytest.raises(BadJob, match="there already"):
        crest.report(file)
    crest.report(file, force=True)
    assert [page.name for page in tmp_path.iterdir()] == ["crest.pdf"]


def test_an_unknown_form_is_refused(crest: Check, tmp_path: Path) -> None:
    with pytest.raises(BadJob, match="ends in"):
        crest.report(tmp_path / "crest.docx")
    assert not list(tmp_path.iterdir())
