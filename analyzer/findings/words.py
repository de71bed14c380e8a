"""Lengths and chances in the words that people read."""

from __future__ import annotations

from analyzer.goods.constants import constants


def millimetres(length_mm: float) -> str:
    """Return a length to 0.1 mm, as predictions are shown: ``0.4 mm``."""
    text = f"{length_mm:.1f}"
    return f"{'0.0' if text == '-0.0' else text} mm"


def chance_words(chance: float) -> str:
    """Return a chance in words, from very unlikely to very likely; coarse, as the spreads are estimates."""
    bounds = constants("limits")
    steps = ("unlikely_from", "even_from", "likely_from", "very_likely_from")
    words = ("very unlikely", "unlikely", "about even", "likely", "very likely")
    return words[sum(chance >= bounds[step].value for step in steps)]


def count_of(number: int, one: str, many: str) -> str:
    """Return ``1 hole`` or ``3 holes``."""
    return f"{number} {one if number == 1 else many}"
