"""Forms for the user's own goods and backings, to and from the entries of a settings file."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass, replace
from typing import Any

import tomlkit

from analyzer.errors import PrehoopError
from analyzer.goods.own import tables_of
from analyzer.goods.tables import standard
from analyzer.job import OwnMaterials
from analyzer.page.choices import BACK_WORDS, CARE_WORDS, FAMILIES
from analyzer.page.own_fields import Field, Form, Group, Row, Wrong, grouped, number_of, plain, shown
from analyzer.page.own_text import Doc, edited

_STRIP = (
    ("strip_mm", "Width of the strip", "mm"),
    ("gauge_mm", "Distance of the marks", "mm"),
    ("load_g", "Weight hung on it", "g"),
    ("extension_mm", "How much further apart the marks came", "mm"),
)
_WAYS = {"along": "Strip cut along (warp, or the way the ribs run)", "across": "Strip cut across"}
#: quantities of a cloth: key -> words, unit, what to know
_MEASURED = {
    "thickness_mm": ("Thickness", "mm", ""),
    "e1_kn_per_m": ("Stiffness along", "kN/m", "Load per width over stretch (as a share), at a small load."),
    "e2_kn_per_m": ("Stiffness across", "kN/m", ""),
    "shear_n_per_m": ("Shear stiffness", "N/m", "How it resists being pulled askew."),
    "poisson12": ("Narrowing when stretched along", "", "Share: 0.3 means 3 mm narrower for 10 mm longer."),
    "bending_unm": ("Bending stiffness", "uN.m", ""),
    "pile_mm": ("Height of nap, pile or loops", "mm", ""),
    "shrink_percent": ("Shrinkage in the wash", "%", ""),
}
_ENDS = ("", "_low", "_high")
_EDGES = (
    "Hang up a strip, draw two marks on it, hang a weight on its lower end, and measure how far the marks "
    "came apart. Choose the weight so that they come 3 to 20 % further apart."
)


@dataclass(frozen=True, slots=True)
class Kind:
    """A table of one's own entries."""

    table: str  #: of the settings file
    title: str
    one: str
    quantities: Mapping[str, tuple[str, str, str]]
    example: str


GOODS = Kind("goods", "cloth", "goods", _MEASURED, "crew-polo")
BACKING = Kind("backings", "backing", "backing", {}, "shop-cutaway")
KINDS = {kind.table: kind for kind in (GOODS, BACKING)}


def name_of(typed: str) -> str:
    """Return the name of an entry as files and commands write it: small letters, digits and hyphens."""
    folded = unicodedata.normalize("NFC", typed.strip().lower())
    joined = re.sub(r"[\s_]+", "-", folded).strip("-")
    if not joined:
        raise Wrong({"name": "give it a name"})
    if len(joined) > 40 or not all(mark.isalnum() or mark == "-" for mark in joined):
        raise Wrong({"name": "use letters, digits and hyphens only, at most 40"})
    return joined


def values_of(kind: Kind, name: str, entry: Mapping[str, Any]) -> dict[str, str]:
    """Return what stands in each field for an entry of a file."""
    said = {"name": name, "like": shown(entry.get("like"))}
    said["weight"] = (
        shown(_middle(entry.get("weight_g_m2")))
        if kind is GOODS
        else " ".join(shown(one) for one in entry.get("weights_g_m2", ()))
    )
    for key in ("care", "back"):
        said[key] = shown(entry.get(key))
    for way in _WAYS:
        test = entry.get(way)
        for key, *_ in _STRIP:
            said[f"{way}_{key}"] = shown(test.get(key)) if isinstance(test, Mapping) else ""
    for key in kind.quantities:
        ends = _ends(entry.get(key))
        said |= {f"{key}{end}": shown(value) for end, value in zip(_ENDS, ends, strict=True)}
    return said


def _middle(value: Any) -> Any:
    return _ends(value)[0]


