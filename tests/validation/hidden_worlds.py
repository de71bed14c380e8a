"""Virtual sew-outs: the stitch-by-stitch model with hidden parameters plays the machine."""

from __future__ import annotations

from collections.abc import Iterable
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
#: Designs that are not the test piece, by name, and where their gaps are asked for.
OTHERS = ("disc", "upright bar")
_PLACES = {"disc": ((11.0, 0.0), (-11.0, 0.0)), "upright bar": ((0.0, 8.0), (0.0, -8.0))}


def other_design(name: str) -> Design:
    """An outline run sewn last round a fill that is none of the test piece's.

    The disc is 22 mm wide, of rows 0.45 mm apart; the bar 30 x 16 mm, its rows upright (along the other
    direction of the cloth), 0.4 mm apart.
    """
    if name == "disc":
        parts = [fill(disc(11.0, 0.45, 3.0), 0.45, 3.0).points, run(circle(11.0)).points]
    else:
        corners = np.array([[-15.0, -8.0], [15.0, -8.0], [15.0, 8.0], [-15.0, 8.0], [-15.0, -8.0]])
        parts = [turned(rectangle(16.0, 30.0, 0.4, 4.0), 90.0), run(corners).points]
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


def predicted(bench: Bench, taught: Calibration | None, other: str) -> np.ndarray:
    """Draws of the mean gap of another design, as check makes them with a calibration or with None."""
    setup, stack, choice = stack_on(bench.cloth, bench.backing, taught)
    draws = goods.correlated(goods.draw(1000, 0), taught, bench.cloth, choice)
    found = compute(other_design(other), setup, stack, targets(other))
    return (found.meant + found.shift(draws)).mean(axis=1)


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
