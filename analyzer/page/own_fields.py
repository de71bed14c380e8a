"""What a form about one's own things is made of, and how a typed number is read."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from analyzer.goods.units import g_m2_from_oz_yd2

LETTERS = 120  #: of one field
_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)")
_OUNCES = re.compile(r"(?P<number>.+?)\s*oz(/yd2|/yd\u00b2)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Field:
    """One thing to fill in, tick or choose."""

    name: str
    says: str
    kind: str = "number"  #: number, text, choice, tick
    unit: str = ""
    help: str = ""
    value: str = ""
    options: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = ()  #: family -> value, words
    error: str = ""
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """Fields that belong together; a legend only where there are several."""

    fields: tuple[Field, ...]
    legend: str = ""
    help: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """A part of a form."""

    legend: str
    rows: tuple[Row, ...]
    help: tuple[str, ...] = ()
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """A form as it is shown."""

    title: str
    groups: tuple[Group, ...]
    intro: str = ""
    error: str = ""  #: of no one field
    seen: str = ""  #: what the files held when it was made
    more: str = ""  #: words of a button that asks for more rows
    remove: str = ""  #: words of the way to remove it
    hidden: tuple[tuple[str, str], ...] = field(default=())

    @property
    def fields(self) -> tuple[Field, ...]:
        """All fields, in their order."""
        return tuple(one for group in self.groups for row in group.rows for one in row.fields)

    @property
    def wrong(self) -> tuple[Field, ...]:
        """Fields with an error."""
        return tuple(one for one in self.fields if one.error)

    def filled(self, said: Mapping[str, str], errors: Mapping[str, str], error: str = "") -> Form:
        """Return the form as it was filled in, with what is wrong beside the field that is wrong."""

        def one(held: Field) -> Field:
            return replace(held, value=said.get(held.name, ""), error=errors.get(held.name, ""))

        known = {held.name for held in self.fields}
        rest = [text for name, text in errors.items() if name not in known]
        groups = []
        for group in self.groups:
            rows = tuple(replace(row, fields=tuple(one(held) for held in row.fields)) for row in group.rows)
            used = any(held.value or held.error for row in rows for held in row.fields)
            groups.append(replace(group, rows=rows, folded=group.folded and not used))
        return replace(self, groups=tuple(groups), error=error or "; ".join(rest))


class Wrong(Exception):
    """Something in a form is wrong: words for each field."""

    def __init__(self, errors: Mapping[str, str]) -> None:
        super().__init__("; ".join(errors.values()))
        self.errors = dict(errors)


def number_of(text: str, *, weight: bool = False) -> float:
    """Return a typed number; a comma serves as a point, and a weight may be given in oz/yd2.

    Raises:
        ValueError: it is no number; the message is fit to be shown.

    """
    plain = text.strip()
    ounces = _OUNCES.fullmatch(plain) if weight else None
    plain = (
        ounces["number"] if ounces else re.sub(r"\s*(g/m2|g/m\u00b2|gsm)$", "", plain) if weight else plain
    )
    if not _NUMBER.fullmatch(plain) or not math.isfinite(value := float(plain.replace(",", "."))):
        raise ValueError("give a number, for example 180" + (" or 5.3 oz" if weight else ""))
    return round(g_m2_from_oz_yd2(value), 1) if ounces else value


def shown(value: Any) -> str:
    """Return a value of a file as it stands in a field."""
    if isinstance(value, bool) or value is None:
        return ""
    if isinstance(value, int | float):
        return f"{value:.10g}"
    return str(value)


def plain(value: float) -> int | float:
    """Return a number as one would write it: whole ones without a point."""
    return int(value) if value == int(value) and abs(value) < 1e15 else value


def grouped(items: Iterable[tuple[str, str, str]]) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Return options (family, value, words) by family, in their order."""
    families: dict[str, list[tuple[str, str]]] = {}
    for family, value, says in items:
        families.setdefault(family, []).append((value, says))
    return tuple((family, tuple(options)) for family, options in families.items())
