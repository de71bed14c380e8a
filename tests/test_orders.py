"""Orders: read strictly, reckoned rightly, written safely."""

from __future__ import annotations

import contextlib
import csv
import dataclasses
import io
import json
import math
import re
import shutil
import subprocess
import sys
import tempfile
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from analyzer import Job, check, read
from analyzer.csv_cells import guarded
from analyzer.errors import BadJob, BadOrder
from analyzer.job import Calibration
from analyzer.orders import Finished, paperwork, read_order
from analyzer.orders.looking import job_for
from analyzer.orders.money import rounded
from analyzer.orders.nesting import Cutting, Sheets, fitted, least_length_mm, nest
from analyzer.orders.screen import order_screen
from analyzer.orders.writing import stem_of

SAMPLES = Path(__file__).parents[1] / "sample_designs"
REGATTA = SAMPLES / "regatta-order.toml"


def base(_design: Path) -> Job:
    """Return a job that says nothing."""
    return Job()


@pytest.fixture(scope="module")
def regatta(tmp_path_factory: pytest.TempPathFactory) -> tuple[Finished, Path]:
    folder = tmp_path_factory.mktemp("paper")
    return paperwork(read_order(REGATTA), folder, base), folder


def words(pdf: Path) -> str:
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in PdfReader(pdf).pages))


# ---- reading


def order_file(tmp_path: Path, text: str, name: str = "order.toml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


ITEM = '[[item]]\ndesign = "crest.dst"\ngoods = "jersey"\nquantity = 3\n'


def test_the_sample_order_says_what_it_says() -> None:
    order = read_order(REGATTA)
    assert (order.number, order.customer, order.due, order.currency) == (
        "R-14",
        "Regatta committee",
        "2027-05-02",
        "EUR",
    )
    assert [item.quantity for item in order.items] == [24, 6, 12, 40, 20, 3]
    assert order.items[0].sizes == (("S", 6), ("M", 12), ("L", 6))
    assert order.items[1].names[3] == "Dvořák"
    assert [item.spares for item in order.items] == [2, 1, 1, 2, 1, 0]  # 5 %, rounded up; none where said so
    assert order.items[0].price == Decimal("9.5")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[order]\ncustomr = "x"\n' + ITEM,
            r"order\.toml, line 2: unknown key 'customr': did you mean customer",
        ),
        (ITEM + "[shop]\nheds = 2\n", r"line 6: unknown key 'heds': did you mean heads"),
        (ITEM + "[prices]\nminute = -1\n", r"line 6: minute must be an amount"),
        (ITEM + "[shop]\nheads = 1.5\n", r"line 6: heads must be a whole number"),
        (ITEM + "[shop]\nbreaks_per_10000 = 1\n", r"belong together"),
        (ITEM + "[[roll]]\nkind = 'cutaway'\n", r"needs width_mm"),
        ("[order]\n", r"no \[\[item\]\]"),
        ("[order\n", r"no TOML"),
    ],
)
def test_a_mistake_in_an_order_names_file_and_line(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(BadOrder, match=message):
        read_order(order_file(tmp_path, text))


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("quantty = 4\n", r"line 5: unknown key 'quantty': did you mean quantity"),
        ("sizes = { S = 1 }\n", r"quantity is 3, but the sizes come to 1"),
        ('names = ["Ada", "Bo"]\n', r"quantity is 3, but the names come to 2"),
        ('spares = "many"\n', r"spares must be a count"),
        ("price = true\n", r"price must be an amount"),
        ('names_file = "none.txt"\n', r"none\.txt: no such file"),
    ],
)
def test_a_mistake_in_an_item_leaves_the_others_standing(tmp_path: Path, more: str, message: str) -> None:
    order = read_order(order_file(tmp_path, ITEM + more + ITEM))
    assert [item.position for item in order.items] == [2]
    assert re.search(message, order.missing[0])
    assert order.missing[0].startswith("item 1: ")


