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
    blocks = len(design.threads)

    def by_colour(amount: Floats) -> tuple[float, ...]:
        return tuple(np.bincount(design.colour, weights=amount, minlength=blocks).tolist())

    seconds = _seconds(design, speed_spm)
    return Use(
        thread_m=float(upper.sum() / 1000.0),
        bobbin_m=float(bobbin.sum() / 1000.0),
        minutes=float(seconds.sum() / 60.0),
        colours_thread_m=by_colour(upper / 1000.0),
        colours_bobbin_m=by_colour(bobbin / 1000.0),
        colours_minutes=by_colour(seconds / 60.0),
    )


def _seconds(design: Design, speed_spm: float) -> Floats:
    """Return the time that leads up to each penetration, s; (m,).

    A stitch takes one turn of the machine, slower the longer it is, or the time that the frame needs for
    its move, whichever is more. A jump takes a turn at the lowest speed for each step of the frame. Trims,
    colour changes and halts count for the penetration after them, or for the last one.
    """
    known = constants("machine")
    knots = (known["full_speed_mm"].value, known["slow_length_mm"].value)
    lowest = 60.0 / (speed_spm * known["slow_share"].value)
    moves = np.zeros(len(design.penetrations))
    moves[1:] = np.hypot(*np.diff(design.penetrations, axis=0).T)
    speed = speed_spm * np.interp(moves, knots, (1.0, known["slow_share"].value))
    stitch = np.maximum(60.0 / speed, np.minimum(_frame_s(moves) / known["frame_share"].value, lowest))
    jump = np.ceil(moves / known["jump_steps_mm"].value).clip(1.0) * lowest
    seconds = np.where(~design.jumped & design.joined, stitch, jump)
    seconds += known["start_s"].value * ~design.joined
    down = np.cumsum(design.kinds == Command.STITCH)
    for command, name in (
        (Command.TRIM, "trim_s"),
        (Command.COLOUR_CHANGE, "colour_change_s"),
        (Command.STOP, "start_s"),
    ):
        after = np.minimum(down[design.kinds == command], len(seconds) - 1)
        np.add.at(seconds, after, known[name].value)
    return seconds


def _frame_s(move_mm: Floats) -> Floats:
    """Return the least time in which the frame moves by ``move_mm`` (k,) from rest to rest, s.

    It is sped up and slowed down at ``frame_m_per_s2``: t = 2 sqrt(L / a) (derived).
    """
    return np.asarray(2.0 * np.sqrt(move_mm / 1000.0 / constants("machine")["frame_m_per_s2"].value))
