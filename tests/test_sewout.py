"""The test piece, records of sew-outs, and the command; numbers from the issue's own demands or derived."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analyzer import check, goods, read, write
from analyzer.commands.entry import run
from analyzer.errors import BadRecords
from analyzer.goods import StackChoice
from analyzer.job import Calibration, Job, Learned
from analyzer.regions import cut
from analyzer.sewout.piece import measures, piece_design
from analyzer.sewout.records import alone, load, save

MEASURES = """
reading_error = 0.1
[[measure]]
name = "2 mm column, upright"
values = [1.7, 1.7, 1.8]
[[measure]]
name = "8 mm column, upright"
value = 7.7
[[measure]]
name = "fill along its rows"
value = 29.4
[[measure]]
name = "crosses above"
value = 29.0
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "card.toml").write_text(MEASURES, encoding="utf-8")
    write(piece_design(), tmp_path / "card.dst")
    return tmp_path


def add(*more: str, source: str = "card.toml") -> int:
    job = ("--goods", "jersey", "--backing", "cutaway:85", "--records", "r.json")
    return run(["sewout", "add", "card.dst", *job, "--from", source, *more])


def test_the_piece_is_what_was_asked_for(folder: Path) -> None:
    """Columns of 2, 4, 8 mm both ways, a fill of 30 mm, the outline last, under ten minutes."""
    design = read("card.dst")
    regions = cut(design)
    columns = [item for item in regions.items if item.kind == "satin"]
    assert sorted((round(c.width_mm or 0), c.direction_deg) for c in columns) == [
        (2, 0.0), (2, 90.0), (4, 0.0), (4, 90.0), (8, 0.0), (8, 90.0),
    ]  # fmt: skip
    (fill,) = [item for item in regions.items if item.kind == "fill"]
    x0, y0, x1, y1 = fill.bbox_mm
    assert (x1 - x0, y1 - y0) == pytest.approx((30.0, 30.0), abs=0.21)
    (pair,) = regions.pairs
    assert pair.borders == fill.id
    assert pair.outline > fill.id
    assert check(design, Job(goods="jersey", backing="cutaway:85")).use.minutes < 10.0
    marks = [one for one in measures() if one.kind == "marks"]
    assert all(np.hypot(*np.subtract(one.end, one.start)) == pytest.approx(30.0) for one in marks)


def test_the_sheet_is_the_same_every_time(folder: Path) -> None:
    assert run(["sewout", "piece", "-o", "a.exp", "--sheet", "a.pdf"]) == 0
    assert run(["sewout", "piece", "-o", "b.exp", "--sheet", "b.pdf"]) == 0
    assert Path("a.pdf").read_bytes() == Path("b.pdf").read_bytes()
    assert run(["sewout", "piece", "-o", "a.exp"]) == 2  # never over a file that is there


