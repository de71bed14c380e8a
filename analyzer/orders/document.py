"""The order as JSON: what was asked, what came out, what it uses up, what changed since last time."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

import msgspec

from analyzer import __version__
from analyzer.orders.looking import Looked
from analyzer.orders.materials import Materials, RollNeed
from analyzer.orders.money import ItemMoney, total
from analyzer.orders.types import Order
from analyzer.report.fill_in import worst_gap
from analyzer.report.numbers import maybe, number, sound_text
from analyzer.report.terminal import backing_in_words


class _Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One object of the document."""


class ItemPart(_Part, frozen=True):
    """One item; what the check gives is null where it could not be looked over."""

    position: int
    title: str
    design: str
    sha256: str | None
    goods: str
    quantity: int
    spares: int
    sizes: dict[str, int]
    names: int
    trouble: str | None
    outcome: str | None
    stack: str | None
    worst_gap_mm: float | None
    thread_m: float | None  #: a piece
    bobbin_m: float | None
    minutes: float | None  #: a piece, at the machine
    cost: str | None  #: of the whole item, by the user's figures
    cost_parts: dict[str, str]
    price: str | None  #: of all pieces ordered


class ThreadPart(_Part, frozen=True):
    """One thread."""

    name: str
    rgb: str | None
    items: tuple[int, ...]
    metres: float
    metres_a_head: float
    cones: int


class SheetPart(_Part, frozen=True):
    """So many like sheets."""

    across_mm: float
    along_mm: float
    count: int
    what: str


class RollPart(_Part, frozen=True):
    """One kind of backing or topping."""

    role: str
    kind: str
    g_m2: float
    items: tuple[int, ...]
    sheets: tuple[SheetPart, ...]
    roll_width_mm: float
    roll_width_given: bool
    length_m: float
    least_length_m: float
    area_m2: float
    waste: float
    rolls: int | None


class TimePart(_Part, frozen=True):
    """Minutes of one item; null where the user gave no figure."""

    position: int
    piece_minutes: float
    runs: int
    machine_minutes: float
    hooping_minutes: float | None
    trimming_minutes: float | None
    break_minutes: float | None
    minutes: float


class MaterialsPart(_Part, frozen=True):
    """What the order uses up."""

    pieces: int
    heads: int
    cone_m: float
    threads: tuple[ThreadPart, ...]
    bobbin_m: float
    bobbin_metres: float
    bobbins: int
    rolls: tuple[RollPart, ...]
    times: tuple[TimePart, ...]
    minutes: float


class OrderDocument(_Part, frozen=True):
    """The whole of an order."""

    schema: Literal[1]
    version: str
    number: str | None
    customer: str | None
    due: str | None
    date: str | None
    currency: str | None
    notes: tuple[str, ...]
    items: tuple[ItemPart, ...]
    missing: tuple[str, ...]
    materials: MaterialsPart
    cost: str | None
    price: str | None
    files: tuple[str, ...]
    changed: tuple[str, ...]


def order_document(
    order: Order,
    looked: Sequence[Looked],
    needs: Materials,
    money: Sequence[ItemMoney],
    *,
    missing: tuple[str, ...],
    files: tuple[str, ...],
) -> OrderDocument:
    """Return the document of an order, with nothing said yet of changes."""
    by_position = {one.position: one for one in money}
    return OrderDocument(
        schema=1,
        version=__version__,
        number=order.number,
        customer=order.customer,
        due=order.due,
        date=order.date,
        currency=order.currency,
        notes=order.notes,
        items=tuple(_item(one, by_position.get(one.item.position)) for one in looked),
        missing=missing,
        materials=materials_part(needs),
        cost=_amount(total([one.cost for one in money])),
        price=_amount(total([one.price for one in money])),
        files=files,
        changed=(),
    )


def _amount(amount: Decimal | None) -> str | None:
    return None if amount is None else f"{amount:.2f}"


