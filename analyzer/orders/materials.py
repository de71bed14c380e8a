"""What an order uses up: thread on cones, bobbins, sheets cut from rolls, and minutes at the machine.

Every piece counts, spares too. Lengths and minutes come from the check of each item; what is the shop's own
(minutes by hand, breaks, prices) is only reckoned with where the user has given a figure.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analyzer.goods.constants import constants
from analyzer.orders.looking import Looked
from analyzer.orders.nesting import Cutting, Sheets, fitted, least_length_mm, nest
from analyzer.orders.types import Roll, Shop
from analyzer.report.paper.sheet import topping_mm
from analyzer.report.paper.threads import blocks

_MM_PER_M = 1000.0
_MM2_PER_M2 = 1e6


@dataclass(frozen=True, slots=True)
class ThreadNeed:
    """One thread over the whole order."""

    name: str
    rgb: str | None
    items: tuple[int, ...]  #: positions of the items that use it
    metres: float
    metres_a_head: float  #: on the head that sews most pieces
    cones: int  #: heads that sew it, each with so many


@dataclass(frozen=True, slots=True)
class RollNeed:
    """One kind of backing or topping over the whole order."""

    role: str  #: "backing" or "topping"
    kind: str
    g_m2: float
    items: tuple[int, ...]
    sheets: tuple[Sheets, ...]
    roll: Roll
    roll_given: bool  #: whether the width is the user's
    cutting: Cutting
    least_length_m: float

    @property
    def count(self) -> int:
        """Sheets to cut."""
        return sum(one.count for one in self.sheets)

    @property
    def length_m(self) -> float:
        """Length of roll that is cut off."""
        return self.cutting.length_mm / _MM_PER_M

    @property
    def area_m2(self) -> float:
        """Area of roll that is cut off, waste and all."""
        return self.cutting.length_mm * self.roll.width_mm / _MM2_PER_M2

    @property
    def rolls(self) -> int | None:
        """Rolls needed; None where the length on a roll is not known."""
        return None if self.roll.length_m is None else math.ceil(self.length_m / self.roll.length_m - 1e-9)


@dataclass(frozen=True, slots=True)
class TimeNeed:
    """Minutes of one item; None where the user gave no figure for it."""

    position: int
    piece_minutes: float  #: the machine on one piece
    runs: int  #: times that the machine is started, on all heads together
    machine_minutes: float
    hooping_minutes: float | None
    trimming_minutes: float | None
    break_minutes: float | None

    @property
    def minutes(self) -> float:
        """All that is known, one after the other."""
        by_hand = (self.hooping_minutes, self.trimming_minutes, self.break_minutes)
        return self.machine_minutes + sum(value for value in by_hand if value is not None)


@dataclass(frozen=True, slots=True)
class Materials:
    """Everything that an order uses up."""

    pieces: int
    heads: int
    threads: tuple[ThreadNeed, ...]
    cone_m: float
    bobbin_metres: float
    bobbins: int
    bobbin_m: float
    rolls: tuple[RollNeed, ...]
    times: tuple[TimeNeed, ...]

    @property
    def minutes(self) -> float:
        """All minutes that are known."""
        return sum(one.minutes for one in self.times)


def materials(looked: Sequence[Looked], shop: Shop) -> Materials:
    """Return what the items that were looked over use up."""
    done = [one for one in looked if one.check is not None]
    table = constants("orders")
    heads = shop.heads or max(
        (one.check.job.machine.heads for one in done if one.check and one.check.job.machine), default=1
    )
    cone_m = shop.cone_m or table["cone_m"].value
    bobbin_m = shop.bobbin_m or table["bobbin_m"].value
    bobbin = sum(one.check.use.bobbin_m * one.item.pieces for one in done if one.check)
    bobbin_a_head = sum(one.check.use.bobbin_m * _runs(one, heads) for one in done if one.check)
    busy = max((min(heads, one.item.pieces) for one in done), default=0)
    return Materials(
        pieces=sum(one.item.pieces for one in done),
        heads=heads,
        threads=_threads(done, heads, cone_m),
        cone_m=cone_m,
        bobbin_metres=bobbin,
        bobbins=busy * math.ceil(bobbin_a_head / bobbin_m) if done else 0,
        bobbin_m=bobbin_m,
        rolls=_rolls(done, shop),
        times=tuple(_time(one, heads, shop) for one in done),
    )


def _runs(one: Looked, heads: int) -> int:
    """Return how many pieces the busiest head sews: the times that the machine is started."""
    return math.ceil(one.item.pieces / heads)


def _threads(done: Sequence[Looked], heads: int, cone_m: float) -> tuple[ThreadNeed, ...]:
    """Return every thread once, in the order of first use; threads are one where their names agree."""
    metres: dict[str, list[float]] = {}  # all, on the busiest head
    told: dict[str, tuple[str, str | None]] = {}
    items: dict[str, list[int]] = {}
    busy: dict[str, int] = {}
    for one in done:
        assert one.check is not None
        for block in blocks(one.check, one.item.colours, None):
            own = block.number <= len(one.item.colours) and bool(one.item.colours[block.number - 1])
            unknown = (
                not own and block.rgb is None and one.check.design.threads[block.number - 1].name is None
            )
            name = f"not named: item {one.item.position}, block {block.number}" if unknown else block.name
            key = name.casefold()
            total = metres.setdefault(key, [0.0, 0.0])
            total[0] += block.metres * one.item.pieces
            total[1] += block.metres * _runs(one, heads)
            told.setdefault(key, (name, None if own else block.rgb))
            busy[key] = max(busy.get(key, 0), min(heads, one.item.pieces))
            if one.item.position not in items.setdefault(key, []):
                items[key].append(one.item.position)
    return tuple(
        ThreadNeed(
            name=told[key][0],
            rgb=told[key][1],
            items=tuple(items[key]),
            metres=total,
            metres_a_head=a_head,
            cones=busy[key] * math.ceil(a_head / cone_m),
        )
        for key, (total, a_head) in metres.items()
    )


def _rolls(done: Sequence[Looked], shop: Shop) -> tuple[RollNeed, ...]:
    found: dict[tuple[str, str, float], list[Sheets]] = {}
    items: dict[tuple[str, str, float], list[int]] = {}
    for one in done:
        for role, kind, g_m2, sheets in _sheets(one):
            found.setdefault((role, kind, g_m2), []).append(sheets)
            positions = items.setdefault((role, kind, g_m2), [])
            if one.item.position not in positions:
                positions.append(one.item.position)
    overlap = constants("plan")["sheet_overlap_mm"].value
    own = dict(shop.rolls)
    needs = []
    for (role, kind, g_m2), asked in found.items():
        roll = own.get(kind, own.get("any", Roll(constants("orders")["roll_width_mm"].value)))
        cut = _merged(fitted(each, roll.width_mm, overlap) for each in asked)
        needs.append(
            RollNeed(
                role=role,
                kind=kind,
                g_m2=g_m2,
                items=tuple(items[role, kind, g_m2]),
                sheets=cut,
                roll=roll,
                roll_given=kind in own or "any" in own,
                cutting=nest(cut, roll.width_mm),
                least_length_m=least_length_mm(cut, roll.width_mm) / _MM_PER_M,
            )
        )
    return tuple(needs)


def _merged(sheets: Iterable[Sheets]) -> tuple[Sheets, ...]:
    """Return the sheets with like ones for like items counted together."""
    counts: dict[tuple[float, float, str], int] = {}
    for one in sheets:
        key = one.across_mm, one.along_mm, one.what
        counts[key] = counts.get(key, 0) + one.count
    return tuple(Sheets(across, along, count, what) for (across, along, what), count in counts.items())


def _sheets(one: Looked) -> list[tuple[str, str, float, Sheets]]:
    """Return the sheets of one item: each layer of backing as the plan turns it, and the topping."""
    assert one.check is not None
    plan, judged = one.check.plan, one.check.judged
    if plan is None or judged is None:
        return []
    width, height = plan.sheet_mm
    found = []
    for backing in plan.choice.backings:
        for turn in backing.turns_deg or (0.0,) * backing.layers:
            across, along = _turned(width, height, turn)
            sheets = Sheets(across, along, one.item.pieces, f"item {one.item.position}")
            found.append(("backing", backing.kind, backing.g_m2, sheets))
    if plan.topping is not None:
        across, along = topping_mm(one.check.design.size_mm)
        weight = judged.setup.tables.topping(plan.topping.kind).g_m2
        sheets = Sheets(across, along, one.item.pieces, f"item {one.item.position}")
        found.append(("topping", plan.topping.kind, weight, sheets))
    return found


def _turned(width_mm: float, height_mm: float, turn_deg: float) -> tuple[float, float]:
    """Return across and along the roll of a sheet whose layer is turned; the roll runs along y at turn 0."""
    turn = math.radians(turn_deg)
    cos, sin = abs(math.cos(turn)), abs(math.sin(turn))
    return round(width_mm * cos + height_mm * sin, 3), round(width_mm * sin + height_mm * cos, 3)


def _time(one: Looked, heads: int, shop: Shop) -> TimeNeed:
    assert one.check is not None
    pieces, minutes = one.item.pieces, one.check.use.minutes
    breaks = None
    if shop.breaks_per_10000 is not None and shop.minutes_per_break is not None:
        breaks = one.check.design.stitches * pieces / 10_000 * shop.breaks_per_10000 * shop.minutes_per_break
    return TimeNeed(
        position=one.item.position,
        piece_minutes=minutes,
        runs=_runs(one, heads),
        machine_minutes=minutes * _runs(one, heads),
        hooping_minutes=None if shop.hooping_minutes is None else shop.hooping_minutes * pieces,
        trimming_minutes=None if shop.trimming_minutes is None else shop.trimming_minutes * pieces,
        break_minutes=breaks,
    )
