"""The user's own goods and backings: entries of a TOML text, made complete from the standard tables.

An entry names what it is like and gives what is known better::

    [goods.crew-polo]
    like = "pique"
    weight_g_m2 = 205                                            # by weight alone, or also
    along = { strip_mm = 50, gauge_mm = 200, load_g = 100, extension_mm = 14 }     # by a stretch test, or
    e1_kn_per_m = [0.3, 0.4, 0.5]                                # by measured values

    [backings.shop-cutaway]
    like = "cutaway"
    weights_g_m2 = [75]

What is not given is taken over from the cloth or backing that it is like, with its range and source. A plain
number where a quantity is wanted gets the range of ``own_range`` about it.
"""

from __future__ import annotations

import dataclasses
import difflib
import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, TypeVar, get_args, get_type_hints

from analyzer.errors import BadTable
from analyzer.goods.constants import as_value, constants, parse, read_table
from analyzer.goods.entries import Entry, as_backing, as_cloth, usual_working_factor
from analyzer.goods.lines import place
from analyzer.goods.stretch import StretchTest, hardened, stiffness, stretch_test
from analyzer.goods.tables import Tables, standard
from analyzer.goods.types import Backing, Cloth, Value
from analyzer.job import OwnMaterials

_Item = TypeVar("_Item", Cloth, Backing)
#: The tables of a user's file, with the standard table that each adds to.
OWN_TABLES: Mapping[str, str] = {"goods": "cloths", "backings": "backings"}
_TESTS = ("along", "across")  #: strips cut along direction 1 and 2


@cache
def tables_of(own: tuple[OwnMaterials, ...]) -> Tables:
    """Return the standard tables with the user's own entries.

    Raises:
        BadTable: an entry breaks a rule; the message names file, line and key.
    """
    tables = standard()
    for materials in own:
        read = parse(materials.text, materials.source)
        cloths = _entries(materials, read, "goods", Cloth, _cloth)
        backings = _entries(materials, read, "backings", Backing, _backing)
        likes = {kind: read["backings"][kind]["like"] for kind in backings}
        tables = dataclasses.replace(
            tables,
            backings={**tables.backings, **backings},
            cloths={name: _offered(item, likes) for name, item in {**tables.cloths, **cloths}.items()},
        )
    return tables


def _offered(cloth: Cloth, likes: Mapping[str, str]) -> Cloth:
    """Return a cloth behind which the user's backings are put wherever what they are like would be."""
    more = [kind for kind, like in likes.items() if like in cloth.backings and kind not in cloth.backings]
    return dataclasses.replace(cloth, backings=(*cloth.backings, *more)) if more else cloth


def _entries(
    materials: OwnMaterials,
    read: Mapping[str, Any],
    table: str,
    kind: type[_Item],
    make: Callable[[str, dict[str, Any], _Own], _Item],
) -> dict[str, _Item]:
    """Return the user's items of one table."""
    standing = {"goods": standard().cloths, "backings": standard().backings}[table]
    given = read.get(table, {})
    if not isinstance(given, Mapping):
        raise BadTable(
            f"{place(materials.source, materials.text, (table,))}: write entries as [{table}.NAME]"
        )
    items: dict[str, _Item] = {}
    for name, raw in given.items():
        own = _Own(materials, table, name)
        if name in standing:
            raise BadTable(f"{own.at()}: '{name}' is a name of the standard table: choose another")
        if name != name.strip().lower() or not name:
            raise BadTable(
                f"{own.at()}: write the name in small letters, for example {name.strip().lower() or 'x'}"
            )
        if not isinstance(raw, Mapping):
            raise BadTable(f"{own.at()}: write the entry as [{table}.{name}]")
        items[name] = make(name, _complete(raw, own, kind), own)
    return items


