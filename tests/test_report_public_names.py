"""The package's public names: relied on by others, so changed only on purpose."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import report_cases as cases

import analyzer
from analyzer import errors
from analyzer.errors import PrehoopError
from analyzer.report import Check

NAMES = {
    "BadBook", "BadJob", "BadOrder", "BadRecords", "BadTable", "Calibration", "Check", "Countered",
    "Design", "Frame", "Job",
    "Limits",
    "Machine",
    "NotConverged", "PrehoopError", "UnknownBacking", "UnknownGoods", "UnknownHoop", "UnknownName",
    "UnknownNeedle",
    "UnknownThread", "UnknownTopping", "UnreadableDesign", "UnwritableDesign", "check", "read",
    "write",
}  # fmt: skip


def test_public_names() -> None:
    assert set(analyzer.__all__) == NAMES
    assert set(dir(analyzer)) >= NAMES
    for name in NAMES:
        assert getattr(analyzer, name) is not None


def test_every_error_is_public() -> None:
    named = {
        name
        for name, what in vars(errors).items()
        if isinstance(what, type) and issubclass(what, PrehoopError)
    }
    assert len(named) > 5
    assert named <= NAMES


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'hoop_it'"):
        analyzer.hoop_it  # noqa: B018


def test_version_is_that_of_the_project() -> None:
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    assert analyzer.__version__ == project["project"]["version"]


def test_importing_the_package_costs_nothing_heavy() -> None:
    heavy = "('numpy', 'scipy', 'matplotlib', 'rich', 'click')"
    code = f"import sys, analyzer; print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_check_offers_what_is_promised() -> None:
    result = Check.of(cases.checked())
    assert result.outcome == "sample-first"
    assert result.gaps == (cases.GAP,)
    assert result.findings == (cases.NOTE, cases.FAULT)
    assert result.plan is not None
    assert Check.of(cases.compared()).plan is None
    assert Check.of(cases.compared()).findings == (cases.NOTE,)
    assert result.text(units="in").startswith("burgee on jersey")