def _ends(value: Any) -> tuple[Any, Any, Any]:
    """Return value, low and high of a quantity as it is written."""
    if isinstance(value, Mapping):
        return value.get("value"), value.get("low"), value.get("high")
    if isinstance(value, list) and len(value) == 3:
        return value[1], value[0], value[2]
    return value, None, None


def form_of(kind: Kind, said: Mapping[str, str], *, new: bool) -> Form:
    """Return the form of an entry, filled in."""
    name = Field("name", "Name", "text", help=f"Short, as you will look for it: {kind.example}", needed=True)
    like = Field("like", f"Which {kind.title} is it most like?", "choice", options=_likes(kind), needed=True)
    weight = (
        Field("weight", "Weight", unit="g/m2", help="From the label or a balance; 5.3 oz is understood too.")
        if kind is GOODS
        else Field("weight", "Weights it comes in", unit="g/m2", help="Several with a space between.")
    )
    first = [Row((name,)), Row((like,)), Row((weight,))]
    if not new:
        first[0] = Row((replace(name, help="The name stays as it is."),))
    groups = [Group("What it is", tuple(first), (_rest(kind),))]
    if kind is GOODS:
        usual = "as the cloth that it is like"
        care = Field("care", "Care", "choice", options=(("", (("", usual), *CARE_WORDS.items())),))
        back = Field("back", "Its back", "choice", options=(("", (("", usual), *BACK_WORDS.items())),))
        groups.append(Group("How it is used", (Row((care,)), Row((back,)))))
    tests = tuple(
        Row(tuple(Field(f"{way}_{key}", words, unit=unit) for key, words, unit in _STRIP), legend)
        for way, legend in _WAYS.items()
    )
    groups.append(Group("A stretch test, if you have made one", tests, (_EDGES,), folded=True))
    if kind.quantities:
        groups.append(
            Group(
                "Measured values, from a laboratory or a data sheet",
                tuple(_row(key, *about) for key, about in kind.quantities.items()),
                ("Fill in only what you know. Lowest and highest are the ends between which nine of ten "
                 "pieces lie; leave both empty and they are taken as 10 % about the value.",),
                folded=True,
            )
        )  # fmt: skip
    title = f"Add a {kind.title}" if new else f"{said['name']}: one of my {kind.title}s"
    remove = "" if new else f"Remove this {kind.title}"
    return Form(title, tuple(groups), remove=remove).filled(said, {})


def _rest(kind: Kind) -> str:
    return f"Whatever you leave empty is taken from the {kind.title} that it is like."


def _row(key: str, words: str, unit: str, about: str) -> Row:
    ends = (("", "value"), ("_low", "lowest"), ("_high", "highest"))
    return Row(tuple(Field(f"{key}{end}", says, unit=unit) for end, says in ends), words, about)


def _likes(kind: Kind) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    tables = standard()
    none = (("", (("", "choose one"),)),)
    if kind is GOODS:
        cloths = [one for one in tables.cloths.values() if one.family != "none"]
        ordered = sorted(cloths, key=lambda one: list(FAMILIES).index(one.family))
        return none + grouped((FAMILIES[one.family], one.name, one.title) for one in ordered)
    return (("", (("", "choose one"), *((one.kind, one.title) for one in tables.backings.values()))),)


def changed_text(
    text: str, source: str, kind: Kind, name: str, said: Mapping[str, str], before: Mapping[str, str]
) -> str:
    """Return the settings with an entry as the form says; fields that were not touched stay as written.

    Raises:
        Wrong: a field is wrong, by the rules of the reader of such files.
        BadJob: the file cannot be changed without touching something else.

    """
    changes = _changes(kind, said, before)

    def change(doc: Doc) -> None:
        plain_values = type(doc) is dict
        table = doc.get(kind.table)
        if table is None:
            doc[kind.table] = {} if plain_values else tomlkit.table(is_super_table=True)
            table = doc[kind.table]
        if name not in table:
            table[name] = {} if plain_values else tomlkit.table()
        entry = table[name]
        for key, value in changes.items():
            _put(entry, key, value, plain_values=plain_values)

    made = edited(text, change)
    try:
        tables = tables_of((OwnMaterials(made, source),))
        if kind is GOODS:
            tables.cloth(name)
    except PrehoopError as error:
        raise _beside(str(error), kind, name) from None
    return made