@pytest.mark.parametrize("mark", [",", ";"])
@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
def test_items_from_csv(tmp_path: Path, mark: str, bom: bytes) -> None:
    rows = [
        ["design", "goods", "quantity", "sizes", "colours", "price", "title"],
        ["crest.dst", "jersey", "3", "S=1|M=2", "navy|brass", '"1.50"', '"A, ""crew"""'],
        ["", "", "", "", "", "", ""],
        ["shell.vp3", "terry", "x", "", "", "", ""],
    ]
    text = "\r\n".join(mark.join(row) for row in rows)
    path = tmp_path / "items.csv"
    path.write_bytes(bom + text.encode())
    order = read_order(path)
    assert order.items[0].sizes == (("S", 1), ("M", 2))
    assert order.items[0].colours == ("navy", "brass")
    assert order.items[0].price == Decimal("1.50")
    assert order.items[0].title == 'A, "crew"'
    assert re.search(r"items\.csv, row 4, column quantity: .*'x'", order.missing[0])


def test_an_unknown_column_names_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(BadOrder, match="row 1: unknown column 'desgn': did you mean design"):
        read_order(order_file(tmp_path, "desgn,goods\na,b\n", "items.csv"))


def test_rows_of_csv_go_on_where_the_items_of_toml_end(tmp_path: Path) -> None:
    order_file(tmp_path, "design,goods,quantity\na.dst,terry,2\n", "more.csv")
    order = read_order(order_file(tmp_path, '[order]\nitems = "more.csv"\n' + ITEM))
    assert [item.position for item in order.items] == [1, 2]