def _item(one: Looked, money: ItemMoney | None) -> ItemPart:
    item, check = one.item, one.check
    judged = check.judged if check else None
    gap = worst_gap(judged) if judged else None
    return ItemPart(
        position=item.position,
        title=sound_text(one.called),
        design=sound_text(item.design.name),
        sha256=check.design.sha256 if check else None,
        goods=item.goods,
        quantity=item.quantity,
        spares=item.spares,
        sizes=dict(item.sizes),
        names=len(item.names),
        trouble=one.trouble,
        outcome=check.outcome if check else None,
        stack=stack_said(check.plan.choice, check.plan.topping) if check and check.plan else None,
        worst_gap_mm=maybe("worst_gap_mm", gap.worst_mm if gap else None),
        thread_m=maybe("thread_m", check.use.thread_m if check else None),
        bobbin_m=maybe("bobbin_m", check.use.bobbin_m if check else None),
        minutes=maybe("minutes", check.use.minutes if check else None),
        cost=_amount(money.cost if money else None),
        cost_parts={what: f"{amount:.2f}" for what, amount in (money.parts if money else ())},
        price=_amount(money.price if money else None),
    )


def stack_said(choice: object, topping: object) -> str:
    """Return what goes behind and over the goods, in words."""
    from analyzer.goods.types import StackChoice
    from analyzer.plan.types import ToppingChoice

    assert isinstance(choice, StackChoice)
    over = f"; {topping.kind} over it" if isinstance(topping, ToppingChoice) else ""
    return backing_in_words(choice) + over


def materials_part(needs: Materials) -> MaterialsPart:
    """Return what an order uses up as it stands in the JSON."""
    return MaterialsPart(
        pieces=needs.pieces,
        heads=needs.heads,
        cone_m=number("cone_m", needs.cone_m),
        threads=tuple(
            ThreadPart(
                name=sound_text(one.name),
                rgb=one.rgb,
                items=one.items,
                metres=number("metres", one.metres),
                metres_a_head=number("metres_a_head", one.metres_a_head),
                cones=one.cones,
            )
            for one in needs.threads
        ),
        bobbin_m=number("bobbin_m", needs.bobbin_m),
        bobbin_metres=number("bobbin_metres", needs.bobbin_metres),
        bobbins=needs.bobbins,
        rolls=tuple(map(_roll, needs.rolls)),
        times=tuple(
            TimePart(
                position=one.position,
                piece_minutes=number("piece_minutes", one.piece_minutes),
                runs=one.runs,
                machine_minutes=number("machine_minutes", one.machine_minutes),
                hooping_minutes=one.hooping_minutes,
                trimming_minutes=one.trimming_minutes,
                break_minutes=one.break_minutes,
                minutes=number("minutes", one.minutes),
            )
            for one in needs.times
        ),
        minutes=number("minutes", needs.minutes),
    )


def _roll(need: RollNeed) -> RollPart:
    return RollPart(
        role=need.role,
        kind=need.kind,
        g_m2=need.g_m2,
        items=need.items,
        sheets=tuple(
            SheetPart(across_mm=one.across_mm, along_mm=one.along_mm, count=one.count, what=one.what)
            for one in need.sheets
        ),
        roll_width_mm=need.roll.width_mm,
        roll_width_given=need.roll_given,
        length_m=number("length_m", need.length_m),
        least_length_m=number("least_length_m", need.least_length_m),
        area_m2=number("area_m2", need.area_m2),
        waste=number("waste", need.cutting.waste),
        rolls=need.rolls,
    )


def encode(document: OrderDocument | MaterialsPart) -> bytes:
    """Return indented UTF-8 JSON with a newline at the end."""
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def decode(content: bytes) -> OrderDocument | None:
    """Return the document of an earlier run; None where it is none of ours or of another schema."""
    try:
        return msgspec.json.decode(content, type=OrderDocument)
    except (msgspec.DecodeError, msgspec.ValidationError):
        return None
