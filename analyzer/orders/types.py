"""An order as it is written down: who wants what, on what, how often, and the shop's own figures."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Item:
    """One design on one goods, so many times. Settings that are None are the user's or the table's own."""

    position: int  #: from 1
    where: str  #: "FILE, line N" or "FILE, row N", for messages
    design: Path
    goods: str
    quantity: int
    title: str | None = None
    care: str | None = None
    back: str | None = None
    holding: str | None = None
    hoop: str | None = None
    thread: str | None = None
    needle: str | None = None
    speed_spm: float | None = None
    tolerance_mm: float | None = None
    colour: str | None = None  #: of the goods
    backing: tuple[str, ...] | None = None
    topping: str | None = None
    applique: str | None = None
    placement: str | None = None
    colours: tuple[str, ...] = ()  #: thread of each colour block, by position
    sizes: tuple[tuple[str, int], ...] = ()
    spares: int = 0  #: pieces beyond the quantity, for samples and spoilage
    names: tuple[str, ...] = ()
    price: Decimal | None = None  #: what one piece is sold for

    @property
    def pieces(self) -> int:
        """Pieces to be sewn, spares and all."""
        return self.quantity + self.spares


@dataclass(frozen=True, slots=True)
class Roll:
    """A roll of backing or topping that the shop cuts from."""

    width_mm: float
    length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Shop:
    """The user's own figures; None where none was given, and nothing is reckoned with then."""

    heads: int | None = None  #: None: the machine's, or one
    hooping_minutes: float | None = None  #: a piece
    trimming_minutes: float | None = None  #: a piece
    breaks_per_10000: float | None = None  #: thread breaks in 10,000 stitches
    minutes_per_break: float | None = None
    cone_m: float | None = None
    bobbin_m: float | None = None
    rolls: tuple[tuple[str, Roll], ...] = ()  #: by kind of backing or topping; "any" for all others


@dataclass(frozen=True, slots=True)
class Prices:
    """What the user reckons with, in the order's currency."""

    thread_per_m: Decimal | None = None
    bobbin_per_m: Decimal | None = None
    backing_per_m2: Decimal | None = None
    topping_per_m2: Decimal | None = None
    minute: Decimal | None = None
    setup: Decimal | None = None  #: an item

    @property
    def given(self) -> bool:
        """Whether there is any."""
        return any(getattr(self, name) is not None for name in self.__slots__)


@dataclass(frozen=True, slots=True)
class Order:
    """Everything that an order file says."""

    source: Path
    items: tuple[Item, ...]
    number: str | None = None
    customer: str | None = None
    due: str | None = None
    date: str | None = None
    currency: str | None = None
    notes: tuple[str, ...] = ()
    shop: Shop = field(default_factory=Shop)
    prices: Prices = field(default_factory=Prices)
    missing: tuple[str, ...] = ()  #: items that could not even be read, one sentence each
