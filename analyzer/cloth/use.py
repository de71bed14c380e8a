"""Thread and time that one piece takes."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats
from analyzer.cloth.types import Use
from analyzer.design import Command, Design
from analyzer.goods.constants import constants


def lockstitch(length_mm: Floats, thickness_mm: float, upper_share: float) -> tuple[Floats, Floats]:
    """Return upper and bobbin thread of stitches of ``length_mm`` (k,) through a thickness; (k,) mm each.

    Rectangular model of class 301 (ISO 4915): both threads lie straight along the stitch, and at each
    penetration they meet at depth ``upper_share`` of the thickness, which each thread goes to and comes back
    from. Both together: 2 L + 2 t.
    """
    upper = length_mm + 2.0 * upper_share * thickness_mm
    return upper, length_mm + 2.0 * (1.0 - upper_share) * thickness_mm


def use(design: Design, *, thickness_mm: float, speed_spm: float) -> Use:
    """Return the thread and the time for one piece through a stack of ``thickness_mm`` at ``speed_spm``.

    Floats use thread like any stitch. Each beginning of sewing (after a trim, a colour change, at the start)
    loses its tails. The time is that of the machine alone, without hooping, rethreading and stops.
    """
    known = constants("machine")
    length = design.lengths_mm
    upper, bobbin = lockstitch(length, thickness_mm, known["upper_share"].value)
    begins = ~design.joined
    upper = np.where(begins, known["upper_tail_mm"].value, upper)
    bobbin = np.where(begins, known["bobbin_tail_mm"].value, bobbin)
    blocks = np.bincount(design.colour, weights=upper, minlength=len(design.threads)) / 1000.0
    return Use(
        thread_m=float(upper.sum() / 1000.0),
        bobbin_m=float(bobbin.sum() / 1000.0),
        minutes=_seconds(design, speed_spm) / 60.0,
        colours_thread_m=tuple(float(block) for block in blocks),
    )


def _seconds(design: Design, speed_spm: float) -> float:
    """Return the time of stitches (slowed by length), jumps, trims, colour changes and beginnings, s."""
    known = constants("machine")
    knots = (known["full_speed_mm"].value, known["slow_length_mm"].value)
    moves = np.zeros(len(design.penetrations))
    moves[1:] = np.hypot(*np.diff(design.penetrations, axis=0).T)
    sewn = ~design.jumped & design.joined
    speed = speed_spm * np.interp(moves[sewn], knots, (1.0, known["slow_share"].value))
    turns = np.ceil(moves[~sewn] / known["jump_steps_mm"].value).clip(1.0)
    begins = np.count_nonzero(~design.joined) + design.count(Command.STOP)
    return float(
        (60.0 / speed).sum()
        + turns.sum() * 60.0 / (speed_spm * known["slow_share"].value)
        + known["trim_s"].value * design.count(Command.TRIM)
        + known["colour_change_s"].value * design.count(Command.COLOUR_CHANGE)
        + known["start_s"].value * begins
    )
