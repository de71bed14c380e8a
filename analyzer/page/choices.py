"""What a person may choose on the page, in plain words, and the job that their choices come to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analyzer.choices import BACKS, CARES, HOLDINGS
from analyzer.goods import resolve
from analyzer.goods.own import tables_of
from analyzer.goods.types import Cloth
from analyzer.job import Job, changed

#: families of cloth -> the words above them on the page
FAMILIES = {
    "knit": "Knitted",
    "pile-knit": "Knitted, with a pile",
    "woven": "Woven",
    "pile-woven": "Woven, with loops or a pile",
    "net": "Nets",
    "nonwoven": "Felts",
    "leather": "Leather",
    "coated": "Coated",
    "none": "No cloth",
}
CARE_WORDS = {
    "industrial": "industrial laundry",
    "washed-often": "washed often",
    "washed-gently": "washed gently",
    "dry-cleaned": "dry-cleaned",
    "never-washed": "never washed",
}
BACK_WORDS = {
    "hidden": "hidden",
    "seen": "seen",
    "skin": "lies on skin",
    "seen+skin": "seen, and lies on skin",
}
HOLDING_WORDS = {
    "hooped": "hooped",
    "floated": "floated on hooped backing",
    "adhesive": "on adhesive backing",
    "clamped": "clamped",
    "magnetic": "in a magnetic frame",
    "cap-frame": "on a cap frame",
}
assert set(CARE_WORDS) == set(CARES) and set(BACK_WORDS) == set(BACKS) and set(HOLDING_WORDS) == set(HOLDINGS)  # noqa: PT018
_TEXTS = ("care", "back", "hoop", "thread", "needle", "topping", "colour")
_LETTERS = 80  #: of one choice


@dataclass(frozen=True, slots=True)
class Option:
    """One entry of a list to choose from."""

    value: str
    says: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Family:
    """Cloths of one structure."""

    name: str
    says: str
    cloths: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Choices:
    """Everything that can be chosen, with what is chosen."""

    families: tuple[Family, ...]
    goods: str
    goods_says: str
    goods_family: str
    care: tuple[Option, ...]
    back: tuple[Option, ...]
    holding: tuple[Option, ...]
    hoops: tuple[Option, ...]
    threads: tuple[Option, ...]
    toppings: tuple[Option, ...]
    backing: str
    backings: tuple[tuple[str, str], ...]
    colour: str
    units: str


def job_of(said: Mapping[str, str], base: Job) -> Job:
    """Return the job that choices come to, over the user's own settings.

    Raises:
        BadJob, UnknownName: a choice that makes no sense; the message is fit to be shown.

    """
    given = {key: value.strip()[:_LETTERS] for key, value in said.items() if value.strip()}
    changes: dict[str, object] = {key: given[key] for key in _TEXTS if key in given}
    if "goods" in given:
        changes["goods"] = given["goods"]
    if given.get("holding"):
        changes["holding"] = given["holding"]
    if "backing" in given:
        changes["backing"] = tuple(part.strip() for part in given["backing"].split("+"))
    job = changed(base, **changes)
    if job.goods is not None:
        resolve(job, job.goods, (0.0, 0.0))
    return job


def choices(said: Mapping[str, str], base: Job) -> Choices:
    """Return everything that can be chosen, marked with what ``said`` chooses."""
    tables = tables_of(base.own)
    goods = said.get("goods") or base.goods or ""
    cloths = list(tables.cloths.values())
    chosen = next((one for one in cloths if one.name == goods.lower()), None)
    return Choices(
        families=tuple(_family(name, says, cloths, goods) for name, says in FAMILIES.items()),
        goods=chosen.name if chosen else "",
        goods_says=chosen.title if chosen else "not chosen yet: three are compared",
        goods_family=chosen.family if chosen else "",
        care=_options(CARE_WORDS, said.get("care", "")),
        back=_options(BACK_WORDS, said.get("back", "")),
        holding=_options(HOLDING_WORDS, said.get("holding") or base.holding, always=True),
        hoops=_options(
            {name: f"{one.width_mm:.0f} x {one.height_mm:.0f} mm{', oval' * (one.shape == 'oval')}"
             for name, one in tables.hoops.items()},
            said.get("hoop", ""),
        ),
        threads=_options({name: one.title for name, one in tables.threads.items()}, said.get("thread", "")),
        toppings=_options(
            {"none": "none"} | {name: one.title for name, one in tables.toppings.items()},
            said.get("topping", ""),
        ),
        backing=said.get("backing", "")[:_LETTERS],
        backings=(
            ("none", "nothing behind it"),
            *((f"{kind}:{weight:g}", f"{one.title}, {weight:g} g/m2")
              for kind, one in tables.backings.items() for weight in one.weights_g_m2),
        ),
        colour=said.get("colour", "")[:_LETTERS],
        units=said.get("units", "mm") if said.get("units") in ("mm", "in") else "mm",
    )  # fmt: skip


def _family(name: str, says: str, cloths: list[Cloth], goods: str) -> Family:
    members = [one for one in cloths if one.family == name]
    return Family(
        name, says, tuple(Option(one.name, one.title, one.name == goods.lower()) for one in members)
    )


def _options(says: Mapping[str, str], chosen: str, *, always: bool = False) -> tuple[Option, ...]:
    own = () if always else (Option("", "as usual", not chosen),)
    return (*own, *(Option(value, text, value == chosen) for value, text in says.items()))
