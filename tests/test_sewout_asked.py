"""What ``sewout add`` asks for at a terminal, and what there is to measure on any design."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from analyzer import check, read, write
from analyzer.commands.entry import run
from analyzer.design import Command, Design
from analyzer.job import Job
from analyzer.sewout.entry import lengths
from analyzer.sewout.piece import measures, piece_design
from analyzer.sewout.places import to_measure
from analyzer.sewout.records import load

JOB = ["--goods", "jersey", "--backing", "cutaway:85", "--records", "r.json"]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    write(piece_design(), tmp_path / "card.dst")
    write(other(), tmp_path / "other.dst")
    return tmp_path


def other() -> Design:
    """The test piece without its first column: known places, but not the test piece."""
    piece = piece_design()
    first = int(np.flatnonzero(piece.kinds == Command.TRIM)[0]) + 1
    return Design.from_commands(piece.points[first:], piece.kinds[first:])


class Terminal(io.StringIO):
    """Answers, as if typed."""

    def isatty(self) -> bool:
        """Say that somebody sits there."""
        return True


def test_measures_are_asked_for_one_by_one(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Empty: not measured; a slip of the pen is asked for again; repeats; a decimal comma is no separator."""
    count = len(measures())
    answers = ["1.7 1,8", "-", "7.6x", "7,6", "7.5, 7.7, 7.6", *[""] * (count - 4), "", ""]
    job = ["--goods", "jersey", "--backing", "cutaway:85", "--records", "r.json", "--sure"]
    monkeypatch.setattr("sys.stdin", Terminal("\n".join(answers) + "\n"))
    assert run(["sewout", "add", "card.dst", *job]) == 0
    said = capsys.readouterr().out
    assert said.count("mm in the file") == count + 1
    assert "Sewn on jersey, behind it cutaway:85; machine, polyester-40" in said
    assert "'7.6x' is no length" in said
    assert "from edge to edge (8.0 mm in the file)" in said
    readings = load(Path("r.json")).find("s1").readings
    assert [(one.name, one.repeats) for one in readings] == [
        (measures()[0].name, 2), (measures()[2].name, 1), (measures()[3].name, 3),
    ]  # fmt: skip
    assert readings[1].value_mm == pytest.approx(7.6)
    assert readings[2].value_mm == pytest.approx(7.6)


@pytest.mark.parametrize(
    ("text", "found"),
    [("7.6", [7.6]), ("7,6", [7.6]),
     ("7.6 7.5", [7.6, 7.5]), ("7,6 7,5", [7.6, 7.5]), ("7.6,7.5", [7.6, 7.5]),
     ("7,6; 7,5", [7.6, 7.5]), ("-0.2", [-0.2]), ("7, 8", [7.0, 8.0])],
)  # fmt: skip
def test_lengths_as_people_write_them(text: str, found: list[float]) -> None:
    assert lengths(text) == found