@dataclasses.dataclass(frozen=True, slots=True)
class _Own:
    """Where one entry of the user's stands."""

    materials: OwnMaterials
    table: str
    name: str

    def at(self, *keys: str) -> str:
        """Return "FILE, line N: [table.name], key" for messages."""
        path = (self.table, self.name, *keys)
        where = place(self.materials.source, self.materials.text, path)
        return ", ".join([f"{where}: [{self.table}.{self.name}]", *keys])

    def value(self, key: str, raw: Mapping[str, Any]) -> Value:
        """Return a quantity of this entry."""
        return as_value(self.at(key), raw)

    def entry(self, raw: Mapping[str, Any]) -> Entry:
        return Entry(self.at(), raw, locate=self.at)


def _complete(raw: Mapping[str, Any], own: _Own, kind: type) -> dict[str, Any]:
    """Return an entry with everything that it does not give taken over from what it is like."""
    like = raw.get("like")
    table = _standard(OWN_TABLES[own.table])
    if not isinstance(like, str) or like not in table or like == "none":
        names = [name for name in table if name != "none"]
        near = difflib.get_close_matches(str(like), names, n=1, cutoff=0.5)
        advice = f"did you mean {near[0]}?" if near else f"one of {', '.join(names)}"
        raise BadTable(f"{own.at('like')}: say what it is like: {advice}")
    quantities = {
        name for name, hint in get_type_hints(kind).items() if hint is Value or Value in get_args(hint)
    }
    base = {
        key: _described(value, table[like]) if key in quantities else value
        for key, value in table[like].items()
    }
    given = {
        key: _quantity(own, key, value, raw) if key in quantities else value
        for key, value in raw.items()
        if key not in ("like", "known", "source", "at_load_n_per_m")
    }
    base["title"] = f"{own.name} (like {like})"
    return {
        **base,
        **given,
        "known": raw.get("known", "measured"),
        "source": raw.get("source", "the user's own"),
    }


@cache
def _standard(table: str) -> Mapping[str, Any]:
    """Return a standard table as it is written; no one changes it."""
    return read_table(table)


def _described(value: Any, entry: Mapping[str, Any]) -> Any:
    """Return a quantity of the standard table with the range, known and source that it has there."""
    if isinstance(value, list):
        low, middle, high = value
        return {"low": low, "value": middle, "high": high, "known": entry["known"], "source": entry["source"]}
    return value


def _quantity(own: _Own, key: str, value: Any, raw: Mapping[str, Any]) -> Any:
    """Return a quantity as the user gave it: a number, [low, value, high], or a table."""
    about = {"known": raw.get("known", "measured"), "source": raw.get("source", "the user's own")}
    if isinstance(value, bool) or not isinstance(value, int | float | list | Mapping):
        raise BadTable(f"{own.at(key)}: give a number or [low, value, high]")
    if isinstance(value, list):
        if len(value) != 3:
            raise BadTable(f"{own.at(key)}: give a number or [low, value, high]")
        return dict(zip(("low", "value", "high"), value, strict=True)) | about
    if isinstance(value, Mapping):
        return about | dict(value)
    if value <= 0:
        raise BadTable(f"{own.at(key)}: must be positive, not {value:g}")
    reach = 1.0 + constants("own")["own_range"].value
    return {"low": value / reach, "value": value, "high": value * reach} | about


def _scaled(quantity: Mapping[str, Any], factor: float, why: str) -> dict[str, Any]:
    """Return a quantity of the standard table times a factor, with the reason in its source."""
    numbers = {key: quantity[key] * factor for key in ("low", "value", "high")}
    return {**numbers, "known": "guess", "source": f"{quantity['source']}; {why}"}


def _tests(raw: dict[str, Any], own: _Own) -> dict[str, StretchTest]:
    """Take the stretch tests out of an entry."""
    return {
        name: stretch_test(Entry(own.at(name), raw.pop(name), locate=lambda key, n=name: own.at(n, key)))  # type: ignore[misc]
        for name in _TESTS
        if name in raw
    }


