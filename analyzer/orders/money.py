"""What an order costs by the user's own figures, and what it is sold for; nothing where they gave none.

Amounts are decimal. Each line is rounded to a hundredth of the currency, halves up, and totals are sums of
rounded lines, so that a sheet adds up as somebody adds it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from analyzer.orders.looking import Looked
from analyzer.orders.materials import Materials, RollNeed
from analyzer.orders.types import Prices

_CENT = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class ItemMoney:
    """One item: its cost by the user's figures, part by part, and its price."""

    position: int
    parts: tuple[tuple[str, Decimal], ...]  #: what and how much; only parts that the user priced
    price: Decimal | None  #: of all pieces ordered (spares are not sold)

    @property
    def cost(self) -> Decimal | None:
        """Sum of the parts; None where the user priced none."""
        return sum((amount for _, amount in self.parts), Decimal(0)) if self.parts else None


def rounded(amount: Decimal) -> Decimal:
    """Return an amount to a hundredth, halves up."""
    return amount.quantize(_CENT, rounding=ROUND_HALF_UP)


def money_of(looked: Sequence[Looked], needs: Materials, prices: Prices) -> tuple[ItemMoney, ...]:
    """Return the money of every item that was looked over."""
    minutes = {one.position: one.minutes for one in needs.times}
    found = []
    for one in looked:
        if one.check is None:
            continue
        pieces, use = one.item.pieces, one.check.use
        area = {role: _area_m2(needs.rolls, role, one.item.position) for role in ("backing", "topping")}
        lines = (
            ("thread", prices.thread_per_m, use.thread_m * pieces),
            ("bobbin thread", prices.bobbin_per_m, use.bobbin_m * pieces),
            ("backing", prices.backing_per_m2, area["backing"]),
            ("topping", prices.topping_per_m2, area["topping"]),
            ("time", prices.minute, minutes[one.item.position]),
            ("setting up", prices.setup, 1.0),
        )
        parts = tuple(
            (what, rounded(price * Decimal(repr(float(amount)))))
            for what, price, amount in lines
            if price is not None
        )
        price = None if one.item.price is None else rounded(one.item.price * one.item.quantity)
        found.append(ItemMoney(one.item.position, parts, price))
    return tuple(found)


def _area_m2(rolls: Sequence[RollNeed], role: str, position: int) -> float:
    """Return the item's share of what is cut off the rolls, waste and all, by the area of its sheets."""
    area = 0.0
    for need in rolls:
        if need.role != role or not need.cutting.used_mm2:
            continue
        own = sum(
            each.across_mm * each.along_mm * each.count
            for each in need.sheets
            if each.what == f"item {position}"
        )
        area += need.area_m2 * own / need.cutting.used_mm2
    return area


def total(amounts: Sequence[Decimal | None]) -> Decimal | None:
    """Return the sum of what is there; None where nothing is."""
    known = [amount for amount in amounts if amount is not None]
    return sum(known, Decimal(0)) if known else None