@pytest.mark.parametrize("text", ["", "x", "nan", "7.6mm", "inf"])
def test_what_is_no_length(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        lengths(text)


def test_places_of_any_design_are_found_where_they_are() -> None:
    """Columns of 8, 4 and 2 mm; the fill 30 mm along its rows; the gap where the check names it."""
    design, job = other(), Job(goods="jersey", backing=("cutaway:85",))
    found = to_measure(design, job)
    widths = {round(one.meant_mm): one for one in found if one.kind == "width"}
    assert sorted(widths) == [2, 4, 8]
    known = {one.name: one for one in measures()}
    for width, one in widths.items():
        middles = [known[f"{width} mm column, {way}"].start for way in ("upright", "lying")]
        assert min(np.hypot(*np.subtract(one.start, middle)) for middle in middles) < 0.5
    (fill,) = [one for one in found if one.kind == "sewn"]
    assert fill.meant_mm == pytest.approx(30.0, abs=0.05)
    assert sorted((fill.start[0], fill.end[0])) == pytest.approx([-15.0, 15.0], abs=0.05)
    gaps = [one for one in found if one.kind == "gap"]
    (named,) = check(design, job).gaps
    assert np.hypot(*np.subtract(gaps[0].start, named.at)) < 0.1
    # and opposite to it, where the rows end too
    assert len(gaps) == 2
    assert gaps[0].start[0] * gaps[1].start[0] < 0
    assert all(abs(one.start[0]) == pytest.approx(15.0, abs=0.3) for one in gaps)


def test_any_design_is_asked_for_one_by_one(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Goods and backing are asked for too; an impossible width is questioned at once, in the units given."""
    names = [one.name for one in to_measure(read("other.dst"), Job(goods="jersey", backing=("cutaway:85",)))]
    answers = ["jersy", "jersey", "cutaway:85", "0.02"]  # the first gap, inches
    for name in names[1:]:
        answers += ["3.1", "n", "0.303"] if name == names[2] else ["-"]
    answers += ["y", *[""] * len(names), "n"]
    monkeypatch.setattr("sys.stdin", Terminal("\n".join(answers) + "\n"))
    assert run(["sewout", "add", "other.dst", "--records", "r.json", "--units", "in"]) == 0
    said = capsys.readouterr().out
    assert "did you mean jersey" in said
    assert "3.100 in, where the file has 0.315 in?" in said
    assert "Measured out of the hoop:" in said
    record = load(Path("r.json")).find("s1")
    assert (record.goods, record.backing) == ("jersey", ("cutaway:85",))
    assert [(one.name, round(one.value_mm, 2)) for one in record.readings] == [
        (names[0], round(0.02 * 25.4, 2)), (names[2], round(0.303 * 25.4, 2)),
    ]  # fmt: skip
    assert len(load(Path("r.json")).taught) == 1


def test_a_design_without_anything_to_measure_says_so(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    points = np.array([[0.0, 0.0], [0.0, 0.0], [2.5, 0.0], [5.0, 0.0], [7.5, 0.0]])
    line = Design.from_commands(points, np.array([Command.JUMP, *[Command.STITCH] * 4]))
    write(line, folder / "line.dst")
    monkeypatch.setattr("sys.stdin", Terminal("\n" * 20))
    assert run(["sewout", "add", "line.dst", *JOB]) == 2
    assert "sew the test piece" in capsys.readouterr().err


def test_what_to_measure_is_listed_beforehand(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = ["--goods", "jersey", "--backing", "cutaway:85"]
    known = to_measure(read("other.dst"), Job(goods="jersey", backing=("cutaway:85",)))
    assert run(["sewout", "places", "other.dst", *job, "--units", "in"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(known) + 1
    assert all(one.name in line for one, line in zip(known, lines, strict=False))
    assert "(0.315 in in the file)" in "".join(lines)
    assert run(["sewout", "places", "other.dst"]) == 2
    assert "--goods" in capsys.readouterr().err


def test_nobody_is_asked_where_nobody_sits(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sewout", "add", "other.dst", *JOB]) == 2
    assert "--from FILE" in capsys.readouterr().err


def test_correcting_keeps_what_is_not_said(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """At a terminal Enter keeps a measure and - takes it away; a file replaces those that it names."""
    count = len(measures())
    monkeypatch.setattr(
        "sys.stdin", Terminal("\n".join(["1.7", "3.8 3.9", "7.6", *[""] * (count - 1)]) + "\n")
    )
    assert run(["sewout", "add", "card.dst", *JOB, "--error", "0.2", "--notes", "blue"]) == 0
    monkeypatch.setattr("sys.stdin", Terminal("\n".join(["-", "", "7.5", *[""] * (count - 1)]) + "\n"))
    assert run(["sewout", "correct", "s1", "--records", "r.json"]) == 0
    assert "recorded 7.6" in capsys.readouterr().out
    Path("one.toml").write_text(
        '[[measure]]\nname = "8 mm column, lying"\nvalue = 7.8\nerror = 0.1\n', encoding="utf-8"
    )
    assert run(["sewout", "correct", "s2", "--records", "r.json", "--from", "one.toml"]) == 0
    held = load(Path("r.json"))
    assert [one.state for one in held.records] == ["corrected", "corrected", "kept"]
    (record,) = held.kept
    assert (record.goods, record.backing, record.notes, record.design) == (
        "jersey", ("cutaway:85",), "blue", "card.dst",
    )  # fmt: skip
    assert record.sha256 == held.records[0].sha256 == read("card.dst").sha256
    assert [(one.name, one.value_mm, one.error_mm, one.repeats) for one in record.readings] == [
        ("4 mm column, upright", pytest.approx(3.85), 0.2, 2),
        ("8 mm column, upright", 7.5, 0.2, 1),
        ("8 mm column, lying", 7.8, 0.1, 1),
    ]


def test_a_column_that_tapers_is_known_by_its_width_at_the_place() -> None:
    """Derived: 6 mm wide at one end and 2 at the other, 5 mm after a quarter of its length."""
    from analyzer import goods, regions
    from analyzer.goods import StackChoice
    from analyzer.sewout.nodes import compute
    from analyzer.sewout.piece import Measure

    count = 301
    along = np.linspace(0.0, 60.0, count)
    half = np.linspace(3.0, 1.0, count) * np.where(np.arange(count) % 2 == 0, -1.0, 1.0)
    points = np.column_stack([half, along])
    design = Design.from_commands(points, np.array([Command.JUMP, *[Command.STITCH] * (count - 1)]))
    assert [item.kind for item in regions.cut(design).items] == ["satin"]
    setup = goods.resolve(Job(goods="jersey"), "jersey", (60.0, 60.0))
    stack = goods.build_stack(setup, StackChoice(goods.parse_backing("cutaway:85", setup.tables), None))
    wanted = [Measure(f"at {y}", "width", (0.0, y), (0.0, y), 0.0) for y in (15.0, 45.0)]
    nodes = compute(design, setup, stack, wanted)
    assert nodes.meant == pytest.approx([5.0, 3.0], abs=0.1)
    assert nodes.middle[0] < nodes.middle[1] < 0.0  # the wider, the more it loses
