"""Countering: moving the stitches so that, sewn, they end where the file means them to.

A stitch sewn at ``x`` ends at ``x + d``, ``d`` its drift from its own moment to the end of the sewing. The
countered place is ``x = x_meant - d(x)``, found by repeating ``x <- x - (x + d - x_meant)`` with the drift of
the moved stitches; each pass shrinks the error by about the strain of the cloth. All of it is nominal: how
far the thread really pulls is not known better than the pull's range, and of the gap about ``|1 - F_true /
F_model|`` is left (derived: the drift is linear in the pull).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from analyzer.arrays import Bools, Floats, frozen
from analyzer.design import Command, Design
from analyzer.goods import Stack
from analyzer.goods.constants import constants
from analyzer.mechanics.answer import visible
from analyzer.mechanics.drift import drift
from analyzer.mechanics.respond import sew_nominal
from analyzer.mechanics.sewing import Sewing, prepare
from analyzer.regions.types import OutlinePair

#: Why a copy is not, or not wholly, where it should be.
Reason: TypeAlias = Literal["", "beyond-range", "did-not-settle", "machine-limits"]

PASSES = 6  # backed cloth takes one or two; more than this would be no use


@dataclass(frozen=True, slots=True)
class Miss:
    """How far sewn stitches end from where the file means them, mm.

    ``gap_mm`` is the largest change of a gap along all outlines (None without any), ``place_mm`` the largest
    distance of a visible penetration from its meant place.
    """

    gap_mm: float | None
    place_mm: float

    @property
    def worst_mm(self) -> float:
        """The larger of both."""
        return max(self.place_mm, self.gap_mm or 0.0)


@dataclass(frozen=True, slots=True)
class Moves:
    """How far each penetration is moved, and what that does; all predicted, at nominal values.

    ``rounded`` is what is left when places are rounded to the steps of stitch files.
    """

    shift_mm: Floats  #: (m, 2)
    passes: int
    before: Miss
    after: Miss
    rounded: Miss
    held: int  #: stitches that kept their length, since a machine would not sew the changed one
    reason: Reason

    @property
    def largest_mm(self) -> float:
        """The largest move."""
        return float(np.hypot(*self.shift_mm.T).max(initial=0.0))


def counter(sewing: Sewing, stack: Stack, progress: Callable[[float], None] | None = None) -> Moves:
    """Find the moves that bring every stitch of ``sewing.design`` to where the file means it.

    Stops when gaps along outlines and the places of visible stitches are within ``counter_within_mm``, and
    keeps the best pass where they do not get there. Cloth that strains beyond the range of the model is not
    countered.

    Raises:
        NotConverged: a solve missed its tolerance.

    """
    limits = constants("mechanics")
    within = limits["counter_within_mm"].value
    step = limits["counter_step_mm"].value
    meant = sewing.design.penetrations
    shift = np.zeros_like(meant)
    held = np.zeros(len(meant), dtype=np.bool_)
    tell = progress or _nothing

    before, moved, beyond = _sewn(sewing, sewing, shift, stack)
    tell(1.0 / (PASSES + 2))
    if beyond:
        return Moves(frozen(shift), 0, before, before, before, 0, "beyond-range")
    best, best_shift, best_held, passes = before, shift, 0, 0
    for number in range(1, PASSES + 1):
        shift, held = within_limits(sewing.design, -moved, held)
        after, moved, _ = _sewn(sewing, _moved(sewing, shift), shift, stack)
        tell((number + 1.0) / (PASSES + 2))
        if after.worst_mm < best.worst_mm:
            best, best_shift, best_held, passes = after, shift, int(held.sum()), number
        if after.worst_mm <= within:
            break
    exact = np.rint((meant + best_shift) / step) * step - meant
    rounded, _, _ = _sewn(sewing, _moved(sewing, exact), exact, stack)
    tell(1.0)
    reason: Reason = ""
    if best.worst_mm > within:
        reason = "machine-limits" if best_held else "did-not-settle"
    return Moves(frozen(best_shift), passes, before, best, rounded, best_held, reason)


def _nothing(_: float) -> None:
    """Stand in for a progress that nobody watches."""


def moved_design(design: Design, shift_mm: Floats) -> Design:
    """Return ``design`` with each penetration moved by ``shift_mm`` (m, 2).

    A jump moves as the penetration that it leads to, what the machine does in between as the one before.
    """
    down = design.kinds == Command.STITCH
    number = np.cumsum(down)
    leads = (design.kinds == Command.JUMP) | (design.kinds == Command.SEQUIN)
    of = np.clip(np.where(leads, number, number - 1), 0, len(shift_mm) - 1)
    return Design.from_commands(
        design.points + shift_mm[of],
        design.kinds,
        name=design.name,
        format=design.format,
        threads=design.threads,
        notes=design.notes,
        damaged=design.damaged,
    )


def within_limits(design: Design, shift_mm: Floats, held: Bools) -> tuple[Floats, Bools]:
    """Return the moves with which no stitch becomes shorter or longer than machines sew, and which were held.

    A stitch whose new length would leave the limits keeps its own: both its ends move alike, by the mean of
    what they and their neighbours in such a row want. One that is outside them in the file already may stay
    so, but not get worse. ``held`` (m,) marks the stitches that are held from before.
    """
    limits = constants("mechanics")
    shortest, longest = limits["counter_shortest_mm"].value, limits["longest_stitch_mm"].value
    length = design.lengths_mm
    low, high = np.minimum(length, shortest), np.maximum(length, longest)
    held = held & design.joined
    while True:
        group = np.cumsum(~held) - 1  # penetrations that held stitches join have one number
        size = np.bincount(group)
        shared = np.stack([np.bincount(group, weights=column) / size for column in shift_mm.T], axis=1)
        moved = shared[group]
        places = design.penetrations + moved
        new = np.zeros(len(length))
        new[1:] = np.hypot(*np.diff(places, axis=0).T)
        wrong = design.joined & ~held & ((new < low - 1e-9) | (new > high + 1e-9))
        if not wrong.any():
            return moved, held
        held = held | wrong


def _moved(sewing: Sewing, shift_mm: Floats) -> Sewing:
    """Lay the moved design out anew; regions and pairs are those of the file."""
    return prepare(moved_design(sewing.design, shift_mm), sewing.regions, sewing.hoop)


def _sewn(meant: Sewing, moved: Sewing, shift_mm: Floats, stack: Stack) -> tuple[Miss, Floats, bool]:
    """Sew ``moved`` and return its misses, the drift (m, 2) mm of its penetrations, and whether too far."""
    states, forming, beyond = sew_nominal(moved, stack)
    numbers = np.arange(len(shift_mm), dtype=np.int32)
    drifted = drift(moved.full, states, moved.design.penetrations, numbers, forming)[0]
    error = shift_mm + drifted
    gaps = [_gap_error(meant.design, error, pair) for pair in meant.regions.pairs]
    gap = max((float(np.abs(gap).max(initial=0.0)) for gap in gaps), default=None)
    place = np.hypot(*error.T)[visible(meant.regions) & meant.loaded]
    return Miss(gap, float(place.max(initial=0.0))), drifted, beyond


def _gap_error(design: Design, error_mm: Floats, pair: OutlinePair) -> Floats:
    """Return by how much the gap at each station (k,) mm differs from the one in the file.

    ``error_mm`` (m, 2) is how far each penetration ends from its meant place: a station of the outline lies
    between the two ends of the stitch that holds it, the border's edge at its own penetration.
    """
    last = pair.outline_stitch
    first = np.maximum(last - 1, 0)
    a, b = design.penetrations[first], design.penetrations[last]
    length2 = np.maximum(np.einsum("ki,ki->k", b - a, b - a), 1e-12)
    share = np.clip(np.einsum("ki,ki->k", pair.at - a, b - a) / length2, 0.0, 1.0)[:, None]
    outline = (1.0 - share) * error_mm[first] + share * error_mm[last]
    result: Floats = np.einsum("ki,ki->k", outline - error_mm[pair.edge_stitch], pair.normal)
    return result
