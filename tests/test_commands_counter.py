"""``prehoop counter``: what it writes, what it says, and what it never writes over."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import report_cases as cases

from analyzer import BadJob, Check, Job, check, read
from analyzer.commands.entry import run

SAMPLES = Path(__file__).parents[1] / "sample_designs"
CREST, LETTERING = SAMPLES / "crest-outline-last.dst", SAMPLES / "regatta-lettering.pes"
ON_JERSEY = ["--goods", "jersey", "--backing", "cutaway:85"]


def worst_gap(file: Path) -> float:
    (gap,) = check(read(file), Job(goods="jersey", backing="cutaway:85")).gaps
    return gap.worst_mm


def test_the_copy_checked_anew_leaves_a_smaller_gap(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """From file to file: regions and pairs are found afresh in the copy."""
    copy = tmp_path / "crest-jersey.dst"
    assert run(["counter", str(CREST), *ON_JERSEY, "-o", str(copy), "--json"]) == 0
    out, err = capfd.readouterr()
    said = json.loads(out)
    assert err == ""
    assert said["written"] == {"file": str(copy), "format": "DST", "remarks": []}
    assert said["reason"] is None
    assert said["gap"]["after_mm"] < 0.05 < said["gap"]["rounded_mm"] < said["gap"]["before_mm"]
    assert any("Sew the original first" in line for line in said["says"])
    before, after = read(CREST), read(copy)
    assert len(after.penetrations) == len(before.penetrations)
    assert np.array_equal(after.joined, before.joined)
    moves = np.hypot(*(after.penetrations - before.penetrations).T)
    assert moves.max() == pytest.approx(said["largest_move_mm"], abs=0.08)  # rounded for the file
    assert said["gap"]["before_mm"] > 0.15
    assert abs(worst_gap(copy)) < 0.6 * said["gap"]["before_mm"]


def test_the_screen_says_it_shortly(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "lettering.pes"
    on_twill = ["--goods", "cotton-twill", "--backing", "cutaway:51"]
    assert run(["counter", str(LETTERING), *on_twill, "-o", str(copy)]) == 0
    out, err = capfd.readouterr()
    assert err == ""
    assert all(len(line) <= 80 for line in out.splitlines())
    assert "Sew the original first and measure it" in " ".join(out.split())
    assert str(copy) in out.replace("\n", "")
    assert len(out.splitlines()) < 15
    assert read(copy).threads == read(LETTERING).threads


def test_bare_cloth_that_distorts_gets_no_copy(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "copy.dst"
    arguments = ["counter", str(CREST), "--goods", "jersey", "--backing", "none", "-o", str(copy)]
    assert run([*arguments, "--json"]) == 1
    said = json.loads(capfd.readouterr().out)
    assert said["written"] is None
    assert said["reason"] == "beyond-range"
    assert "no copy is made" in said["says"][0]
    assert not copy.exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["-o", "copy.dst"], "--goods"),
        (["--goods", "jersey"], "-o"),
        (["--goods", "jersy", "-o", "copy.dst"], "did you mean jersey"),
        (["--goods", "jersey", "-o", "copy.xyz"], "is not written"),
        (["--goods", "jersey", "-o", "copy.hus"], "HUS is not written"),
        (["--goods", "jersey", "-o", "copy.pes"], "colours are not invented"),
        (["--goods", "jersey", "-o", "there.dst"], "--force"),
        (["--goods", "jersey", "-o", "crest.dst"], "the original"),
        (["--goods", "jersey", "-o", "crest.dst", "--force"], "the original"),
        (["--goods", "jersey", "-o", "none/copy.dst"], "there is no folder"),
        (["--goods", "jersey", "--tolerance", "far", "-o", "copy.dst"], "--tolerance"),
    ],
)
def test_what_cannot_be_is_one_line_and_exit_2(
    arguments: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copy(CREST, "crest.dst")
    Path("there.dst").write_bytes(b"mine")
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    assert run(["counter", "crest.dst", *arguments]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("prehoop: ")
    assert err.count("\n") == 1
    assert said in err
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before


def test_there_is_a_copy_for_python_too(tmp_path: Path) -> None:
    result = check(read(CREST), Job(goods="cotton-twill", backing="cutaway:85"))
    seen: list[float] = []
    copy = result.countered(lambda what, share: seen.append(share))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    assert copy.design is not None
    assert copy.after.gap_mm is not None
    assert copy.after.gap_mm < 0.05
    assert copy.design.notes[-1].startswith(f"Countered copy of {CREST.name} for cotton-twill on cutaway")
    assert np.array_equal(copy.design.kinds, result.design.kinds)
    with pytest.raises(BadJob, match="name the goods"):
        Check.of(cases.compared()).countered()


def test_a_cap_gets_no_countered_copy(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "copy.dst"
    arguments = ["counter", str(CREST), "--goods", "cap-twill", "--holding", "cap-frame", "-o", str(copy)]
    assert run(arguments) == 2
    assert "a cap is curved" in capfd.readouterr().err
    assert not copy.exists()
