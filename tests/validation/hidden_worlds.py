"""Virtual sew-outs: the stitch-by-stitch model with hidden parameters plays the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np
from law_cases import circle, disc, fill, rectangle, run, turned

from analyzer import goods, mechanics
from analyzer.design import Command, Design
from analyzer.goods import Draws, Stack, StackChoice, values
from analyzer.job import Calibration, Job
from analyzer.mechanics.stitchwise import SewOut, Thread, sew_out
from analyzer.regions import cut
from analyzer.sewout.learn import Measured, calibration, learn
from analyzer.sewout.nodes import Nodes, _sought, compute
from analyzer.sewout.piece import Measure, measures, piece_design

HOOP = "180x300"
#: Cloth and what is behind it: a knit, a twill, a thick knit.
SETUPS = (("jersey", "cutaway:85"), ("cotton-twill", "tearaway:50"), ("sweatshirt", "mesh-cutaway:50"))
#: Designs that are not the test piece: by which the law's own error was chosen, and some it was not.
OTHERS = ("disc", "upright bar", "large disc", "small bar")
UNSEEN = ("open square", "slanting bar")
_SLANT = 12.0 * np.sqrt(0.5)
_PLACES = {
    "disc": ((11.0, 0.0), (-11.0, 0.0)),
    "upright bar": ((0.0, 8.0), (0.0, -8.0)),
    "large disc": ((18.0, 0.0), (-18.0, 0.0)),
    "small bar": ((6.0, 0.0), (-6.0, 0.0)),
    "open square": ((8.0, 0.0), (-8.0, 0.0)),
    "slanting bar": ((_SLANT, _SLANT), (-_SLANT, -_SLANT)),
}


def _box(width: float, height: float) -> np.ndarray:
    return 0.5 * np.array([width, height]) * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]])


@cache
def other_design(name: str) -> Design:
    """A fill that is none of the test piece's, and an outline run sewn last round it.

    Discs 22 and 36 mm wide, of rows 0.45 and 0.4 mm apart; bars 30 x 16 mm with upright rows and 12 x 18 mm;
    a square of 16 mm whose rows lie 0.6 mm apart; a bar 24 x 14 mm, turned by 45 degrees to the cloth.
    """
    fills = {
        "disc": fill(disc(11.0, 0.45, 3.0), 0.45, 3.0).points,
        "upright bar": turned(rectangle(16.0, 30.0, 0.4, 4.0), 90.0),
        "large disc": fill(disc(18.0, 0.4, 4.0), 0.4, 4.0).points,
        "small bar": rectangle(12.0, 18.0, 0.4, 3.5),
        "open square": rectangle(16.0, 16.0, 0.6, 3.0),
        "slanting bar": turned(rectangle(24.0, 14.0, 0.4, 3.5), 45.0),
    }
    outlines = {
        "disc": circle(11.0),
        "upright bar": _box(30.0, 16.0),
        "large disc": circle(18.0),
        "small bar": _box(12.0, 18.0),
        "open square": _box(16.0, 16.0),
        "slanting bar": turned(_box(24.0, 14.0), 45.0),
    }
    parts = [fills[name], run(outlines[name]).points]
    points = np.concatenate([np.r_[part, part[-1:]] for part in parts])
    kinds = np.concatenate([[Command.STITCH] * len(part) + [Command.TRIM] for part in parts])
    return Design.from_commands(np.round(points, 2), kinds)


def targets(name: str) -> tuple[Measure, ...]:
    return tuple(Measure(f"gap {at}", "gap", at, at, 0.0) for at in _PLACES[name])


@dataclass(frozen=True)
class World:
    """What is hidden: scores of the parameters, and a bobbin tie that the law does not know."""

    scores: dict[str, float]
    bobbin: Thread | None


def world(number: int) -> World:
    """A world drawn from the tables' own spreads; every second one has a bobbin tie."""
    rng = np.random.default_rng(1000 + number)
    scores = {name: float(rng.standard_normal()) for name in goods.PARAMETERS}
    stiff, pull = rng.uniform(20.0, 60.0), rng.uniform(0.05, 0.2)
    return World(scores, Thread(stiff, pull) if number % 2 else None)