def _cloth(name: str, raw: dict[str, Any], own: _Own) -> Cloth:
    """Build a cloth of the user's.

    By weight alone, a cloth of the same class: tensile and shear stiffness and thickness go with weight,
    bending with its cube (same material and density; derived). A stretch test replaces a direction's
    stiffness; the other direction and shear move with it (with the geometric mean of both; assumed).
    """
    parsed = parse(own.materials.text, own.materials.source)[own.table][name]
    like = _standard("cloths")[parsed["like"]]
    tests = _tests(raw, own)
    at_load = _load(parsed, tests, own)
    heavier = raw["weight_g_m2"]["value"] / like["weight_g_m2"][1] if "weight_g_m2" in parsed else 1.0
    growth = {"e1_kn_per_m": 1, "e2_kn_per_m": 1, "shear_n_per_m": 1, "bending_unm": 3}
    if "pile_mm" not in raw:
        growth["thickness_mm"] = 1
    for key, power in growth.items():
        if key not in parsed and heavier != 1.0:
            raw[key] = _scaled(raw[key], heavier**power, f"scaled to {raw['weight_g_m2']['value']:g} g/m2")
    if tests:
        _take_tests(raw, tests, parsed, own)
    if at_load is not None:
        own_factor = raw.get("working_factor")
        whole = (
            usual_working_factor(raw["family"])
            if own_factor is None
            else own.value("working_factor", own_factor)
        )
        raw["working_factor"] = hardened(whole, at_load)
    entry = own.entry(raw)
    cloth = as_cloth(name, entry)
    entry.done()
    return cloth


def _load(parsed: Mapping[str, Any], tests: Mapping[str, StretchTest], own: _Own) -> float | None:
    """Return the load in N/m that the given stiffness holds for; None: the low load of the tables."""
    if "at_load_n_per_m" in parsed:
        return own.entry(parsed).number("at_load_n_per_m")
    if not tests:
        return None
    return math.exp(sum(math.log(test.load_n_per_m) for test in tests.values()) / len(tests))


def _take_tests(
    raw: dict[str, Any], tests: Mapping[str, StretchTest], parsed: Mapping[str, Any], own: _Own
) -> None:
    """Put what stretch tests tell into a cloth's entry."""
    keys = {"along": "e1_kn_per_m", "across": "e2_kn_per_m"}
    ratios = []
    for name, test in tests.items():
        if keys[name] in parsed:
            raise BadTable(f"{own.at(name)}: give either the stretch test or {keys[name]}, not both")
        told = stiffness(test)
        ratios.append(told["value"] / raw[keys[name]]["value"])
        raw[keys[name]] = told
    mean = float(ratios[0] if len(ratios) == 1 else (ratios[0] * ratios[1]) ** 0.5)
    untested = [keys[name] for name in _TESTS if name not in tests] + ["shear_n_per_m"]
    for key in untested:
        if key not in parsed:
            raw[key] = _scaled(raw[key], mean, "moved with the stretch test")


def _backing(kind: str, raw: dict[str, Any], own: _Own) -> Backing:
    """Build a backing of the user's; a stretch test of one weight gives its specific stiffness."""
    tests = _tests(raw, own)
    if tests:
        weights = raw["weights_g_m2"]
        if not isinstance(weights, list) or len(weights) != 1:
            raise BadTable(f"{own.at('weights_g_m2')}: a stretch test needs the one weight that was tested")
        told = [stiffness(test) for test in tests.values()]
        value, low, high = (
            float((told[0][key] * told[-1][key]) ** 0.5) / weights[0] for key in ("value", "low", "high")
        )
        raw["stiffness_knm_per_g"] = {**told[0], "value": value, "low": low, "high": high}
        if len(tests) == 2:
            along, across = (stiffness(tests[name]) for name in _TESTS)
            reach = constants("own")["own_range"].value + 1.0
            ratio = along["value"] / across["value"]
            raw["direction_ratio"] = {**along, "value": ratio, "low": ratio / reach, "high": ratio * reach}
    entry = own.entry(raw)
    backing = as_backing(kind, entry)
    entry.done()
    return backing
