"""Learning from one test piece over hidden worlds: prints the tables of README.md, rows of markdown.

Run as ``python tests/validation/tell_hidden_worlds.py FIRST COUNT [PROCESSES]``. Worlds take the cloths in
turn. Every gap is predicted from end to end, from readings to percentiles.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from hidden_worlds import (
    OTHERS,
    SETUPS,
    UNSEEN,
    Row,
    bench,
    by_the_law,
    limits,
    score,
    truth,
    world,
)

ALL = OTHERS + UNSEEN
ROWS = {
    "before learning": Row(0.1, None, 0),
    "1 piece, everything, 0.05 mm": Row(0.05, "everything", 1),
    "1 piece, everything, 0.1 mm": Row(0.1, "everything", 1),
    "1 piece, everything, 0.2 mm": Row(0.2, "everything", 1),
    "2 pieces, everything, 0.1 mm": Row(0.1, "everything", 2),
    "3 pieces, everything, 0.1 mm": Row(0.1, "everything", 3),
    "1 piece, columns, fill and gaps, 0.1 mm": Row(0.1, "columns, fill, gaps", 1),
    "1 piece, columns and fill, 0.1 mm": Row(0.1, "columns and fill", 1),
    "1 piece, all columns, 0.1 mm": Row(0.1, "all columns", 1),
    "1 piece, one 8 mm column, 0.1 mm": Row(0.1, "one 8 mm column", 1),
}
CONTROLS = ("before learning", "1 piece, everything, 0.1 mm")


def one_world(number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Truths and predictions of one world, and the same where the law itself plays the machine."""
    setup = number % len(SETUPS)
    own = bench(setup)
    measured, true = truth(own, world(number), ALL)
    found = [limits(setup, number, measured, row, ALL) for row in ROWS.values()]
    measured, lawful = by_the_law(own, world(number), ALL)
    control = [limits(setup, number, measured, ROWS[name], ALL) for name in CONTROLS]
    return np.array(true), np.array(found), np.array(lawful), np.array(control)


def shares(true: np.ndarray, found: np.ndarray, groups: list[np.ndarray]) -> str:
    """Shares of truths (worlds, others) within limits, by groups of worlds, percent."""
    return " / ".join(f"{100 * score(true[own], found[own]).held:.0f}" for own in groups)


def tell(say: Callable[[str], None], numbers: range, results: list[tuple[np.ndarray, ...]]) -> None:
    """Print both tables and the control."""
    true, found, lawful, control = (np.array(each) for each in zip(*results, strict=True))
    number = np.array(numbers)
    ties = [number % 2 == 0, number % 2 == 1]
    cloths = [number % len(SETUPS) == setup for setup in range(len(SETUPS))]
    say(f"{len(numbers)} worlds, {true.size} gaps | off | worst tenth | held | 50 % held | width")
    for at, name in enumerate(ROWS):
        own = score(true, found[:, at])
        say(
            f"| {name} | {own.off:.1%} | {own.tenth:.0%} | {own.held:.1%} +- {own.held_se:.1%} "
            f"| {own.half:.0%} +- {own.half_se:.0%} | {own.width:.2f} |"
        )
    say("held, without / with tie | by cloth | by design")
    for at, name in enumerate(ROWS):
        designs = " / ".join(
            f"{100 * score(true[:, [n]], found[:, at][:, [n]]).held:.0f}" for n in range(len(ALL))
        )
        parts = [shares(true, found[:, at], groups) for groups in (ties, cloths)]
        say(f"| {name} | {parts[0]} | {parts[1]} | {designs} |")
    say("the law itself as the machine, held: all | without / with tie | by cloth")
    for at, name in enumerate(CONTROLS):
        own = score(lawful, control[:, at])
        parts = [shares(lawful, control[:, at], groups) for groups in (ties, cloths)]
        say(f"| {name} | {own.held:.1%} +- {own.held_se:.1%} | {parts[0]} | {parts[1]} |")


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    with ProcessPoolExecutor(int(sys.argv[3]) if len(sys.argv) > 3 else 1) as pool:
        answers = list(pool.map(one_world, range(first, first + count), chunksize=5))
    tell(print, range(first, first + count), answers)
