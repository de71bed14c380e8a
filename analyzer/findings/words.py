"""Lengths and chances in the words that people read."""

from __future__ import annotations


def millimetres(length_mm: float) -> str:
    """Return a length to 0.1 mm, as predictions are shown: ``0.4 mm``."""
    text = f"{length_mm:.1f}"
    return f"{'0.0' if text == '-0.0' else text} mm"


def chance_words(chance: float) -> str:
    """Return a chance in words, coarse on purpose: the spreads behind it are estimates.

    Up to a third it is unlikely, up to two thirds about even, above that likely.
    """
    if chance < 1 / 3:
        return "unlikely"
    return "about even" if chance <= 2 / 3 else "likely"


def count_of(number: int, one: str, many: str) -> str:
    """Return ``1 hole`` or ``3 holes``."""
    return f"{number} {one if number == 1 else many}"
