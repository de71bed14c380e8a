"""The sample designs: the committed files are what the generator makes, and hold what their table says."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pyembroidery
import pytest

from analyzer.formats import read

SAMPLES = Path(__file__).parent.parent / "sample_designs"
DESIGNS = sorted(p.name for p in SAMPLES.iterdir() if p.suffix in (".dst", ".exp", ".pes", ".jef", ".vp3"))
CASES = tomllib.loads((SAMPLES / "expectations.toml").read_text("utf-8"))["case"]


def begun(folder: Path, hash_seed: str) -> subprocess.Popen[bytes]:
    """Start the generator in a process of its own, with its own hash seed."""
    environment = {**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.Popen(
        [sys.executable, str(SAMPLES / "make.py"), str(folder)], env=environment, stdout=subprocess.DEVNULL
    )


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    first, second = tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second")
    running = [begun(first, "1"), begun(second, "2")]
    assert [process.wait(300) for process in running] == [0, 0]
    return first, second


def test_the_generator_gives_the_same_bytes_on_every_run(twice: tuple[Path, Path]) -> None:
    first, second = twice
    assert sorted(p.name for p in first.iterdir()) == DESIGNS
    for name in DESIGNS:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_the_committed_files_are_what_the_generator_makes(twice: tuple[Path, Path]) -> None:
    # within the 0.1 mm of the formats: other versions of the geometry library may round otherwise
    for name in DESIGNS:
        fresh, committed = read(twice[0] / name), read(SAMPLES / name)
        assert abs(len(fresh.penetrations) - len(committed.penetrations)) <= 0.01 * len(
            committed.penetrations
        ), name
        assert fresh.size_mm == pytest.approx(committed.size_mm, abs=0.3), name
        if len(fresh.penetrations) == len(committed.penetrations):
            apart = np.hypot(*(fresh.penetrations - committed.penetrations).T)
            assert np.quantile(apart, 0.95) <= 0.15, name


def test_there_are_ten_designs_in_five_formats() -> None:
    assert len(DESIGNS) >= 10
    assert {Path(name).suffix for name in DESIGNS} == {".dst", ".exp", ".pes", ".jef", ".vp3"}


@pytest.mark.parametrize("name", DESIGNS)
def test_a_sample_is_a_sound_design_of_its_size(name: str) -> None:
    design = read(SAMPLES / name)
    assert design.damaged is None
    assert not any("header" in note or "name says" in note for note in design.notes)
    assert 35 <= max(design.size_mm) <= 100
    assert 900 <= design.stitches <= 12_000
    sewn = design.lengths_mm[design.joined & ~design.jumped]
    assert sewn.max() <= 9.0  # nothing that a machine would have to split
    assert np.mean(sewn < 0.3) < 0.07
    # common practice: fills of 3-5 mm; the library's own count of needle points is the reference
    reference = pyembroidery.read(str(SAMPLES / name)).count_stitch_commands(pyembroidery.STITCH)
    assert len(design.penetrations) == reference


def test_the_two_crests_hold_the_same_stitches_in_another_order() -> None:
    first, last = (read(SAMPLES / f"crest-outline-{when}.dst") for when in ("first", "last"))
    assert np.array_equal(np.unique(first.penetrations, axis=0), np.unique(last.penetrations, axis=0))
    assert not np.array_equal(first.penetrations, last.penetrations)
    shield = len(first.penetrations[first.colour == 0])
    assert np.array_equal(first.penetrations[:shield], last.penetrations[:shield])
    assert np.count_nonzero(first.colour == 1) == np.count_nonzero(last.colour == last.colour.max())


def test_every_design_has_a_case_and_every_case_its_design() -> None:
    assert {case["file"] for case in CASES} == set(DESIGNS)
    for case in CASES:
        assert set(case) <= {"file", "says", "goods", "backing", "outcomes", "must", "must_not", "level"}
        assert set(case["outcomes"]) <= {"hoop-it", "sample-first", "rework"}
        assert case["outcomes"]
        assert case["level"] in ("note", "caution", "fault")
        assert not set(case["must"]) & set(case["must_not"])
        assert case["says"].endswith(".")


def test_the_table_of_the_samples_names_every_design_with_its_size() -> None:
    table = (SAMPLES / "README.md").read_text("utf-8")
    for name in DESIGNS:
        design = read(SAMPLES / name)
        width, height = design.size_mm
        row = next(line for line in table.splitlines() if f"`{name}`" in line)
        assert f"{width:.0f} x {height:.0f}" in row, name
        assert f"{design.stitches:,}" in row, name
