"""Constants of a room, as data: one TOML file for each room, every value with its range and source."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from analyzer.errors import BadTable
from analyzer.goods.types import Value

_KNOWN = ("measured", "related", "guess")


def read_table(name: str) -> dict[str, Any]:
    """Return the TOML table ``data/NAME.toml`` as it stands.

    Raises:
        BadTable: there is no such file, or it is no TOML.
    """
    try:
        text = files("analyzer.goods").joinpath("data", f"{name}.toml").read_text(encoding="utf-8")
    except FileNotFoundError:
        raise BadTable(f"{name}.toml: there is no such table") from None
    return parse(text, f"{name}.toml")


def parse(text: str, where: str) -> dict[str, Any]:
    """Return TOML as a table; ``where`` names it in messages.

    Raises:
        BadTable: it is no TOML, which includes a name given twice.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadTable(f"{where}: not a TOML table: {error}") from None


def as_value(where: str, entry: Mapping[str, Any]) -> Value:
    """Turn a TOML entry into a :class:`Value`.

    Raises:
        BadTable: a key is missing, ``known`` is none of the three words, or low <= value <= high does not
            hold.
    """
    if not isinstance(entry, Mapping):
        raise BadTable(f"{where}: give value, low, high, known and source as a table")
    try:
        value, low, high = (float(entry[key]) for key in ("value", "low", "high"))
        known, source = entry["known"], str(entry["source"])
    except KeyError as missing:
        raise BadTable(
            f"{where}: the key {missing} is missing; give value, low, high, known, source"
        ) from None
    except (TypeError, ValueError):
        raise BadTable(f"{where}: value, low and high must be numbers") from None
    if known not in _KNOWN:
        raise BadTable(f"{where}: known is '{known}'; it must be one of {', '.join(_KNOWN)}")
    if not low <= value <= high or not math.isfinite(high - low):
        raise BadTable(f"{where}: low <= value <= high does not hold for {low:g}, {value:g}, {high:g}")
    if not source.strip():
        raise BadTable(f"{where}: name the source")
    return Value(value=value, low=low, high=high, known=known, source=source)


@cache
def constants(room: str) -> Mapping[str, Value]:
    """Return the constants of ``data/ROOM.toml`` by name (value, low, high, known, source, about)."""
    table = read_table(room)
    return MappingProxyType({name: as_value(f"{room}.toml, {name}", entry) for name, entry in table.items()})