@given(st.binary(max_size=200))
def test_no_bytes_break_the_reader(content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for name in ("order.toml", "order.csv"):
            path = Path(folder) / name
            path.write_bytes(content)
            with contextlib.suppress(BadOrder):  # anything else is a defect
                read_order(path)


# ---- cutting


sheet = st.builds(
    Sheets,
    across_mm=st.floats(20.0, 500.0),
    along_mm=st.floats(20.0, 600.0),
    count=st.integers(0, 12),
    what=st.just("item 1"),
)


def overlapping(cutting: Cutting) -> bool:
    """Say whether two sheets lie on each other, by comparing every two."""
    slack = 1e-6
    for number, one in enumerate(cutting.placed):
        for other in cutting.placed[number + 1 :]:
            across = min(one.x_mm + one.across_mm, other.x_mm + other.across_mm) - max(one.x_mm, other.x_mm)
            along = min(one.y_mm + one.along_mm, other.y_mm + other.along_mm) - max(one.y_mm, other.y_mm)
            if across > slack and along > slack:
                return True
    return False


@given(st.lists(sheet, max_size=6))
def test_every_sheet_lies_once_on_the_roll_and_on_no_other(sheets: list[Sheets]) -> None:
    cutting = nest(sheets, 500.0)
    assert len(cutting.placed) == sum(one.count for one in sheets)
    assert sorted((one.across_mm, one.along_mm) for one in cutting.placed) == sorted(
        (one.across_mm, one.along_mm) for one in sheets for _ in range(one.count)
    )
    for one in cutting.placed:
        assert one.x_mm >= 0.0
        assert one.x_mm + one.across_mm <= 500.0 + 1e-6
        assert one.y_mm + one.along_mm <= cutting.length_mm + 1e-6
    assert not overlapping(cutting)
    assert 0.0 <= cutting.waste < 1.0
    assert cutting.length_mm >= least_length_mm(sheets, 500.0) - 1e-6
    # no worse than one sheet after the other, and within the proven bound of first-fit decreasing height:
    # 1.7 OPT + h (Coffman, Garey, Johnson, Tarjan 1980, theorem 1); OPT is at least the bound below
    assert cutting.length_mm <= sum(one.along_mm * one.count for one in sheets) + 1e-6


def test_overlaps_would_be_seen() -> None:
    cutting = nest([Sheets(100.0, 100.0, 2)], 500.0)
    one, other = cutting.placed
    assert overlapping(Cutting(500.0, 100.0, (one, one)))
    assert not overlapping(Cutting(500.0, 100.0, (one, other)))


def test_like_sheets_lie_side_by_side() -> None:
    # by hand: three of 150 mm lie across a roll of 500 mm, so 26 take nine rows of 150 mm
    assert nest([Sheets(150.0, 150.0, 26)], 500.0).length_mm == pytest.approx(9 * 150.0)


def test_a_thousand_sheets_take_their_rows_and_no_more() -> None:
    assert nest([Sheets(240.0, 200.0, 1000)], 500.0).length_mm == pytest.approx(500 * 200.0)


def test_what_is_wider_than_the_roll_is_cut_in_strips_that_overlap() -> None:
    wide = fitted(Sheets(700.0, 300.0, 2), 500.0, 30.0)
    assert (wide.across_mm, wide.count) == (365.0, 4)  # by hand: (700 + 30) / 2
    with pytest.raises(ValueError, match="wider"):
        nest([Sheets(700.0, 300.0, 2)], 500.0)


# ---- what it comes to


def test_one_item_by_hand(regatta: tuple[Finished, Path]) -> None:
    """The tote patch: 40 pieces and 2 spares on two heads, reckoned again from its own check."""
    done, folder = regatta
    own = check(read(SAMPLES / "lighthouse-patch.pes"), Job(goods="canvas")).to_dict()
    document = json.loads((folder / "order.json").read_bytes())
    needs = document["materials"]
    sky = next(one for one in needs["threads"] if one["name"] == "sky")
    a_piece = own["use"]["colours"][0]["thread_m"]
    assert sky["metres"] == pytest.approx(42 * a_piece)
    assert sky["metres_a_head"] == pytest.approx(21 * a_piece)
    assert sky["cones"] == 2 * math.ceil(21 * a_piece / 5000)
    time = next(one for one in needs["times"] if one["position"] == 4)
    assert time["runs"] == 21
    assert time["machine_minutes"] == pytest.approx(21 * own["use"]["minutes"])
    assert time["hooping_minutes"] == pytest.approx(42 * 1.5)
    breaks = own["design"]["stitches"] * 42 / 10_000 * 0.5 * 2
    assert time["break_minutes"] == pytest.approx(breaks)
    item = document["items"][3]
    assert item["minutes"] == pytest.approx(own["use"]["minutes"])
    assert item["cost_parts"]["thread"] == str(
        rounded(Decimal("0.004") * Decimal(repr(42 * own["use"]["thread_m"])))
    )
    assert item["price"] == "320.00"  # 40 at 8: spares are not sold
    roll = next(one for one in needs["rolls"] if 4 in one["items"] and one["role"] == "backing")
    layers = sum(backing["layers"] for backing in own["plan"]["backing"])
    assert sum(one["count"] for one in roll["sheets"]) == 42 * layers
    assert roll["length_m"] * 0.5 == pytest.approx(roll["area_m2"])
    assert done.document.missing == ()


def test_totals_are_sums_of_what_is_printed(regatta: tuple[Finished, Path]) -> None:
    _, folder = regatta
    document = json.loads((folder / "order.json").read_bytes())
    for item in document["items"]:
        assert Decimal(item["cost"]) == sum(map(Decimal, item["cost_parts"].values()))
    assert Decimal(document["cost"]) == sum(Decimal(item["cost"]) for item in document["items"])
    assert Decimal(document["price"]) == sum(Decimal(item["price"]) for item in document["items"])


def test_paper_json_and_csv_say_the_same(regatta: tuple[Finished, Path]) -> None:
    _, folder = regatta
    document = json.loads((folder / "order.json").read_bytes())
    assert document["materials"] == json.loads((folder / "materials.json").read_bytes())
    said = words(folder / "materials.pdf")
    rows = list(csv.DictReader(io.StringIO((folder / "materials.csv").read_bytes().decode("utf-8-sig"))))
    threads = [row for row in rows if row["what"] == "thread"]
    assert [float(row["amount"]) for row in threads] == [
        one["metres"] for one in document["materials"]["threads"]
    ]
    for one in document["materials"]["threads"]:
        assert f"{one['metres']:.0f} {one['metres_a_head']:.0f} {one['cones']}" in said
    for one in document["materials"]["rolls"]:
        assert f"Cut {one['length_m']:.2f} m" in said
        assert f"{one['waste']:.0%} waste" in said
    assert document["cost"] in said
    assert document["price"] in said
    risk = words(folder / "risk-report.pdf")
    for item in document["items"]:
        assert item["title"] in risk
        assert item["sha256"] in risk


def test_paper_of_every_item(regatta: tuple[Finished, Path]) -> None:
    done, folder = regatta
    for one in done.document.items:
        sheet_of = next(folder.glob(f"sewing-sheet-{one.position:02d}-*.pdf"))
        assert one.title in words(sheet_of)
    proof = words(next(folder.glob("spelling-proof-02-*.pdf")))
    for name in ("Αθηνά", "Björn", "Chloé", "Dvořák", "Ede", "Жанна"):
        assert name in proof
    assert set(done.document.files) == {path.name for path in folder.iterdir()}


def test_without_figures_nothing_is_made_up(tmp_path: Path) -> None:
    shutil.copy(SAMPLES / "lighthouse-sketch.jef", tmp_path / "a.jef")
    text = '[[item]]\ndesign = "a.jef"\ngoods = "felt"\nquantity = 2\n'
    done = paperwork(read_order(order_file(tmp_path, text)), tmp_path / "out", base)
    assert done.document.cost is None
    assert done.document.price is None
    (time,) = done.document.materials.times
    assert time.hooping_minutes is None
    assert time.break_minutes is None
    said = words(tmp_path / "out" / "materials.pdf")
    assert "Money" not in said
    assert "no figure under [shop]: hooping, trimming, thread breaks" in said
    assert "assumed" in said  # the roll's width is the table's


# ---- running again, and going wrong


@pytest.fixture
def small(tmp_path: Path) -> Path:
    shutil.copy(SAMPLES / "lighthouse-sketch.jef", tmp_path / "a.jef")
    text = '[order]\nnumber = "1"\n[[item]]\ndesign = "a.jef"\ngoods = "felt"\nquantity = 2\nprice = 3\n'
    return order_file(tmp_path, text)


def test_the_same_order_again_changes_nothing(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    paperwork(read_order(small), out, base)
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in out.iterdir()}
    again = paperwork(read_order(small), out, base)
    assert not again.written
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in out.iterdir()} == before