def _put(entry: MutableMapping[str, Any], key: str, value: Any, *, plain_values: bool) -> None:
    """Set, change or take out one key of an entry."""
    held = entry.get(key)
    if value is None:
        if key in entry:
            del entry[key]
    elif isinstance(value, list) and isinstance(held, MutableMapping):
        held["low"], held["value"], held["high"] = value
    elif isinstance(value, dict) and isinstance(held, MutableMapping):
        for part, number in value.items():
            held[part] = number
    elif isinstance(value, dict) and not plain_values:
        inline = tomlkit.inline_table()
        inline.update(value)
        entry[key] = inline
    else:
        entry[key] = dict(value) if isinstance(value, dict) else value


def _changes(kind: Kind, said: Mapping[str, str], before: Mapping[str, str]) -> dict[str, Any]:
    """Return what the touched fields say, by key of the entry; None takes a key out."""
    errors: dict[str, str] = {}
    changes: dict[str, Any] = {}

    def touched(*names: str) -> bool:
        return any(said.get(name, "") != before.get(name, "") for name in names)

    def number(name: str, *, weight: bool = False) -> int | float:
        try:
            return plain(number_of(said[name], weight=weight))
        except ValueError as error:
            errors[name] = str(error)
            return 1

    for key in ("like", "care", "back"):
        if touched(key):
            changes[key] = said.get(key) or None
    if not said.get("like"):
        errors["like"] = f"choose the {kind.title} that it is most like"
    if touched("weight") and kind is GOODS:
        changes["weight_g_m2"] = number("weight", weight=True) if said.get("weight") else None
    elif touched("weight"):
        try:
            parts = said["weight"].replace(";", " ").split()
            changes["weights_g_m2"] = [plain(number_of(part, weight=True)) for part in parts] or None
        except ValueError as error:
            errors["weight"] = str(error)
    for way in _WAYS:
        names = [f"{way}_{key}" for key, *_ in _STRIP]
        if not touched(*names):
            continue
        if not any(said.get(name) for name in names):
            changes[way] = None
            continue
        for name in names:
            if not said.get(name):
                errors[name] = "a stretch test needs all four"
        changes[way] = {key: number(f"{way}_{key}") for key, *_ in _STRIP if said.get(f"{way}_{key}")}
    for key in kind.quantities:
        names = [f"{key}{end}" for end in _ENDS]
        if touched(*names):
            changes[key] = _quantity(key, said, errors, number)
    if errors:
        raise Wrong(errors)
    return changes


def _quantity(key: str, said: Mapping[str, str], errors: dict[str, str], number: Any) -> Any:
    value, low, high = (said.get(f"{key}{end}", "") for end in _ENDS)
    if not value:
        if low or high:
            errors[key] = "give the value too"
        return None
    if bool(low) != bool(high):
        errors[f"{key}_high" if low else f"{key}_low"] = "give lowest and highest, or neither"
        return None
    if not low:
        return number(key)
    return [number(f"{key}_low"), number(key), number(f"{key}_high")]


def _beside(message: str, kind: Kind, name: str) -> Wrong:
    """Return the reader's error beside the field that it is about."""
    _, entry, rest = message.partition(f"[{kind.table}.{name}]")
    if not entry:
        return Wrong({"": message})
    ways, _, text = rest.partition(": ")
    keys = [part.strip() for part in ways.split(",") if part.strip()]
    field = {"weight_g_m2": "weight", "weights_g_m2": "weight"}.get(keys[0], keys[0]) if keys else "name"
    if field in _WAYS:
        field = f"{field}_{keys[1]}" if len(keys) > 1 else f"{field}_strip_mm"
    if not keys and "nu12" in text:
        field, text = "poisson12", "too large for these stiffnesses: such a cloth cannot be"
    return Wrong({field: text})
