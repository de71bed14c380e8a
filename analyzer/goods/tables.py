"""The materials tables as one value: the standard ones, or those with the user's own entries laid over them.

Each standard table is a TOML file under ``data``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TypeVar

from analyzer.errors import (
    BadTable,
    UnknownBacking,
    UnknownGoods,
    UnknownName,
    UnknownNeedle,
    UnknownThread,
    UnknownTopping,
)
from analyzer.goods.constants import read_table
from analyzer.goods.entries import (
    Entry,
    as_backing,
    as_cloth,
    as_hoop,
    as_needle,
    as_thread,
    as_topping,
    build,
)
from analyzer.goods.types import Backing, Cloth, Hoop, Needle, ThreadType, Topping

_Item = TypeVar("_Item")


@dataclass(frozen=True, slots=True)
class Tables:
    """All tables of one job, each by name (plain dicts, so that they can be pickled)."""

    cloths: Mapping[str, Cloth]  #: with ``none`` for free-standing lace
    backings: Mapping[str, Backing]
    toppings: Mapping[str, Topping]
    threads: Mapping[str, ThreadType]  #: exactly one is the usual one
    needles: Mapping[str, Needle]
    hoops: Mapping[str, Hoop]

    def __post_init__(self) -> None:
        """Check that what entries name is in the other tables, and that one thread is the usual one."""
        _refer("cloth", {name: (item.needle,) for name, item in self.cloths.items()}, self.needles)
        _refer("cloth", {name: item.backings for name, item in self.cloths.items()}, self.backings)
        _refer("thread", {name: (item.needle,) for name, item in self.threads.items()}, self.needles)
        if sum(item.usual for item in self.threads.values()) != 1:
            raise BadTable("threads: exactly one thread must be the usual one")

    def cloth(self, name: str) -> Cloth:
        """Return a cloth by name, or raise UnknownGoods."""
        return _find(self.cloths, name, UnknownGoods, {one.name: one.title for one in self.cloths.values()})

    def backing(self, kind: str) -> Backing:
        """Return a backing by kind, or raise UnknownBacking."""
        return _find(self.backings, kind, UnknownBacking)

    def topping(self, name: str) -> Topping:
        """Return a topping by name, or raise UnknownTopping."""
        return _find(self.toppings, name, UnknownTopping)

    def thread(self, name: str) -> ThreadType:
        """Return a thread by name, or raise UnknownThread."""
        return _find(self.threads, name, UnknownThread)

    def usual_thread(self) -> ThreadType:
        """Return the thread that a job takes that names none."""
        return next(item for item in self.threads.values() if item.usual)

    def needle(self, name: str) -> Needle:
        """Return a needle by name ("75/11") or by its metric size alone ("75"), or raise UnknownNeedle."""
        key = name.strip()
        by_size = {full.split("/")[0]: full for full in self.needles}
        return _find(self.needles, by_size.get(key, key), UnknownNeedle)


@cache
def standard() -> Tables:
    """Return the standard tables.

    Raises:
        BadTable: an entry breaks a rule of its table; the message names file, entry and key.
    """
    return Tables(
        cloths=_load("cloths", as_cloth),
        backings=_load("backings", as_backing),
        toppings=_load("toppings", as_topping),
        threads=_load("threads", as_thread),
        needles=_load("needles", as_needle),
        hoops=_load("hoops", as_hoop),
    )


def cloths() -> Mapping[str, Cloth]:
    """Return the standard cloths by name, read-only."""
    return MappingProxyType(dict(standard().cloths))


def backings() -> Mapping[str, Backing]:
    """Return the standard backings by kind, read-only."""
    return MappingProxyType(dict(standard().backings))


def toppings() -> Mapping[str, Topping]:
    """Return the standard toppings by name, read-only."""
    return MappingProxyType(dict(standard().toppings))


def threads() -> Mapping[str, ThreadType]:
    """Return the standard threads by name, read-only."""
    return MappingProxyType(dict(standard().threads))


def needles() -> Mapping[str, Needle]:
    """Return the standard needles by name ("75/11"), read-only."""
    return MappingProxyType(dict(standard().needles))


def hoops() -> Mapping[str, Hoop]:
    """Return the usual sewing fields by name, read-only."""
    return MappingProxyType(dict(standard().hoops))


def cloth(name: str) -> Cloth:
    """Return a standard cloth by name, or raise UnknownGoods."""
    return standard().cloth(name)


def backing(kind: str) -> Backing:
    """Return a standard backing by kind, or raise UnknownBacking."""
    return standard().backing(kind)


def topping(name: str) -> Topping:
    """Return a standard topping by name, or raise UnknownTopping."""
    return standard().topping(name)


def thread(name: str) -> ThreadType:
    """Return a standard thread by name, or raise UnknownThread."""
    return standard().thread(name)


def needle(name: str) -> Needle:
    """Return a standard needle by name ("75/11") or metric size ("75"), or raise UnknownNeedle."""
    return standard().needle(name)


def _load(name: str, make: Callable[[str, Entry], _Item]) -> Mapping[str, _Item]:
    return build(read_table(name), make, f"{name}.toml")


def _refer(what: str, names: Mapping[str, tuple[str, ...]], table: Mapping[str, object]) -> None:
    for entry, wanted in names.items():
        for name in wanted:
            if name not in table:
                raise BadTable(f"{what} '{entry}': '{name}' is in no table")


def _find(
    table: Mapping[str, _Item],
    name: str,
    error: type[UnknownName],
    titles: Mapping[str, str] | None = None,
) -> _Item:
    key = name.strip().lower()
    if key not in table:
        raise error(name.strip(), table, titles)
    return table[key]