def test_an_order_of_everything_again_writes_nothing_and_says_so(
    regatta: tuple[Finished, Path], tmp_path: Path
) -> None:
    """Toppings, patches, lace and names too: what is read back of the last run has to be said the same."""
    done, folder = regatta
    assert any("wash-away-film over it" in (item.stack or "") for item in done.document.items)
    out = tmp_path / "again"
    shutil.copytree(folder, out)
    again = paperwork(read_order(REGATTA), out, base)
    assert again.written == ()
    assert {path.name for path in again.same} == {path.name for path in folder.iterdir()}
    assert "0 files written" in order_screen(again, out, width=80)


def test_a_changed_order_is_not_written_over_the_old_unless_asked(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    paperwork(read_order(small), out, base)
    old = {path: path.read_bytes() for path in out.iterdir()}
    small.write_text(small.read_text().replace("quantity = 2", "quantity = 5").replace("felt", "poplin"))
    with pytest.raises(BadJob, match="would change"):
        paperwork(read_order(small), out, base)
    assert {path: path.read_bytes() for path in out.iterdir()} == old
    done = paperwork(read_order(small), out, base, force=True)
    (said,) = [text for text in done.document.changed if text.startswith("Item 1")]
    assert "goods poplin, was felt" in said
    assert "pieces 5 + 0 spare, was 2 + 0 spare" in said
    assert "price 15.00, was 6.00" in said
    assert said in words(out / "risk-report.pdf").replace("- ", "")
    again = paperwork(read_order(small), out, base)
    assert not again.written
    assert again.document.changed == done.document.changed


def test_what_cannot_be_looked_over_stops_nothing_else(small: Path, tmp_path: Path) -> None:
    (tmp_path / "cut.dst").write_bytes((SAMPLES / "crest-outline-last.dst").read_bytes()[:100])
    more = "".join(
        f'[[item]]\ndesign = "{design}"\ngoods = "{goods}"\nquantity = 1\n'
        for design, goods in (("none.dst", "felt"), ("a.jef", "jersy"), ("cut.dst", "felt"))
    )
    small.write_text(small.read_text() + more)
    done = paperwork(read_order(small), tmp_path / "out", base)
    assert [one.split(":")[0] for one in done.document.missing] == ["item 2", "item 3", "item 4"]
    assert "did you mean jersey" in done.document.missing[1]
    assert [one.outcome is not None for one in done.document.items] == [True, False, False, False]
    risk = words(tmp_path / "out" / "risk-report.pdf")
    assert "Not looked over" in risk
    assert "jersy" in risk
    assert "item 3" in words(tmp_path / "out" / "materials.pdf")


def test_an_interrupted_run_keeps_the_sheets_that_were_done(small: Path, tmp_path: Path) -> None:
    small.write_text(small.read_text() + '[[item]]\ndesign = "a.jef"\ngoods = "poplin"\nquantity = 1\n')

    def stop(what: str, _share: float) -> None:
        if what.startswith("item 2"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        paperwork(read_order(small), tmp_path / "out", base, stop)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["sewing-sheet-01-a.pdf"]


@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        ("=1+1", "'=1+1"),
        ("@x", "'@x"),
        ("-2", "'-2"),
        ("+x", "'+x"),
        ("\tx", "'\tx"),
        ("a=b", "a=b"),
        (-2.5, "-2.5"),
    ],
)
def test_cells_that_a_spreadsheet_would_run_are_guarded(cell: object, kept: str) -> None:
    assert guarded(cell) == kept  # OWASP, CSV Injection


