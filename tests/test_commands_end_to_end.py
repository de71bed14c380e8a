"""The whole command on real stitch files: what comes out is valid, repeatable and readable."""

from __future__ import annotations

import json
import re
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from analyzer.commands.entry import run

SAMPLES = Path(__file__).parents[1] / "sample_designs"
SKETCH, CREST = SAMPLES / "lighthouse-sketch.jef", SAMPLES / "crest-outline-last.dst"


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = json.loads(resources.files("analyzer.report").joinpath("check-schema.json").read_bytes())
    return jsonschema.Draft202012Validator(schema)


def document_of(capfd: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, dict[str, Any]]:
    code = run(["check", *arguments, "--json"])
    out, err = capfd.readouterr()
    assert err == ""
    document: dict[str, Any] = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))
    return code, document


def test_with_goods_the_document_is_valid_and_consistent(
    validator: jsonschema.Draft202012Validator, capfd: pytest.CaptureFixture[str]
) -> None:
    code, given = document_of(capfd, str(CREST), "--goods", "cotton-twill", "--backing", "tearaway:50")
    validator.validate(given)
    assert given["job"]["goods"] == "cotton-twill"
    assert given["outcome"] == given["plan"]["outcome"]
    assert code == (1 if any(one["level"] == "fault" for one in given["findings"]) else 0)
    ids = {region["id"] for region in given["regions"]}
    assert given["gaps"]
    for gap in given["gaps"]:
        assert {gap["outline"], gap["borders"]} <= ids
        assert gap["low_mm"] <= gap["high_mm"]
    roles = [layer["role"] for layer in given["stack"]["layers"]]
    assert roles == ["goods", "backing"]
    assert sum(colour["stitches"] for colour in given["design"]["colours"]) == given["design"]["stitches"]
    assert sum(one["thread_m"] for one in given["use"]["colours"]) == pytest.approx(given["use"]["thread_m"])
    assert all(colour["rgb"] is None for colour in given["design"]["colours"])  # DST holds none


def test_without_goods_the_document_is_valid_and_compares_three(
    validator: jsonschema.Draft202012Validator, capfd: pytest.CaptureFixture[str]
) -> None:
    code, given = document_of(capfd, str(SKETCH))
    validator.validate(given)
    assert code == 0
    assert given["outcome"] is None
    assert {one["goods"] for one in given["comparison"]} == {"jersey", "terry", "cotton-twill"}


def test_same_input_same_bytes(capfd: pytest.CaptureFixture[str]) -> None:
    arguments = ["check", str(SKETCH), "--goods", "jersey", "--backing", "cutaway:85", "--json"]
    printed = []
    for seed in ("3", "3", "4"):
        run([*arguments, "--seed", seed])
        printed.append(capfd.readouterr().out)
    assert printed[0] == printed[1]
    assert printed[0] != printed[2]


@pytest.mark.parametrize("arguments", [["--goods", "jersey", "--backing", "none"], ["--units", "in"]])
def test_screen_and_maps(arguments: list[str], tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(SKETCH), *arguments, "--maps", str(tmp_path / "maps")]) in (0, 1)
    out, err = capfd.readouterr()
    assert err == ""
    out, _, written = out.partition("Written:\n")
    assert written.split() == [
        "8" if "--goods" in arguments else "7",
        "cloth",
        "maps",
        "in",
        str(tmp_path / "maps"),
    ]
    assert all(len(line) <= 80 for line in out.splitlines())
    assert "\x1b" not in out
    if "--units" not in arguments:
        assert not re.search(r"\d\.\d\d", out)
    for part in ("In the file", "Regions", "Findings", "How sure"):
        assert part in out
    assert len(list((tmp_path / "maps").iterdir())) == (8 if "--goods" in arguments else 7)


def test_unknown_cloth_and_impossible_hoop_are_one_line(capfd: pytest.CaptureFixture[str]) -> None:
    for arguments, said in (
        (["--goods", "jersy"], "jersey"),
        (["--goods", "jersey", "--hoop", "0x180"], "0x180"),
        (["--goods", "jersey", "--hoop", "banana"], "banana"),
        (["--goods", "jersey", "--backing", "cardboard:85"], "cardboard"),
        (["--goods", "jersey", "--topping", "cardboard"], "cardboard"),
        (["--goods", "jersey", "--needle", "7/1"], "7/1"),
        (["--goods", "jersey", "--thread", "rope"], "rope"),
    ):
        assert run(["check", str(SKETCH), *arguments]) == 2
        out, err = capfd.readouterr()
        assert out == ""
        assert said in err
        assert err.count("\n") == 1
        assert err.startswith("prehoop: ")
        assert "inside prehoop" not in err


def test_nothing_computed_is_shown_for_a_cap(capfd: pytest.CaptureFixture[str]) -> None:
    """A curved, strapped front is no flat membrane; the same design held flat does show its movement."""
    run(["check", str(CREST), "--goods", "cap-twill", "--holding", "cap-frame", "--backing", "tearaway:50"])
    screen = capfd.readouterr().out
    assert "not computed" in screen
    assert "Gaps where" not in screen
    assert "outline-gap" not in screen
    run(["check", str(CREST), "--goods", "cap-twill", "--backing", "tearaway:50"])
    assert "Gaps where" in capfd.readouterr().out
