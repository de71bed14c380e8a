"""Virtual sew-outs: the stitch-by-stitch model with hidden parameters plays the machine."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from law_cases import circle, disc, fill, run

from analyzer import goods, mechanics
from analyzer.design import Command, Design
from analyzer.goods import Draws, Stack, StackChoice, values
from analyzer.job import Job
from analyzer.mechanics.stitchwise import SewOut, Thread, sew_out
from analyzer.regions import cut
from analyzer.sewout.learn import Measured, calibration, learn
from analyzer.sewout.nodes import Nodes, _sought, compute
from analyzer.sewout.piece import Measure, measures, piece_design

GOODS, BACKING, HOOP = "jersey", "cutaway:85", "180x300"
TARGET_PLACES = ((11.0, 0.0), (-11.0, 0.0))


def other_design() -> Design:
    """A disc of 22 mm filled at 0.45 mm rows, with an outline run sewn last: not the test piece."""
    parts = [fill(disc(11.0, 0.45, 3.0), 0.45, 3.0).points, run(circle(11.0)).points]
    points = np.concatenate([np.r_[part, part[-1:]] for part in parts])
    kinds = np.concatenate([[Command.STITCH] * len(part) + [Command.TRIM] for part in parts])
    return Design.from_commands(np.round(points, 2), kinds)


TARGETS = tuple(Measure(f"gap {at}", "gap", at, at, 0.0) for at in TARGET_PLACES)


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
    drift = out.drift[sought.penetration]
    for number, one in enumerate(wanted):
        if one.kind == "marks":
            rows = sought.gather[number].indices
            drift[rows] = out.displacement_at(sought.at[rows])
    moved = sought.gather @ np.einsum("ij,ij->i", drift, sought.direction)
    return meant + moved + plays * play


@dataclass(frozen=True)
class Bench:
    """What all worlds share: both designs on the stack, and their nodes."""

    stack: Stack
    piece: Design
    other: Design
    nodes: Nodes


def bench() -> Bench:
    piece, other = piece_design(), other_design()
    setup = goods.resolve(Job(goods=GOODS, hoop=HOOP), GOODS, piece.size_mm)
    choice = StackChoice(goods.parse_backing(BACKING, setup.tables), None)
    stack = goods.build_stack(setup, choice)
    return Bench(stack, piece, other, compute(piece, setup, stack, measures()))


def truth(bench: Bench, world: World) -> tuple[np.ndarray, float]:
    """The test piece by the ruler, and the mean gap of the other design without play."""
    measured = ruler(*sewn(world, bench.piece, bench.stack), bench.piece, measures())
    out, _ = sewn(world, bench.other, bench.stack)
    return measured, float(ruler(out, 0.0, bench.other, TARGETS).mean())


def predicted(taught: object) -> np.ndarray:
    """Draws of the mean gap of the other design, as check makes them with a calibration or with None."""
    other = other_design()
    job = Job(goods=GOODS, hoop=HOOP, calibration=taught)
    setup = goods.resolve(job, GOODS, other.size_mm)
    choice = StackChoice(goods.parse_backing(BACKING, setup.tables), None)
    stack = goods.build_stack(setup, choice, taught)
    draws = goods.correlated(goods.draw(1000, 0), taught, GOODS, choice)
    found = compute(other, setup, stack, TARGETS)
    return (found.meant + found.shift(draws)).mean(axis=1)


def record(bench: Bench, measured: np.ndarray, error: float, which: int, kinds: np.ndarray) -> Measured:
    """One record of the measures ``kinds`` (k,) with the reading errors of try ``which``."""
    noise = np.random.default_rng(which).standard_normal(len(measured))
    value = np.where(kinds, np.round(measured + error * noise, 2), np.nan)
    return Measured(
        str(which), "loft", "polyester-40", GOODS, "cutaway", bench.nodes, value,
        np.full(len(measured), error),
    )  # fmt: skip


def after(bench: Bench, records: list[Measured]) -> np.ndarray:
    return predicted(calibration(learn(records), "loft", "polyester-40"))


__all__ = ["Bench", "World", "after", "bench", "predicted", "record", "replace", "truth", "world"]