def test_add_correct_remove_keep_everything(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert add() == 0
    path = Path("r.json")
    record = load(path).find("s1")
    assert record.sha256 == read("card.dst").sha256
    assert record.readings[0].value_mm == pytest.approx((1.7 + 1.7 + 1.8) / 3)
    job = ["--goods", "jersey", "--backing", "cutaway:85", "--records", "r.json", "--from", "card.toml"]
    assert run(["sewout", "correct", "s1", "card.dst", *job, "--notes", "read again"]) == 0
    assert [one.state for one in load(path).records] == ["corrected", "kept"]
    assert run(["sewout", "export", "out.json", "--records", "r.json"]) == 0
    assert run(["sewout", "remove", "s2", "--records", "r.json"]) == 0
    assert load(path).kept == ()
    assert load(path).taught == ()
    assert run(["sewout", "import", "out.json", "--records", "new.json"]) == 0
    assert len(load(Path("new.json")).kept) == 1
    assert run(["sewout", "remove", "s9", "--records", "r.json"]) == 2
    assert "there is no sew-out 's9'" in capsys.readouterr().err


def test_inches_are_read_as_such(folder: Path) -> None:
    Path("in.toml").write_text(
        'units = "in"\n[[measure]]\nname = "8 mm column, upright"\nvalue = 0.303\n', encoding="utf-8"
    )
    assert add(source="in.toml") == 0
    assert load(Path("r.json")).find("s1").readings[0].value_mm == pytest.approx(0.303 * 25.4)


def test_csv_gives_the_same_as_toml(folder: Path) -> None:
    Path("m.csv").write_text(
        "﻿name;value;error\n8 mm column, upright;7,7;0,1\nfill along its rows;29,4;0,1\n", encoding="utf-8"
    )
    assert add(source="m.csv") == 0
    values = [one.value_mm for one in load(Path("r.json")).find("s1").readings]
    assert values == pytest.approx([7.7, 29.4])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[measure]]\nname = "8 mm column, upright"\nvalue = 77\n', "--sure"),
        ('[[measure]]\nname = "9 mm column"\nvalue = 7\n', "there is no measure"),
        ('[[measure]]\nname = "8 mm column, upright"\nvalu = 7\n', "did you mean value"),
        ('[[measure]]\nkind = "gap"\nat = [90.0, 0.0]\nvalue = 0.2\n', "no outline borders"),
        ('[[measure]]\nname = "8 mm column, upright"\nvalue = 7.7\nerror = -1\n', "reading error"),
    ],
)
def test_what_cannot_be_is_questioned(
    folder: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    Path("bad.toml").write_text(text, encoding="utf-8")
    assert add(source="bad.toml") == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert not Path("r.json").exists()


def test_a_damaged_file_is_kept_aside(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("r.json").write_text('{"schema": 1, "records": [', encoding="utf-8")
    assert run(["sewout", "list", "--records", "r.json"]) == 2
    assert "damaged" in capsys.readouterr().err
    assert Path("r.json.damaged-1").read_text(encoding="utf-8").startswith('{"schema"')
    assert add() == 0


def test_a_later_schema_is_left_alone(folder: Path) -> None:
    Path("r.json").write_text('{"schema": 99}', encoding="utf-8")
    with pytest.raises(BadRecords, match="later version"):
        load(Path("r.json"))
    assert Path("r.json").exists()


def test_two_at_once_lose_nothing(folder: Path) -> None:
    assert add() == 0
    one = load(Path("r.json")).find("s1")

    def more() -> None:
        for _ in range(5):
            with alone(Path("r.json")):
                held = load(Path("r.json"))
                save(Path("r.json"), held.added(replace(one, id=held.next_id())))

    threads = [threading.Thread(target=more) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len({record.id for record in load(Path("r.json")).kept}) == 16


def test_check_goes_by_what_was_measured(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert add() == 0
    (taught,) = load(Path("r.json")).taught
    design = read("card.dst")
    job = Job(goods="jersey", backing="cutaway:85")
    before, after = check(design, job), check(design, replace(job, calibration=taught.calibration))
    assert not before.sureness.calibrated
    assert after.sureness.calibrated
    assert after.sureness.from_sewouts == 1

    def width(result: object) -> float:
        (gap,) = result.gaps  # type: ignore[attr-defined]
        return float(gap.high_mm - gap.low_mm)

    assert width(after) < 0.6 * width(before)
    capsys.readouterr()
    options = ["check", "card.dst", "--goods", "jersey", "--backing", "cutaway:85"]
    run([*options, "--records", "r.json"])
    assert "Calibrated by 1 sew-out" in capsys.readouterr().out
    run(options)
    assert "Uncalibrated" in capsys.readouterr().out
    # another thread was not measured
    run([*options, "--records", "r.json", "--thread", "viscose-40"])
    assert "Uncalibrated" in capsys.readouterr().out


def test_show_tells_and_draws(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["sewout", "show", "--records", "r.json"]) == 0
    assert "No sew-out is recorded" in capsys.readouterr().out
    assert add() == 0
    capsys.readouterr()
    assert run(["sewout", "show", "--records", "r.json", "--picture", "a.svg"]) == 0
    said = capsys.readouterr().out
    assert "pull of the thread" in said
    assert "What would narrow" in said
    assert run(["sewout", "show", "--records", "r.json", "--picture", "b.svg"]) == 0
    assert Path("a.svg").read_bytes() == Path("b.svg").read_bytes()


def test_correlated_draws_hang_together_as_told() -> None:
    """Derived: scores mixed by the Cholesky factor of R have correlation R."""
    learned = (
        Learned("pull_n", None, 0.6, 0.5, 0.7),
        Learned("backing_stiffness", "cutaway", 0.8, 0.5, 1.2),
        Learned("backing_stiffness", "tearaway", 1.0, 0.5, 2.0),
    )
    told = Calibration(1, learned=learned, correlation=((1.0, 0.8, 0.1), (0.8, 1.0, 0.2), (0.1, 0.2, 1.0)))
    setup = goods.resolve(Job(goods="jersey"), "jersey", (60.0, 60.0))
    plain = goods.draw(4000, 0)
    for behind, expected in (("cutaway:85", 0.8), ("tearaway:50", 0.1), ("mesh-cutaway:50", 0.0)):
        choice = StackChoice(goods.parse_backing(behind, setup.tables), None)
        scores = goods.correlated(plain, told, "jersey", choice).scores
        found = np.corrcoef(scores["pull_n"], scores["backing_stiffness"])[0, 1]
        assert found == pytest.approx(expected, abs=0.05)
