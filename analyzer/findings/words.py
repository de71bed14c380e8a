"""Lengths and chances in the words that people read."""

from __future__ import annotations

from analyzer.goods.constants import constants


def millimetres(length_mm: float) -> str:
    """Return a length to 0.1 mm, as predictions are shown: ``0.4 mm``."""
    text = f"{length_mm:.1f}"
    return f"{'0.0' if text == '-0.0' else text} mm"


def chance_words(chance: float) -> str:
    """Return a chance in words: unlikely, about even, likely; coarse, as the spreads are estimates."""
    bounds = constants("limits")
    if chance < bounds["even_from"].value:
        return "unlikely"
    return "about even" if chance < bounds["likely_from"].value else "likely"


def count_of(number: int, one: str, many: str) -> str:
    """Return ``1 hole`` or ``3 holes``."""
    return f"{number} {one if number == 1 else many}"