@pytest.mark.parametrize(
    "title", ["../../etc", "CON", "a/b\\c", "Łódź Ωραία", "", "x" * 300, ".hidden", "=cmd"]
)
def test_titles_never_become_paths(title: str) -> None:
    stem = stem_of(title)
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", stem)
    assert len(stem) <= 40


def test_the_command_says_where_the_paper_is(small: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "analyzer", "order", str(small), "--out", str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    text = done.stdout.decode()
    assert "7 files written" in text
    assert "HOOP IT" in text
    assert all(len(line) <= 100 for line in text.splitlines())
    small.write_text(small.read_text() + '[[item]]\ndesign = "none.dst"\ngoods = "felt"\nquantity = 1\n')
    done = subprocess.run([*command, "--force"], capture_output=True, timeout=120, check=False)
    assert done.returncode == 2
    assert b"none.dst" in done.stderr
    assert b"Traceback" not in done.stderr


def test_money_is_rounded_half_up() -> None:
    assert rounded(Decimal("0.125")) == Decimal("0.13")
    assert rounded(Decimal("2.675")) == Decimal("2.68")  # a binary float would say 2.67


def test_what_sewouts_taught_holds_for_their_thread_only() -> None:
    order = read_order(REGATTA)
    taught = Job(calibration=Calibration(3, pull_n=(0.2, 0.3, 0.4)))
    assert job_for(order.items[0], taught).calibration == taught.calibration
    other = dataclasses.replace(order.items[0], thread="viscose-40")
    assert job_for(other, taught).calibration is None