def hidden(world: World, stack: Stack, name: str) -> float:
    one = {name: np.array([world.scores[name]])}
    return float(values(Draws(0, 1, one), name, stack.spreads[name])[0])


def sewn(world: World, design: Design, stack: Stack) -> tuple[SewOut, float]:
    """Sew a design in a world; also returns the play there."""
    factor = {
        "goods": hidden(world, stack, "goods_stiffness"),
        "backing": hidden(world, stack, "backing_stiffness"),
    }
    membrane = sum(factor[layer.role] * layer.membrane for layer in stack.layers)
    upper = Thread(hidden(world, stack, "thread_stiffness_n"), hidden(world, stack, "pull_n"))
    lower = world.bobbin or Thread(0.0, 0.0)
    # both lock at one moment and at one length, so they act as one tie until either goes slack
    out = sew_out(
        design.penetrations,
        mechanics.sewing.loading(design),
        membrane,
        radius_mm=0.5 * stack.needle.blade_mm.value,
        thread=Thread(upper.stiffness_n + lower.stiffness_n, upper.pull_n + lower.pull_n),
        lock_share=hidden(world, stack, "lock_share"),
    )
    return out, hidden(world, stack, "play_mm")


def ruler(out: SewOut, play: float, design: Design, wanted: tuple[Measure, ...]) -> np.ndarray:
    """What a ruler would find, without reading error: (k,) mm."""
    sought, plays, meant, _ = _sought(design, cut(design), wanted, 0.375)
    # of a column each rail drifts since its own needle point: the one before where the place is not its own
    there = np.hypot(*(design.penetrations[sought.penetration] - sought.at).T) < 1e-6
    before = np.hypot(*(design.penetrations[sought.penetration - 1] - sought.at).T) < 1e-6
    drift = out.drift[np.where(before & ~there, sought.penetration - 1, sought.penetration)]
    for number, one in enumerate(wanted):
        if one.kind == "marks":
            rows = sought.gather[number].indices
            drift[rows] = out.displacement_at(sought.at[rows])
    moved = sought.gather @ np.einsum("ij,ij->i", drift, sought.direction)
    return meant + moved + plays * play


@dataclass(frozen=True)
class Bench:
    """What all worlds share on one cloth and backing: the stack, the test piece and its nodes."""

    cloth: str
    backing: str
    stack: Stack
    piece: Design
    nodes: Nodes


def stack_on(
    cloth: str, backing: str, taught: Calibration | None = None
) -> tuple[object, Stack, StackChoice]:
    setup = goods.resolve(Job(goods=cloth, hoop=HOOP, calibration=taught), cloth, (90.0, 70.0))
    choice = StackChoice(goods.parse_backing(backing, setup.tables), None)
    return setup, goods.build_stack(setup, choice, taught), choice


@cache
def bench(number: int = 0) -> Bench:
    """The bench of one of SETUPS."""
    cloth, backing = SETUPS[number]
    piece = piece_design()
    setup, stack, _ = stack_on(cloth, backing)
    return Bench(cloth, backing, stack, piece, compute(piece, setup, stack, measures()))


def truth(bench: Bench, world: World, others: Iterable[str] = OTHERS) -> tuple[np.ndarray, tuple[float, ...]]:
    """The test piece by the ruler, and the mean gap of each other design without play."""
    measured = ruler(*sewn(world, bench.piece, bench.stack), bench.piece, measures())
    found = []
    for name in others:
        design = other_design(name)
        out, _ = sewn(world, design, bench.stack)
        found.append(float(ruler(out, 0.0, design, targets(name)).mean()))
    return measured, tuple(found)


def by_the_law(
    bench: Bench, world: World, others: Iterable[str] = OTHERS
) -> tuple[np.ndarray, tuple[float, ...]]:
    """The same where the law itself plays the machine, bobbin tie left out: a control without its errors."""
    own = Draws(0, 1, {name: np.array([score]) for name, score in world.scores.items()})
    setup, stack, _ = stack_on(bench.cloth, bench.backing)
    found = []
    for name in others:
        nodes = compute(other_design(name), setup, stack, targets(name))
        found.append(float((nodes.meant + nodes.shift(own)[0]).mean()))
    return bench.nodes.measured(own)[0], tuple(found)


