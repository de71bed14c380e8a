"""One entry of a materials table, checked while it is read: cloth, backing, topping, thread, needle, hoop.

A quantity is ``[low, value, high]``, which carries the ``known`` and ``source`` of its entry, or a table of
its own with ``low``, ``value``, ``high``, ``known``, ``source``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from itertools import pairwise
from typing import Any, TypeVar, cast, get_args, get_type_hints

from analyzer.choices import BACKS, CARES
from analyzer.errors import BadTable
from analyzer.goods.constants import as_value, constants
from analyzer.goods.types import Backing, Cloth, Hoop, Needle, ThreadType, Topping, Value

Item = TypeVar("Item")

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


class Entry:
    """One entry of a table while it is read; remembers which keys were asked for.

    ``locate`` gives the words that a message puts before a key ("cloths.toml, jersey, weight_g_m2").
    """

    def __init__(self, where: str, raw: Any, locate: Callable[[str], str] | None = None) -> None:
        if not isinstance(raw, Mapping):
            raise BadTable(f"{where}: an entry must be a table of its own")
        self.where = where
        self._raw = raw
        self._locate = locate
        self._left = set(raw) - {"known", "source"}

    def at(self, key: str) -> str:
        """Return where a key stands, for messages."""
        return f"{self.where}, {key}" if self._locate is None else self._locate(key)

    def has(self, key: str) -> bool:
        """Say whether a key is given."""
        return key in self._raw

    def get(self, key: str) -> Any:
        """Return what stands at a key."""
        if key not in self._raw:
            raise BadTable(f"{self.where}: the key '{key}' is missing")
        self._left.discard(key)
        return self._raw[key]

    def quantity(self, key: str, *, positive: bool = True) -> Value:
        """Return a Value; ``positive`` refuses a nominal value of zero or less, and any negative limit."""
        raw = self.get(key)
        if isinstance(raw, list):
            if len(raw) != 3:
                raise BadTable(f"{self.at(key)}: give [low, value, high]")
            raw = dict(zip(("low", "value", "high"), raw, strict=True))
            raw |= {"known": self.get("known"), "source": self.get("source")}
        value = as_value(self.at(key), raw)
        if value.low < 0 or (positive and value.value <= 0):
            raise BadTable(f"{self.at(key)}: must be positive, not {value.value:g} (low {value.low:g})")
        return value

    def text(self, key: str) -> str:
        """Return a text that is not empty."""
        raw = self.get(key)
        if not isinstance(raw, str) or not raw.strip():
            raise BadTable(f"{self.at(key)}: must be a text that is not empty")
        return raw

    def word(self, key: str, allowed: tuple[str, ...]) -> Any:
        """Return one of the words allowed."""
        raw = self.text(key)
        if raw not in allowed:
            raise BadTable(f"{self.at(key)}: '{raw}' is none of {', '.join(allowed)}")
        return raw

    def flag(self, key: str) -> bool:
        """Return true or false."""
        raw = self.get(key)
        if not isinstance(raw, bool):
            raise BadTable(f"{self.at(key)}: must be true or false")
        return raw

    def number(self, key: str) -> float:
        """Return a positive number."""
        raw = self.get(key)
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 < raw < float("inf"):
            raise BadTable(f"{self.at(key)}: must be a positive number")
        return float(raw)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return texts of which none comes twice."""
        raw = self.get(key)
        if not isinstance(raw, list) or not all(isinstance(item, str) for item in raw):
            raise BadTable(f"{self.at(key)}: must be a list of texts")
        if len(set(raw)) != len(raw):
            raise BadTable(f"{self.at(key)}: names something twice")
        return tuple(raw)

    def done(self) -> None:
        """Refuse keys that no one asked for."""
        if self._left:
            key = min(self._left)
            raise BadTable(f"{self.at(key)}: unknown key '{key}'")


@cache
def _words(kind: type, field: str) -> tuple[str, ...]:
    """Return the words that a Literal field of a dataclass allows."""
    return cast("tuple[str, ...]", get_args(get_type_hints(kind)[field]))


def usual_working_factor(family: str) -> Value:
    """Return a family's stiffness under the load of stitching over that at the low load of the tables."""
    return constants("mechanics")[_WORKING[family]]


def as_cloth(name: str, entry: Entry) -> Cloth:
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
            entry.quantity("working_factor") if entry.has("working_factor") else usual_working_factor(family)
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
        shrink_percent=entry.quantity("shrink_percent", positive=False),
        patches=entry.flag("patches") if entry.has("patches") else False,
        tips=entry.texts("tips") if entry.has("tips") else (),
    )


def as_backing(kind: str, entry: Entry) -> Backing:
    """Build a backing; its usual weights must ascend."""
    weights = entry.get("weights_g_m2")
    if not isinstance(weights, list) or not weights or not all(isinstance(w, int | float) for w in weights):
        raise BadTable(f"{entry.at('weights_g_m2')}: must be a list of numbers")
    if weights[0] <= 0 or any(a >= b for a, b in pairwise(weights)):
        raise BadTable(f"{entry.at('weights_g_m2')}: must be positive and ascend")
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
        relative_cost=entry.quantity("relative_cost"),
        attach=entry.word("attach", _words(Backing, "attach")),
    )


def as_topping(name: str, entry: Entry) -> Topping:
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


def as_thread(name: str, entry: Entry) -> ThreadType:
    """Build a thread."""
    return ThreadType(
        name=name,
        title=entry.text("title"),
        material=entry.text("material"),
        tex=entry.quantity("tex"),
        laid_width_mm=entry.quantity("laid_width_mm"),
        axial_stiffness_n=entry.quantity("axial_stiffness_n"),
        needle=entry.text("needle"),
        shrink_percent=entry.quantity("shrink_percent", positive=False),
        usual=entry.flag("usual"),
    )


def as_needle(name: str, entry: Entry) -> Needle:
    """Build a needle."""
    blade = entry.quantity("blade_mm")
    return Needle(name=name, title=entry.text("title"), blade_mm=blade, points=entry.texts("points"))


def as_hoop(name: str, entry: Entry) -> Hoop:
    """Build a hoop."""
    width, height = entry.number("width_mm"), entry.number("height_mm")
    shape = entry.word("shape", _words(Hoop, "shape"))
    cap = entry.flag("cap") if entry.has("cap") else False
    return Hoop(name, width, height, shape, entry.text("source"), cap)


def build(table: Mapping[str, Any], make: Callable[[str, Entry], Item], where: str) -> Mapping[str, Item]:
    """Turn a TOML table into items by name.

    Args:
        table: the table as read.
        make: one of the ``as_...`` functions of this module.
        where: the file's name, for messages.

    Raises:
        BadTable: an entry breaks a rule; the message names file, entry and key.
    """
    items: dict[str, Item] = {}
    for name, raw in table.items():
        entry = Entry(f"{where}, {name}", raw)
        items[name] = make(name, entry)
        entry.done()
    if not items:
        raise BadTable(f"{where}: holds no entry")
    return items
