"""Cutting sheets from a roll: shelves across the roll, each cut off whole and then along.

Straight cuts from edge to edge only (guillotine cuts), since that is how rolls are cut. Sheets are never
turned by the nesting: backing is stiffer along its roll than across, and the plan has said which way each
layer lies.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

_SAME_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Sheets:
    """So many like sheets: ``across_mm`` lies across the roll, ``along_mm`` along it."""

    across_mm: float
    along_mm: float
    count: int
    what: str = ""  #: for whom it is cut


@dataclass(frozen=True, slots=True)
class Placed:
    """One sheet on the roll; ``x_mm`` across, ``y_mm`` along, of its nearer corner."""

    x_mm: float
    y_mm: float
    across_mm: float
    along_mm: float
    what: str


@dataclass(frozen=True, slots=True)
class Cutting:
    """How sheets lie on a roll."""

    roll_width_mm: float
    length_mm: float
    placed: tuple[Placed, ...]

    @property
    def used_mm2(self) -> float:
        """Area of the sheets."""
        return sum(one.across_mm * one.along_mm for one in self.placed)

    @property
    def waste(self) -> float:
        """Share of the length of roll that is no sheet, 0 to 1; 0 where nothing is cut."""
        area = self.roll_width_mm * self.length_mm
        return 0.0 if area <= 0.0 else max(0.0, 1.0 - self.used_mm2 / area)


def least_length_mm(sheets: Iterable[Sheets], roll_width_mm: float) -> float:
    """Return a length that no cutting can go below: that of all area, and of the longest sheet (derived)."""
    kept = [one for one in sheets if one.count > 0]
    area = sum(one.across_mm * one.along_mm * one.count for one in kept)
    return max([area / roll_width_mm, *(one.along_mm for one in kept)], default=0.0)


def fitted(sheets: Sheets, roll_width_mm: float, overlap_mm: float) -> Sheets:
    """Return sheets that are wider than the roll as overlapping strips of equal width that fit it."""
    if sheets.across_mm <= roll_width_mm:
        return sheets
    parts = math.ceil((sheets.across_mm - overlap_mm) / (roll_width_mm - overlap_mm))
    width = (sheets.across_mm + (parts - 1) * overlap_mm) / parts
    return Sheets(width, sheets.along_mm, sheets.count * parts, sheets.what)


def nest(sheets: Iterable[Sheets], roll_width_mm: float) -> Cutting:
    """Return the shortest of some shelf cuttings.

    Sheets go by falling length onto the first shelf that has room, or onto the fullest that has room
    (first-fit and best-fit decreasing height: Coffman, Garey, Johnson and Tarjan, SIAM Journal on Computing
    9, 808-826, 1980); what is shorter than its shelf is stacked along the roll within it. The best is kept.

    Raises:
        ValueError: a sheet is wider than the roll; see :func:`fitted`.

    """
    kept = [one for one in sheets if one.count > 0]
    if any(one.across_mm > roll_width_mm + _SAME_MM for one in kept):
        raise ValueError("a sheet is wider than its roll")
    orders: tuple[Callable[[Sheets], tuple[float, ...]], ...] = (
        lambda one: (-one.along_mm, -one.across_mm),
        lambda one: (-one.across_mm, -one.along_mm),
        lambda one: (-one.along_mm * one.across_mm,),
    )
    found = [
        _shelved(sorted(kept, key=order), roll_width_mm, fullest=fullest)
        for order in orders
        for fullest in (False, True)
    ]
    return min(found, key=lambda one: one.length_mm)


@dataclass(slots=True)
class _Shelf:
    """One length of the roll in the making; lives inside one call."""

    y_mm: float
    height_mm: float
    filled_mm: float
    stacks: list[list[float]]  #: x, width and filled height of each column of sheets

    def takes(self, across_mm: float, along_mm: float, width_mm: float) -> bool:
        """Say whether a sheet so small could still lie here."""
        beside = self.filled_mm + across_mm <= width_mm + _SAME_MM
        return beside or any(self.height_mm - stack[2] + _SAME_MM >= along_mm for stack in self.stacks)


def _shelved(sheets: list[Sheets], width_mm: float, *, fullest: bool) -> Cutting:
    shelves: list[_Shelf] = []  # those that may still take something
    placed: list[Placed] = []
    end = 0.0
    for number, kind in enumerate(sheets):
        narrowest = min(one.across_mm for one in sheets[number:])
        shortest = min(one.along_mm for one in sheets[number:])
        shelves = [shelf for shelf in shelves if shelf.takes(narrowest, shortest, width_mm)]
        for _ in range(kind.count):
            spot = _on_stack(shelves, kind) or _on_shelf(shelves, kind, width_mm, fullest=fullest)
            if spot is None:
                shelves = [shelf for shelf in shelves if shelf.takes(narrowest, shortest, width_mm)]
                fresh = _Shelf(end, kind.along_mm, kind.across_mm, [[0.0, kind.across_mm, kind.along_mm]])
                shelves.append(fresh)
                spot = 0.0, end
                end += kind.along_mm
            placed.append(Placed(*spot, kind.across_mm, kind.along_mm, kind.what))
    return Cutting(width_mm, end, tuple(placed))


def _on_stack(shelves: list[_Shelf], kind: Sheets) -> tuple[float, float] | None:
    """Place a sheet beyond another one of its own width, where the shelf is long enough for both."""
    for shelf in shelves:
        for stack in shelf.stacks:
            if (
                abs(stack[1] - kind.across_mm) < _SAME_MM
                and stack[2] + kind.along_mm <= shelf.height_mm + _SAME_MM
            ):
                at = stack[0], shelf.y_mm + stack[2]
                stack[2] += kind.along_mm
                return at
    return None


def _on_shelf(
    shelves: list[_Shelf], kind: Sheets, width_mm: float, *, fullest: bool
) -> tuple[float, float] | None:
    """Place a sheet at the end of the first shelf that has room, or of the fullest one."""
    room = [
        shelf
        for shelf in shelves
        if shelf.filled_mm + kind.across_mm <= width_mm + _SAME_MM
        and kind.along_mm <= shelf.height_mm + _SAME_MM
    ]
    if not room:
        return None
    shelf = max(room, key=lambda one: one.filled_mm) if fullest else room[0]
    at = shelf.filled_mm, shelf.y_mm
    shelf.stacks.append([shelf.filled_mm, kind.across_mm, kind.along_mm])
    shelf.filled_mm += kind.across_mm
    return at
