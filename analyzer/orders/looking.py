"""Looking every item of an order over: what came out, and what could not be looked over and why."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analyzer.errors import PrehoopError
from analyzer.formats import read
from analyzer.job import Job, changed
from analyzer.orders.types import Item, Order
from analyzer.report import Check, check
from analyzer.report.paper import Piece

BaseJob = Callable[[Path], Job]
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Looked:
    """One item with what came out, or with why nothing did."""

    item: Item
    check: Check | None
    trouble: str | None

    @property
    def called(self) -> str:
        """What the item is called."""
        return self.item.title or self.item.design.stem

    @property
    def piece(self) -> Piece:
        """The item as paper knows it; only where it was looked over."""
        assert self.check is not None
        item = self.item
        return Piece(
            checked=self.check,
            position=item.position,
            title=self.called,
            quantity=item.quantity,
            spares=item.spares,
            placement=item.placement,
            sizes=item.sizes,
            thread_names=item.colours,
            names=item.names,
        )


def job_for(item: Item, base: Job) -> Job:
    """Return the job of an item: what the item says, over what the user's settings say."""
    said: dict[str, Any] = {
        "care": item.care,
        "back": item.back,
        "holding": item.holding,
        "hoop": item.hoop,
        "thread": item.thread,
        "needle": item.needle,
        "speed_spm": item.speed_spm,
        "tolerance_mm": item.tolerance_mm,
        "colour": item.colour,
        "backing": item.backing,
        "topping": item.topping,
        "applique": item.applique,
    }
    return changed(base, goods=item.goods, **{key: value for key, value in said.items() if value is not None})


def look_over(order: Order, base: BaseJob, progress: Progress | None = None) -> Iterator[Looked]:
    """Yield every item as it is done; one that fails says why and stops no other.

    ``base`` gives the job that the user's settings describe for a design.
    """
    for number, item in enumerate(order.items):

        def tell(what: str, share: float, item: Item = item, number: int = number) -> None:
            if progress is not None:
                done = (number + share) / len(order.items)
                progress(f"item {item.position}, {item.design.name}: {what}", done)

        tell("reading", 0.0)
        try:
            yield Looked(item, check(read(item.design), job_for(item, base(item.design)), tell), None)
        except (PrehoopError, OSError) as error:
            said = str(error)
            if isinstance(error, OSError):
                said = f"{item.design.name}: {(error.strerror or said).lower()}"
            yield Looked(item, None, said)
