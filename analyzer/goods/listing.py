"""The tables as lists: rows of text for people, records of plain data for other programs."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any

from analyzer.errors import UnknownName
from analyzer.goods.stack import worst_known
from analyzer.goods.tables import Tables, standard
from analyzer.goods.types import Backing, Cloth, Hoop, Known, Needle, ThreadType, Topping, Value
from analyzer.goods.units import oz_yd2_from_g_m2

_Items = Mapping[str, Any]
_FIELDS = {"goods": "cloths"}  # the others bear their table's name
#: The tables that can be listed.
TABLES = ("goods", "backings", "toppings", "threads", "needles", "hoops")

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "goods": (
        "name",
        "what it is",
        "weight g/m2",
        "oz/yd2",
        "thickness mm",
        "stiffness along kN/m",
        "across kN/m",
        "shear N/m",
        "bending uN.m",
        "pile mm",
        "shrinks %",
        "usual backings",
    ),
    "backings": (
        "kind",
        "what it is",
        "usual weights g/m2",
        "oz/yd2",
        "stiffness kN.m/g",
        "machine:cross",
        "perforation mm2",
        "held",
        "afterwards",
    ),
    "toppings": ("name", "what it is", "g/m2", "thickness mm", "stiffness kN/m", "afterwards"),
    "threads": ("name", "what it is", "tex", "laid width mm", "axial stiffness N", "needle"),
    "needles": ("name", "blade mm", "points"),
    "hoops": ("name", "sewing field mm", "shape"),
}


def rows(
    table_name: str, tables: Tables | None = None
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return headers and rows of a table.

    A quantity reads ``value (low-high)``; the last two columns say how well the least known quantity of the
    row is known (shrinkage, all guesses, left out), and name every source. What has no measured quantity
    (hoops) counts as a guess. ``tables``: the standard ones where none are given.

    Raises:
        UnknownName: the table is none of ``TABLES``.
    """
    items = _items(table_name, tables)
    body = tuple((*_cells(item), _known(item), "; ".join(_sources(item))) for item in items.values())
    return (*_COLUMNS[table_name], "known", "source"), body


def records(table_name: str, tables: Tables | None = None) -> list[dict[str, Any]]:
    """Return a table as plain data: every field by name, quantities as {value, low, high, known, source}.

    Raises:
        UnknownName: the table is none of ``TABLES``.
    """
    return [dataclasses.asdict(item) for item in _items(table_name, tables).values()]


def quantities(item: Any) -> Iterator[tuple[str, Value]]:
    """Yield the quantities of an item by field name."""
    for field in dataclasses.fields(item):
        value = getattr(item, field.name)
        if isinstance(value, Value):
            yield field.name, value


def _items(table_name: str, tables: Tables | None) -> _Items:
    if table_name not in TABLES:
        raise UnknownName(table_name, TABLES)
    items: _Items = getattr(tables or standard(), _FIELDS.get(table_name, table_name))
    return items


def _sources(item: Any) -> dict[str, None]:
    """Return every source of an item, each once, in order."""
    named = [value.source for _, value in quantities(item)]
    named += [
        getattr(item, key) for key in ("source", "weights_source", "backings_source") if hasattr(item, key)
    ]
    return dict.fromkeys(named)


def _known(item: Any) -> Known:
    values = [value for name, value in quantities(item) if name != "shrink_percent"]
    return worst_known(values) if values else "guess"


def _range(value: Value | None) -> str:
    if value is None:
        return "-"
    if value.low == value.high:
        return f"{value.value:.4g}"
    return f"{value.value:.4g} ({value.low:.4g}-{value.high:.4g})"


def _cells(item: Any) -> tuple[str, ...]:
    """Return an item's cells in the order of its table's columns."""
    match item:
        case Cloth():
            weight = item.weight_g_m2
            return (
                item.name,
                item.title,
                _range(weight),
                f"{oz_yd2_from_g_m2(weight.value):.1f}",
                _range(item.thickness_mm),
                _range(item.e1_kn_per_m),
                _range(item.e2_kn_per_m),
                _range(item.shear_n_per_m),
                _range(item.bending_unm),
                _range(item.pile_mm),
                _range(item.shrink_percent),
                ", ".join(item.backings),
            )
        case Backing():
            return (
                item.kind,
                item.title,
                ", ".join(f"{weight:g}" for weight in item.weights_g_m2),
                ", ".join(f"{oz_yd2_from_g_m2(weight):.1f}" for weight in item.weights_g_m2),
                _range(item.stiffness_knm_per_g),
                _range(item.direction_ratio),
                _range(item.perforation_mm2),
                item.attach,
                item.removal,
            )
        case Topping():
            thickness, stiffness = _range(item.thickness_mm), _range(item.stiffness_kn_per_m)
            return item.name, item.title, f"{item.g_m2:g}", thickness, stiffness, item.removal
        case ThreadType():
            measures = (_range(item.tex), _range(item.laid_width_mm), _range(item.axial_stiffness_n))
            return (item.name, item.title, *measures, item.needle)
        case Needle():
            return item.name, _range(item.blade_mm), ", ".join(item.points)
        case Hoop():
            return item.name, f"{item.width_mm:g} x {item.height_mm:g}", item.shape
        case _:
            raise TypeError(f"no columns for {type(item).__name__}")
