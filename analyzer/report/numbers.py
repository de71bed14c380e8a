"""Numbers and texts on their way into the JSON: finite, in range, and sound Unicode."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from analyzer.errors import NotConverged


def number(where: str, value: Any) -> float:
    """Return ``value`` as a float.

    Raises:
        NotConverged: it is infinite or not a number, which no document may hold.

    """
    plain = float(value)
    if not math.isfinite(plain):
        raise NotConverged(f"{where} came out as {plain}; please report this with the design file")
    return plain


def maybe(where: str, value: Any) -> float | None:
    """Return a number that may be missing."""
    return None if value is None else number(where, value)


def numbers(where: str, values: Iterable[Any]) -> tuple[float, ...]:
    """Return numbers one after another."""
    return tuple(number(where, value) for value in values)


def point(where: str, values: Iterable[Any]) -> tuple[float, float]:
    """Return a place."""
    x, y = numbers(where, values)
    return x, y


def box(where: str, values: Iterable[Any]) -> tuple[float, float, float, float]:
    """Return a box x0, y0, x1, y1."""
    x0, y0, x1, y1 = numbers(where, values)
    return x0, y0, x1, y1


def chance(where: str, value: Any) -> float:
    """Return a chance, 0 to 1."""
    return min(1.0, max(0.0, number(where, value)))


def sound_text(text: str) -> str:
    """Return ``text`` as valid Unicode: undecodable bytes and lone surrogates become replacement marks."""
    try:
        return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    except UnicodeEncodeError:  # surrogates that no undecodable byte stands behind
        return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
