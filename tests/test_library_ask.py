"""Asking the design book: questions in words, what is alike, exports."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from library_makers import made, variants

from analyzer.errors import BadBook, BadJob
from analyzer.library.analysis import analyse
from analyzer.library.answers import Alike, ask
from analyzer.library.asking import sort_by, where
from analyzer.library.book import Book, Place
from analyzer.library.export import export
from analyzer.library.sketch import SIZE, distances, packed, sketch
from analyzer.library.thumb import drawn
from analyzer.library.types import Asked, Measures, Noted, Record, Verdict

HOSTILE = "=cmd|' /C calc'!A0<script>alert(1)</script>.dst"


def record(number: int, **changes: object) -> Record:
    """Return one made-up design of the book."""
    measures = Measures(
        format=("DST", "PES")[number % 2], stitches=1000 * number, colours=number % 5, jumps=number,
        trims=2, stops=0,
        width_mm=10.0 + number, height_mm=20.0, thread_m=number / 2, bobbin_m=number / 4, minutes=number / 3,
        stitched_mm2=100.0, coverage=0.5, density_max=4.0, regions=3, fills=1, satins=number % 3, runs=1,
        lettering_mm=None if number % 2 else 5.0 + number, appliques=0, voids=0,
        threads=((f"#0000{number % 10}{number % 10}", "brass" if number % 4 == 0 else None, 10),),
        thumb=b"", sketch=packed(np.full(SIZE, 0.5)),
        noted=(Noted("", "small-lettering", "caution", 3.0, None),) if number % 3 == 0 else (),
    )  # fmt: skip
    verdict = Verdict(
        goods="jersey", outcome=("hoop-it", "sample-first", "rework")[number % 3], chance=number / 20,
        decided_by="outline-gap", worst_gap_mm=None if number % 4 == 1 else number / 10 - 0.5, gap_low_mm=0.0,
        gap_high_mm=1.0, pucker_mm=0.3, stack="cutaway 68 g/m2", enough=number < 4,
        backing="cutaway" if number % 2 else "mesh-cutaway, tearaway", backing_g_m2=50.0 + number,
        layers=1 + number % 2,
        noted=(Noted("jersey", "outline-gap", "fault", 0.5, 0.4),) if number % 5 == 0 else (),
    )  # fmt: skip
    return Record(f"{number:064x}", 100 + number, "read", None, measures, (verdict,))


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("book") / "book.sqlite"
    with Book(path, write=True) as opened:
        for number in range(20):
            name = HOSTILE if number == 7 else f"design-{number:02d}.dst"
            place = Place(name.encode(), f"folder/{name}", name, 100 + number, number)
            opened.write("/root", [(place, f"{number:064x}")], [record(number)], Asked(("jersey",)))
        bad = Record("f" * 64, 3, "unreadable", "it is cut", None)
        opened.write(
            "/root", [(Place(b"bad", "bad.dst", "bad.dst", 3, 1), "f" * 64)], [bad], Asked(("jersey",))
        )
        opened.page_sketches()
    return path


def numbers(book: Path, question: str) -> set[int]:
    with Book(book) as opened:
        rows = ask(opened, question).records()
    return {int(str(row["sha256"]), 16) for row in rows if row["status"] == "read"}


@pytest.mark.parametrize(
    ("question", "wanted"),
    [
        ("stitches > 15000", {16, 17, 18, 19}),
        ("stitches >= 15000 and stitches<17000", {15, 16}),
        ("format = DST and stitches < 5000", {0, 2, 4}),
        ("format = 'DST' and not stitches > 2000", {0, 2}),
        ("stitches in (3000, 4000, 99)", {3, 4}),
        ("stitches = 1000 or stitches = 2000 and format = PES", {1}),
        ("(stitches = 1000 or stitches = 2000) and format = DST", {2}),
        ("name ~ 'gn-1'", set(range(10, 20))),
        ("jersey.outcome = rework", {2, 5, 8, 11, 14, 17}),
        ("jersey.gap_mm > 1.2", {18, 19}),
        ("jersey.gap_mm is unknown", {1, 5, 9, 13, 17}),
        ("lettering_mm is not unknown and lettering_mm < 10", {0, 2, 4}),
        ("finding = small-lettering and stitches > 10000", {12, 15, 18}),
        ("fault = outline-gap", {0, 5, 10, 15}),
        ("jersey.finding = outline-gap and jersey.outcome = hoop-it", {0, 15}),
        ("jersey.backing_g_m2 > 67 and jersey.layers = 2", {19}),
        ("jersey.backing ~ tearaway and jersey.backing_g_m2 <= 52", {0, 2}),
        ("caution ~ letter", {0, 3, 6, 9, 12, 15, 18}),
        ("thread = brass", {0, 4, 8, 12, 16}),
        ("finding != small-lettering and stitches < 4000", {1, 2}),
    ],
)
def test_questions(book: Path, question: str, wanted: set[int]) -> None:
    """Expected by hand from how the records were made."""
    assert numbers(book, question) == wanted


@pytest.mark.parametrize(
    ("question", "said"),
    [
        ("terry.finding = outline-gap", "no design was screened on 'terry'"),
        ("jersey.outcome = hoopit", "hoop-it or sample-first or rework"),
        ("status in (read, broken)", "read or damaged or unreadable"),
    ],
)
def test_what_can_never_be_is_told(book: Path, question: str, said: str) -> None:
    with Book(book) as opened, pytest.raises(BadBook, match=said):
        ask(opened, question)


comparison = st.tuples(
    st.sampled_from(["stitches", "width_mm", "colours", "minutes"]),
    st.sampled_from(["=", "!=", "<", "<=", ">", ">="]),
    st.integers(-5, 20),
)
question_tree = st.recursive(
    comparison,
    lambda inner: st.one_of(
        st.tuples(st.just("not"), inner),
        st.tuples(st.sampled_from(["and", "or"]), inner, inner),
    ),
    max_leaves=6,
)


def said(tree: tuple[object, ...]) -> str:
    if tree[0] == "not":
        return f"not ({said(tree[1])})"  # type: ignore[arg-type]
    if tree[0] in ("and", "or"):
        return f"(({said(tree[1])}) {tree[0]} ({said(tree[2])}))"  # type: ignore[arg-type]
    factor = 1000 if tree[0] == "stitches" else 1
    return f"{tree[0]} {tree[1]} {int(str(tree[2])) * factor}"


def holds(tree: tuple[object, ...], number: int) -> bool:
    """Evaluate the same question in Python: the oracle."""
    if tree[0] == "not":
        return not holds(tree[1], number)  # type: ignore[arg-type]
    if tree[0] in ("and", "or"):
        one, other = holds(tree[1], number), holds(tree[2], number)  # type: ignore[arg-type]
        return (one and other) if tree[0] == "and" else (one or other)
    value = {
        "stitches": 1000 * number,
        "width_mm": 10.0 + number,
        "colours": number % 5,
        "minutes": number / 3,
    }[str(tree[0])]
    limit = int(str(tree[2])) * (1000 if tree[0] == "stitches" else 1)
    return {
        "=": value == limit, "!=": value != limit, "<": value < limit, "<=": value <= limit,
        ">": value > limit, ">=": value >= limit,
    }[str(tree[1])]  # fmt: skip


@settings(deadline=None, max_examples=150)
@given(tree=question_tree)
def test_any_question_means_what_it_says(book: Path, tree: tuple[object, ...]) -> None:
    assert numbers(book, said(tree)) == {number for number in range(20) if holds(tree, number)}


@pytest.mark.parametrize(
    ("question", "message"),
    [
        ("stiches > 3", "did you mean stitches"),
        ("outcome = rework", "depends on the goods: write for example jersey.outcome"),
        ("jersey.outcom = rework", "did you mean outcome"),
        ("stitches >", "a value is missing"),
        ("stitches > 3 stitches < 4", "join tests with and, or"),
        ("(stitches > 3", "a closing bracket"),
        ("stitches like 3", "a comparison is expected"),
        ("stitches > 3; drop table files", "cannot be understood"),
        ("", "the question is empty"),
        ("(" * 200 + "stitches > 1" + ")" * 200, "nested too deeply"),
        ("a" * 5000, "longer than"),
    ],
)
def test_what_cannot_be_understood_is_told(question: str, message: str) -> None:
    with pytest.raises(BadBook, match=re.escape(message)):
        where(question)


@pytest.mark.parametrize(
    "text", ["' or 1=1 --", "'; DROP TABLE files; --", '" union select 1', "%%", "__", "x' OR 'a'='a"]
)
def test_no_text_of_the_users_reaches_the_database(book: Path, text: str) -> None:
    quoted = text.replace("'", "''")
    for question in (f"name = '{quoted}'", f"name ~ '{quoted}'", f"jersey.stack = '{quoted}'"):
        found = where(question)
        assert text not in found.sql
        assert all(mark not in found.sql for mark in ("--", ";", "union", "DROP"))
        assert numbers(book, question) == set()
    with Book(book) as opened:
        assert ask(opened).total == 21


@given(st.text(max_size=60))
def test_any_text_is_understood_or_told(text: str) -> None:
    try:
        found = where(text)
    except BadBook:
        return
    assert found.sql.count("?") == len(found.values)


def test_sorting_puts_what_is_unknown_last(book: Path) -> None:
    with Book(book) as opened:
        rising = [row["stitches"] for row in ask(opened, sort="stitches").records()]
        falling = [row["stitches"] for row in ask(opened, sort="-jersey.chance").records()]
    assert rising == [*range(0, 20000, 1000), None]
    assert falling[:2] == [19000, 18000]
    with pytest.raises(BadBook, match="did you mean stitches"):
        sort_by("stitchs")


def test_a_limit_says_how_many_there_are(book: Path) -> None:
    with Book(book) as opened:
        answer = ask(opened, limit=3)
    assert (len(answer.rows), answer.total) == (3, 21)


# ---- alike


def test_a_design_is_known_in_another_size_turned_mirrored_recoloured_and_retrimmed() -> None:
    """A small set; the large one is under the long tests."""
    recall, precision = _alike(30, 200)
    assert recall > 0.95
    assert precision > 0.95


@pytest.mark.long
def test_alike_among_five_thousand_others() -> None:
    recall, precision = _alike(500, 5000)
    assert recall > 0.95
    assert precision > 0.95


def _alike(designs: int, others: int) -> tuple[float, float]:
    rows, owner = [], []
    for number in range(designs):
        one = made(number)
        for variant in (one, *variants(one, 10_000 + number)):
            rows.append(packed(sketch(variant)))
            owner.append(number)
    for number in range(others):
        rows.append(packed(sketch(made(100_000 + number))))
        owner.append(-1)
    contents = b"".join(number.to_bytes(32, "big") for number in range(len(rows)))
    kept = Alike(contents, np.frombuffer(b"".join(rows), dtype=np.uint8).reshape(-1, SIZE))
    owners = np.array(owner)
    right = wrong = missed = 0
    for number in range(designs):
        own = np.flatnonzero(owners == number)
        found = {int(sha256, 16) for sha256, _ in kept.near(kept.sketches[own[0]] / 255.0)} - {int(own[0])}
        right += len(found & set(own[1:].tolist()))
        wrong += len(found - set(own.tolist()))
        missed += len(set(own[1:].tolist()) - found)
    return right / (right + missed), right / max(right + wrong, 1)


def test_distance_of_sketches() -> None:
    """Derived: unit vectors at a right angle are the square root of 2 apart, the same ones 0."""
    one, other = np.zeros(SIZE), np.zeros(SIZE)
    one[0] = other[1] = 1.0
    kept = np.stack([np.frombuffer(packed(v), dtype=np.uint8) for v in (one, other)])
    assert distances(one, kept) == pytest.approx([0.0, np.sqrt(2.0)], abs=1e-3)


def test_stale_pages_are_not_used(tmp_path: Path) -> None:
    with Book(tmp_path / "b.sqlite", write=True) as opened:
        opened.write("/r", [(Place(b"a", "a", "a", 1, 1), f"{1:064x}")], [record(1)], Asked(("jersey",)))
        opened.page_sketches()
        opened.write("/r", [(Place(b"b", "b", "b", 1, 1), f"{2:064x}")], [record(2)], Asked(("jersey",)))
        assert not opened.pages_fresh()
        assert len(Alike.of(opened).sketches) == 2
        opened.page_sketches()
        assert len(Alike.of(opened).sketches) == 2


# ---- exports


def test_csv_is_safe_to_open(book: Path, tmp_path: Path) -> None:
    with Book(book) as opened:
        export(opened, ask(opened, everything=True), tmp_path / "all.csv")
    text = (tmp_path / "all.csv").read_bytes().decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == 21
    assert all(
        not str(cell).startswith(("=", "+", "@", "-")) or _is_number(cell)
        for row in rows
        for cell in row.values()
    )
    hostile = next(row for row in rows if "calc" in row["name"])
    assert hostile["name"] == "'" + HOSTILE


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_parquet_holds_the_same(book: Path, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    with Book(book) as opened:
        answer = ask(opened)
        export(opened, answer, tmp_path / "all.parquet")
    table = parquet.read_table(tmp_path / "all.parquet").to_pydict()
    assert table["stitches"] == [row["stitches"] for row in answer.records()]


class Links(HTMLParser):
    """Collects what a page would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.scripts = 0
        self.sources: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take one element in."""
        self.scripts += tag == "script"
        self.sources += [value or "" for name, value in attrs if name in ("src", "href")]


def test_the_gallery_is_text_and_pictures_only(book: Path, tmp_path: Path) -> None:
    with Book(book) as opened:
        export(opened, ask(opened), tmp_path / "all.html")
    page = (tmp_path / "all.html").read_text(encoding="utf-8")
    seen = Links()
    seen.feed(page)
    assert seen.scripts == 0
    assert not any(source.startswith(("http", "//", "javascript")) for source in seen.sources)
    assert "&lt;script&gt;" in page


def test_an_export_is_never_written_over(book: Path, tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("mine")
    with Book(book) as opened, pytest.raises(BadJob, match="there already"):
        export(opened, ask(opened), file)
    assert file.read_text() == "mine"


def test_small_pictures_show_the_uppermost_block() -> None:
    from analyzer.library.thumb import SIDE, thumb

    picture = drawn(thumb(made(3)), ("#ff0000",))
    assert picture.startswith('<img src="data:image/png;base64,')
    assert f'width="{SIDE}"' in picture


# ---- duckdb


def test_analytical_questions(book: Path) -> None:
    pytest.importorskip("duckdb")
    with Book(book) as opened:
        answer = analyse(
            opened, "SELECT format, count(*) FROM designs WHERE format IS NOT NULL GROUP BY 1 ORDER BY 1"
        )
        assert answer.rows == (("DST", 10), ("PES", 10))
        joined = analyse(
            opened, "SELECT count(*) FROM designs JOIN verdicts USING (sha256) WHERE outcome = 'rework'"
        )
        assert joined.rows == ((6,),)


@pytest.mark.parametrize(
    "sql",
    [
        "COPY designs TO '/tmp/stolen.csv'",
        "SELECT * FROM read_csv('/etc/passwd')",
        "ATTACH '/tmp/other.db'",
        "INSTALL httpfs",
        "SET enable_external_access = true",
        "SELECT nonsense",
    ],
)
def test_duckdb_reaches_nothing_else(book: Path, sql: str) -> None:
    pytest.importorskip("duckdb")
    before = book.read_bytes()
    with Book(book) as opened, pytest.raises(BadBook, match=r"duckdb|one SELECT"):
        analyse(opened, sql)
    assert book.read_bytes() == before
    assert not Path("/tmp/stolen.csv").exists()


# ---- the command


def test_the_command_prints_a_table_json_and_what_is_alike(book: Path) -> None:
    def run(*arguments: str) -> subprocess.CompletedProcess[bytes]:
        command = [sys.executable, "-m", "analyzer", "book", str(book), *arguments]
        return subprocess.run(command, capture_output=True, timeout=120, check=False)

    table = run("--where", "jersey.outcome = rework", "--sort", "-stitches")
    assert table.returncode == 0, table.stderr
    lines = table.stdout.decode().splitlines()
    assert "jersey" in lines[0]
    assert "17,000" in lines[1]
    rows = json.loads(run("--json", "--where", "stitches = 3000").stdout)
    assert rows["total"] == 1
    assert rows["rows"][0]["jersey.outcome"] == "hoop-it"
    assert rows["rows"][0]["findings"]
    wrong = run("--where", "stiches = 3")
    assert wrong.returncode == 2
    assert b"did you mean stitches" in wrong.stderr
