"""Single values of an order, from TOML (typed) or CSV (all text), checked one by one."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from analyzer.errors import BadOrder

_BAR = "|"  #: parts the entries of a list in a cell of CSV


@dataclass(frozen=True, slots=True)
class Given:
    """A table of values, and how to say that one of them is wrong."""

    table: Mapping[str, Any]
    wrong: Callable[[str, str], BadOrder]  #: message, key -> the error
    from_text: bool = False

    def __contains__(self, key: str) -> bool:
        return key in self.table


def text(given: Given, key: str, example: str) -> str:
    """Return a text that must be there."""
    value = given.table.get(key)
    if not isinstance(value, str) or not value.strip():
        raise given.wrong(f'{key} is missing; write for example {key} = "{example}"', key)
    return value.strip()


def maybe_text(given: Given, key: str) -> str | None:
    """Return a text that may be missing."""
    value = given.table.get(key)
    if value is None:
        return None
    if isinstance(value, bool | Mapping | list):
        raise given.wrong(f"{key} must be a text, not {value!r}", key)
    return str(value).strip() or None


def texts(given: Given, key: str) -> tuple[str, ...]:
    """Return a list of texts; a single text is a list of one."""
    value = given.table.get(key, [])
    if isinstance(value, str):
        value = value.split(_BAR) if given.from_text else [value]
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise given.wrong(f'{key} must be a list of texts such as ["one", "two"]', key)
    return tuple(one.strip() for one in value)


def number(given: Given, key: str, *, zero: bool = False) -> float | None:
    """Return a number above zero (or from zero on) that may be missing."""
    if key not in given:
        return None
    value = given.table[key]
    if given.from_text:
        try:
            value = float(str(value).replace(",", "."))
        except ValueError:
            value = None
    fits = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not fits or value < 0 or (value == 0 and not zero):
        least = "of 0 or more" if zero else "above zero"
        raise given.wrong(f"{key} must be a number {least}, not {given.table[key]!r}", key)
    return float(value)


def whole(given: Given, key: str, *, least: int, most: int = 1_000_000) -> int | None:
    """Return a whole number that may be missing."""
    value = number(given, key, zero=True)
    if value is None:
        return None
    if value != int(value) or not least <= value <= most:
        raise given.wrong(
            f"{key} must be a whole number from {least:,} to {most:,}, not {given.table[key]!r}", key
        )
    return int(value)


def money(given: Given, key: str) -> Decimal | None:
    """Return an amount of money, exactly as written; it may be missing."""
    if key not in given:
        return None
    value = given.table[key]
    if isinstance(value, bool):
        value = None
    said = str(value).strip()
    if given.from_text:
        said = said.replace(",", ".")
    try:
        amount = Decimal(said)
    except InvalidOperation:
        amount = Decimal("NaN")
    if not amount.is_finite() or amount < 0:
        raise given.wrong(f"{key} must be an amount such as 12.50, not {given.table[key]!r}", key)
    return amount


def counts(given: Given, key: str) -> tuple[tuple[str, int], ...]:
    """Return how many of each size: ``{ S = 2, M = 4 }``, or ``S=2|M=4`` in CSV."""
    value = given.table.get(key, {})
    if given.from_text and isinstance(value, str):
        pairs = [part.partition("=") for part in value.split(_BAR)]
        value = {name.strip(): count.strip() for name, _, count in pairs}
    if not isinstance(value, Mapping):
        raise given.wrong(f"{key} must be written as {{ S = 2, M = 4 }}", key)
    found = []
    for name, count in value.items():
        try:
            amount = int(str(count))
        except ValueError:
            amount = -1
        if isinstance(count, bool | float) or amount < 0:
            raise given.wrong(f"{key}: how many of size {name!r} must be a whole number, not {count!r}", key)
        if amount:
            found.append((str(name), amount))
    return tuple(found)