def predicted(bench: Bench, taught: Calibration | None, other: str) -> np.ndarray:
    """Draws of the mean gap of another design, as check makes them with a calibration or with None."""
    setup, stack, choice = stack_on(bench.cloth, bench.backing, taught)
    draws = goods.correlated(goods.draw(1000, 0), taught, bench.cloth, choice)
    found = compute(other_design(other), setup, stack, targets(other))
    return (found.meant + found.shift(draws)).mean(axis=1)


@cache
def untaught(setup: int, other: str) -> np.ndarray:
    return predicted(bench(setup), None, other)


def record(bench: Bench, measured: np.ndarray, error: float, which: int, kinds: np.ndarray) -> Measured:
    """One record of the measures ``kinds`` (k,) with the reading errors of try ``which``."""
    noise = np.random.default_rng(which).standard_normal(len(measured))
    value = np.where(kinds, np.round(measured + error * noise, 2), np.nan)
    return Measured(
        str(which), "loft", "polyester-40", bench.cloth, bench.backing.partition(":")[0], bench.nodes, value,
        np.full(len(measured), error),
    )  # fmt: skip


def taught_by(records: list[Measured]) -> Calibration | None:
    return calibration(learn(records), "loft", "polyester-40")


#: What of the test piece is measured.
SEEN: dict[str, Callable[[Measure], bool]] = {
    "one 8 mm column": lambda one: one.name == "8 mm column, upright",
    "all columns": lambda one: one.kind == "width",
    "columns and fill": lambda one: one.kind in ("width", "sewn"),
    "columns, fill, gaps": lambda one: one.kind != "marks",
    "everything": lambda one: True,
}
#: Percentiles of a prediction: median, 5 and 95 %, 25 and 75 %.
PERCENTILES = (50, 5, 95, 25, 75)


@dataclass(frozen=True)
class Row:
    """What is measured: the reading error mm, what of the piece (None: nothing), how many pieces."""

    error: float
    seen: str | None
    pieces: int


def limits(
    setup: int, number: int, measured: np.ndarray, row: Row, others: tuple[str, ...] = OTHERS
) -> np.ndarray:
    """Percentiles (others, 5) of the gaps of other designs, after what ``row`` says is measured."""
    own = bench(setup)
    if row.seen is None:
        found = [untaught(setup, other) for other in others]
    else:
        kinds = np.array([SEEN[row.seen](one) for one in measures()])
        tries = [
            record(own, measured, row.error, 10_000 * piece + number, kinds) for piece in range(row.pieces)
        ]
        taught = taught_by(tries)
        found = [predicted(own, taught, other) for other in others]
    return np.percentile(found, PERCENTILES, axis=1).T


@dataclass(frozen=True)
class Score:
    """How good predictions are; ``se`` are standard errors by world, since the gaps of one go together."""

    off: float  #: median of |predicted / true - 1|
    tenth: float  #: what the worst tenth is off by more than
    held: float  #: share of truths within the 5-95 % limits
    held_se: float
    half: float  #: within the 25-75 % limits
    half_se: float
    width: float  #: 95 % over 5 %, median


def score(true: np.ndarray, found: np.ndarray) -> Score:
    """Score predictions (worlds, others, 5) against truths (worlds, others)."""
    middle, low, high, quarter, three = np.moveaxis(found, -1, 0)
    off = np.abs(middle / true - 1.0)
    each = [(a <= true) & (true <= b) for a, b in ((low, high), (quarter, three))]
    se = [float(np.std(one.mean(axis=1), ddof=1) / np.sqrt(len(one))) for one in each]
    return Score(
        float(np.median(off)), float(np.percentile(off, 90)), float(each[0].mean()), se[0],
        float(each[1].mean()), se[1], float(np.median(high / low)),
    )  # fmt: skip
