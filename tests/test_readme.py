"""The README shows what the tool really prints, and its commands are the ones that CI runs."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from analyzer.commands.entry import run

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
NUMBER = re.compile(r"[+-]?\d[\d,]*(?:\.\d+)?")


def block(name: str) -> str:
    """The fenced block that follows the marker ``<!-- name -->``."""
    found = re.search(rf"<!-- {name} -->\n```\w+\n(.*?)\n```", README, re.DOTALL)
    assert found, f"README has no block {name}"
    return found.group(1)


def words_and_numbers(text: str) -> tuple[list[str], list[float]]:
    text = " ".join(text.split())
    return NUMBER.sub("#", text).split(), [float(n.replace(",", "")) for n in NUMBER.findall(text)]


def agree(shown: str, printed: str) -> bool:
    """The same words, and numbers within one in their last shown digit, where library versions may differ."""
    (said, numbers), (real, values) = words_and_numbers(shown), words_and_numbers(printed)
    return said == real and all(
        abs(a - b) <= 0.11 + 0.02 * abs(b) for a, b in zip(numbers, values, strict=True)
    )


def test_the_output_shown_is_what_is_printed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    _, _, command = block("check").rpartition("prehoop ")
    assert run(shlex.split(command)) == 0
    printed = capsys.readouterr().out
    start, rest = block("output").split("\n\n…\n\n")
    tail = printed[printed.index(rest.splitlines()[0]) :]
    head = printed[: printed.index("Regions, in sewing order")]
    assert agree(start, head), f"write it anew:\n{head}"
    assert agree(rest, tail), f"write it anew:\n{tail}"


def test_the_comparison_can_fail() -> None:
    """Negative control: a changed word and a changed number are both seen."""
    shown = block("output")
    assert agree(shown, shown)
    assert not agree(shown, shown.replace("SAMPLE FIRST", "HOOP IT"))
    assert not agree(shown, shown.replace("40.2 x", "41.9 x"))


def test_both_commands_install_and_run_from_a_clone() -> None:
    for name in ("check", "tests"):
        assert len(block(name).splitlines()) == 1
        assert block(name).startswith("python3 -m venv .venv && .venv/bin/pip install -q ")


def test_the_first_paragraph_is_the_job() -> None:
    assert README.startswith("# prehoop\n\nYou ")
    assert README.index("## ") > README.index("<!-- tests -->")


@pytest.mark.parametrize("path", re.findall(r"\]\(([^)#:]+)\)", README))
def test_links_lead_somewhere(path: str) -> None:
    assert (ROOT / path).exists()
