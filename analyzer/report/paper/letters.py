"""Text on its way onto paper: nothing that a file or a person writes may vanish or break a line."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

import matplotlib
from fontTools.ttLib import TTFont

from analyzer.report.numbers import sound_text

_FOLDER = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
#: style -> file, as matplotlib ships it (DejaVu: Latin, Greek, Cyrillic, Hebrew, Arabic and more)
FONTS = {"": _FOLDER / "DejaVuSans.ttf", "B": _FOLDER / "DejaVuSans-Bold.ttf"}
LACKING = "Characters that the print font lacks stand as their numbers, [U+…]."


@cache
def _drawn() -> frozenset[int]:
    """Return the characters that every style of the font can draw."""
    held: list[set[int]] = []
    for file in FONTS.values():
        with TTFont(file, lazy=True) as font:
            held.append(set(font.getBestCmap()))
    return frozenset.intersection(*map(frozenset, held))


def printable(text: str) -> str:
    """Return ``text`` as it can be printed: line breaks as blanks, controls and missing letters as numbers.

    Marks that turn the direction of what follows (they could make a name read as another) are shown as
    numbers too. Letters are composed (NFC), since the font holds composed letters.
    """
    composed = unicodedata.normalize("NFC", sound_text(text))
    return "".join(map(_shown, " ".join(composed.split())))


def _shown(mark: str) -> str:
    if ord(mark) in _drawn() and unicodedata.category(mark) not in ("Cc", "Cf", "Cs", "Co", "Cn"):
        return mark
    return f"[U+{ord(mark):04X}]"


def lacks(text: str) -> bool:
    """Say whether some of ``text`` is printed as numbers."""
    return "[U+" in printable(text) and "[U+" not in text


def spelled(text: str) -> str:
    """Return a name letter by letter, so that an odd space or a look-alike letter can be seen."""
    return " ".join("␣" if mark == " " else mark for mark in printable(text))
