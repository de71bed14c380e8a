"""The materials tables: cloths, backings, toppings, threads, needles and hoops, checked when they are read.

Each table is a TOML file under ``data``. A quantity is ``[low, value, high]``, which carries the ``known``
and ``source`` of its entry, or a table of its own with ``low``, ``value``, ``high``, ``known``, ``source``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import Any, TypeVar, cast, get_args, get_type_hints

from analyzer.errors import (
    BadTable,
    UnknownBacking,
    UnknownGoods,
    UnknownName,
    UnknownNeedle,
    UnknownThread,
    UnknownTopping,
)
from analyzer.goods.constants import as_value, constants, read_table
from analyzer.goods.types import Backing, Cloth, Hoop, Needle, ThreadType, Topping, Value
from analyzer.job import BACKS, CARES

_Item = TypeVar("_Item")

#: Which working factor of the mechanics table a family of cloth takes.
_WORKING = {
    "woven": "working_factor_woven",
    "pile-woven": "working_factor_woven",
    "nonwoven": "working_factor_woven",
    "knit": "working_factor_knit",
    "pile-knit": "working_factor_knit",
    "net": "working_factor_knit",
    "leather": "working_factor_firm",
    "coated": "working_factor_firm",
    "none": "working_factor_firm",
}


class _Entry:
    """One entry of a table while it is read; remembers which keys were asked for."""

    def __init__(self, where: str, raw: Any) -> None:
        if not isinstance(raw, Mapping):
            raise BadTable(f"{where}: an entry must be a table of its own")
        self.where = where
        self._raw = raw
        self._left = set(raw) - {"known", "source"}

    def has(self, key: str) -> bool:
        return key in self._raw

    def get(self, key: str) -> Any:
        if key not in self._raw:
            raise BadTable(f"{self.where}: the key '{key}' is missing")
        self._left.discard(key)
        return self._raw[key]

    def quantity(self, key: str, *, positive: bool = True) -> Value:
        """Return a Value; ``positive`` refuses a nominal value of zero or less, and any negative limit."""
        raw = self.get(key)
        if isinstance(raw, list):
            if len(raw) != 3:
                raise BadTable(f"{self.where}, {key}: give [low, value, high]")
            raw = dict(zip(("low", "value", "high"), raw, strict=True))
            raw |= {"known": self.get("known"), "source": self.get("source")}
        value = as_value(f"{self.where}, {key}", raw)
        if value.low < 0 or (positive and value.value <= 0):
            raise BadTable(f"{self.where}, {key}: must be positive, not {value.value:g} (low {value.low:g})")
        return value

    def text(self, key: str) -> str:
        raw = self.get(key)
        if not isinstance(raw, str) or not raw.strip():
            raise BadTable(f"{self.where}, {key}: must be a text that is not empty")
        return raw

    def word(self, key: str, allowed: tuple[str, ...]) -> Any:
        raw = self.text(key)
        if raw not in allowed:
            raise BadTable(f"{self.where}, {key}: '{raw}' is none of {', '.join(allowed)}")
        return raw

    def flag(self, key: str) -> bool:
        raw = self.get(key)
        if not isinstance(raw, bool):
            raise BadTable(f"{self.where}, {key}: must be true or false")
        return raw

    def number(self, key: str) -> float:
        raw = self.get(key)
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 < raw < float("inf"):
            raise BadTable(f"{self.where}, {key}: must be a positive number")
        return float(raw)

    def texts(self, key: str) -> tuple[str, ...]:
        raw = self.get(key)
        if not isinstance(raw, list) or not all(isinstance(item, str) for item in raw):
            raise BadTable(f"{self.where}, {key}: must be a list of texts")
        if len(set(raw)) != len(raw):
            raise BadTable(f"{self.where}, {key}: names something twice")
        return tuple(raw)

    def done(self) -> None:
        """Refuse keys that no one asked for."""
        if self._left:
            raise BadTable(f"{self.where}: unknown key '{min(self._left)}'")


def _words(kind: type, field: str) -> tuple[str, ...]:
    """Return the words that a Literal field of a dataclass allows."""
    return cast("tuple[str, ...]", get_args(get_type_hints(kind)[field]))


def as_cloth(name: str, entry: _Entry) -> Cloth:
    """Build a cloth; its stiffness must be admissible: nu12 * nu21 < 1 with nu21 = nu12 * E2 / E1."""
    family = entry.word("family", _words(Cloth, "family"))
    solid = family != "none"
    e1, e2 = (entry.quantity(f"e{i}_kn_per_m", positive=solid) for i in (1, 2))
    poisson = entry.quantity("poisson12", positive=False)
    if solid and poisson.value**2 * e2.value / e1.value >= 1.0:
        raise BadTable(f"{entry.where}: nu12 * nu21 < 1 does not hold")
    return Cloth(
        name=name,
        title=entry.text("title"),
        family=family,
        weight_g_m2=entry.quantity("weight_g_m2", positive=solid),
        thickness_mm=entry.quantity("thickness_mm", positive=solid),
        e1_kn_per_m=e1,
        e2_kn_per_m=e2,
        shear_n_per_m=entry.quantity("shear_n_per_m", positive=solid),
        poisson12=poisson,
        bending_unm=entry.quantity("bending_unm", positive=solid),
        working_factor=(
            entry.quantity("working_factor")
            if entry.has("working_factor")
            else constants("mechanics")[_WORKING[family]]
        ),
        pile_mm=entry.quantity("pile_mm") if entry.has("pile_mm") else None,
        stretchy=entry.flag("stretchy"),
        sheer=entry.flag("sheer"),
        heat=entry.word("heat", _words(Cloth, "heat")),
        water=entry.word("water", _words(Cloth, "water")),
        back=entry.word("back", BACKS),
        care=entry.word("care", CARES),
        hoopable=entry.flag("hoopable"),
        needle=entry.text("needle") if solid or entry.has("needle") else "75/11",
        backings=entry.texts("backings"),
        backings_source=entry.text("backings_source"),
    )


def as_backing(kind: str, entry: _Entry) -> Backing:
    """Build a backing; its usual weights must ascend."""
    weights = entry.get("weights_g_m2")
    if not isinstance(weights, list) or not weights or not all(isinstance(w, int | float) for w in weights):
        raise BadTable(f"{entry.where}, weights_g_m2: must be a list of numbers")
    if weights[0] <= 0 or any(a >= b for a, b in pairwise(weights)):
        raise BadTable(f"{entry.where}, weights_g_m2: must be positive and ascend")
    poisson = entry.quantity("poisson", positive=False)
    if poisson.high >= 1.0:
        raise BadTable(f"{entry.where}: nu12 * nu21 < 1 does not hold")
    return Backing(
        kind=kind,
        title=entry.text("title"),
        weights_g_m2=tuple(float(weight) for weight in weights),
        weights_source=entry.text("weights_source"),
        stiffness_knm_per_g=entry.quantity("stiffness_knm_per_g"),
        direction_ratio=entry.quantity("direction_ratio"),
        poisson=poisson,
        shear_ratio=entry.quantity("shear_ratio"),
        bending_unm=entry.quantity("bending_unm"),
        bending_at_g_m2=entry.number("bending_at_g_m2"),
        density_g_cm3=entry.quantity("density_g_cm3"),
        perforation_mm2=entry.quantity("perforation_mm2", positive=False),
        removal=entry.word("removal", _words(Backing, "removal")),
        permanent=entry.flag("permanent"),
        soft=entry.flag("soft"),
        attach=entry.word("attach", _words(Backing, "attach")),
    )


def as_topping(name: str, entry: _Entry) -> Topping:
    """Build a topping."""
    poisson = entry.quantity("poisson", positive=False)
    if poisson.high >= 1.0:
        raise BadTable(f"{entry.where}: nu12 * nu21 < 1 does not hold")
    return Topping(
        name=name,
        title=entry.text("title"),
        g_m2=entry.number("g_m2"),
        stiffness_kn_per_m=entry.quantity("stiffness_kn_per_m"),
        poisson=poisson,
        bending_unm=entry.quantity("bending_unm"),
        thickness_mm=entry.quantity("thickness_mm"),
        removal=entry.word("removal", _words(Topping, "removal")),
        perforation_mm2=entry.quantity("perforation_mm2", positive=False),
    )


def as_thread(name: str, entry: _Entry) -> ThreadType:
    """Build a thread."""
    return ThreadType(
        name=name,
        title=entry.text("title"),
        material=entry.text("material"),
        tex=entry.quantity("tex"),
        laid_width_mm=entry.quantity("laid_width_mm"),
        axial_stiffness_n=entry.quantity("axial_stiffness_n"),
        needle=entry.text("needle"),
        usual=entry.flag("usual"),
    )


def as_needle(name: str, entry: _Entry) -> Needle:
    """Build a needle."""
    blade = entry.quantity("blade_mm")
    return Needle(name=name, title=entry.text("title"), blade_mm=blade, points=entry.texts("points"))


def as_hoop(name: str, entry: _Entry) -> Hoop:
    """Build a hoop."""
    width, height = entry.number("width_mm"), entry.number("height_mm")
    shape = entry.word("shape", _words(Hoop, "shape"))
    cap = entry.flag("cap") if entry.has("cap") else False
    return Hoop(name, width, height, shape, entry.text("source"), cap)


def build(table: Mapping[str, Any], make: Callable[[str, _Entry], _Item], where: str) -> Mapping[str, _Item]:
    """Turn a TOML table into items by name.

    Args:
        table: the table as read.
        make: one of the ``as_...`` functions of this module.
        where: the file's name, for messages.

    Raises:
        BadTable: an entry breaks a rule; the message names file, entry and key.
    """
    items: dict[str, _Item] = {}
    for name, raw in table.items():
        entry = _Entry(f"{where}, {name}", raw)
        items[name] = make(name, entry)
        entry.done()
    if not items:
        raise BadTable(f"{where}: holds no entry")
    return MappingProxyType(items)


def _load(name: str, make: Callable[[str, _Entry], _Item]) -> Mapping[str, _Item]:
    return build(read_table(name), make, f"{name}.toml")


@cache
def needles() -> Mapping[str, Needle]:
    """Return the needles by name ("75/11")."""
    return _load("needles", as_needle)


@cache
def hoops() -> Mapping[str, Hoop]:
    """Return the usual sewing fields by name."""
    return _load("hoops", as_hoop)


@cache
def threads() -> Mapping[str, ThreadType]:
    """Return the threads by name; exactly one is the usual one."""
    items = _load("threads", as_thread)
    _refer("threads.toml", {name: (item.needle,) for name, item in items.items()}, needles())
    if sum(item.usual for item in items.values()) != 1:
        raise BadTable("threads.toml: exactly one thread must be the usual one")
    return items


@cache
def backings() -> Mapping[str, Backing]:
    """Return the backings by kind."""
    return _load("backings", as_backing)


@cache
def toppings() -> Mapping[str, Topping]:
    """Return the toppings by name."""
    return _load("toppings", as_topping)


@cache
def cloths() -> Mapping[str, Cloth]:
    """Return the cloths by name, with ``none`` for free-standing lace."""
    items = _load("cloths", as_cloth)
    _refer("cloths.toml", {name: (item.needle,) for name, item in items.items()}, needles())
    _refer("cloths.toml", {name: item.backings for name, item in items.items()}, backings())
    return items


def _refer(where: str, names: Mapping[str, tuple[str, ...]], table: Mapping[str, object]) -> None:
    """Check that what entries name is in the other table."""
    for entry, wanted in names.items():
        for name in wanted:
            if name not in table:
                raise BadTable(f"{where}, {entry}: '{name}' is in no table")


def _find(table: Mapping[str, _Item], name: str, error: type[UnknownName]) -> _Item:
    key = name.strip().lower()
    if key not in table:
        raise error(name.strip(), table)
    return table[key]


def cloth(name: str) -> Cloth:
    """Return a cloth by name, or raise UnknownGoods."""
    return _find(cloths(), name, UnknownGoods)


def backing(kind: str) -> Backing:
    """Return a backing by kind, or raise UnknownBacking."""
    return _find(backings(), kind, UnknownBacking)


def topping(name: str) -> Topping:
    """Return a topping by name, or raise UnknownTopping."""
    return _find(toppings(), name, UnknownTopping)


def thread(name: str) -> ThreadType:
    """Return a thread by name, or raise UnknownThread."""
    return _find(threads(), name, UnknownThread)


def needle(name: str) -> Needle:
    """Return a needle by name ("75/11") or by its metric size alone ("75"), or raise UnknownNeedle."""
    key = name.strip()
    by_size = {full.split("/")[0]: full for full in needles()}
    return _find(needles(), by_size.get(key, key), UnknownNeedle)
