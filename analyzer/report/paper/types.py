"""What paper is made out for: an order or a single check, and the pieces in it, in the user's own words."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.pipeline import Checked


@dataclass(frozen=True, slots=True)
class Occasion:
    """What the paper is for. Free text of the user's, any of it may be missing; no clock is ever read."""

    number: str | None = None
    customer: str | None = None
    due: str | None = None
    date: str | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Piece:
    """One design on one goods, as ordered."""

    checked: Checked
    position: int | None = None  #: number of the item in its order, from 1
    title: str | None = None  #: what the user calls it; None: the file's name
    quantity: int = 1
    spares: int = 0  #: pieces of the goods beyond the quantity, for samples and spoilage
    placement: str | None = None  #: "left chest, 75 mm from the shoulder seam"
    sizes: tuple[tuple[str, int], ...] = ()  #: ("M", 4): how many of each size
    thread_names: tuple[str | None, ...] = ()  #: the user's name for the thread of each colour block
    names: tuple[str, ...] = ()  #: names to be sewn, one a piece

    @property
    def called(self) -> str:
        """What the piece is called on paper."""
        return self.title or self.checked.design.name
