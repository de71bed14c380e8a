"""Bayesian learning from measured sew-outs: spreads of pull, play and stiffness, and how they hang together.

The unknowns are the standard normal scores of ``goods.draws``; every record sees those of its own machine and
thread, cloth and backing. What a record measures follows from its nodes. Measures err by their reading error
and by what the law itself may be off, with the tails of Student's t (5 degrees of freedom), so that a slipped
hoop does not rule. The law errs in two parts: one alike for all measures of one kind on one design, one for
each place by itself (where its edge falls among the cells of the grid), both the same however often the
design is sewn. n measures that share a part are each given n times its variance, so that together they tell
no more than the law can (exact for the mean of Gaussians of one common error). What the law errs alike in
everything is no error here: it is learned as pull, and goes with it into every prediction. The posterior is
sampled by adaptive importance sampling (Cappe et al., Journal of Computational and Graphical Statistics
13:907, 2004) on Sobol points of scipy: same records, same result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from analyzer.arrays import Floats, Ints
from analyzer.goods import Draws, Value, constants, values
from analyzer.goods.draws import PARAMETERS, SCORE_95
from analyzer.job import Calibration, Learned
from analyzer.sewout.nodes import Nodes
from analyzer.sewout.piece import Measure

_POINTS, _ROUNDS, _ENOUGH, _FREEDOM = 4096, 24, 0.15, 5.0
_WIDER = 1.25  # of each proposal over what it is fitted to
_FARTHEST = 5.0  # scores
_WORTH = 0.15  # of a standard deviation: what a parameter must have narrowed or moved to count as learned

Key = tuple[str, str]  #: parameter, and what it is a parameter of


@dataclass(frozen=True, slots=True)
class Measured:
    """One sew-out as learning sees it: k measures in mm, NaN where not measured, and their reading errors."""

    id: str
    machine: str
    thread: str
    cloth: str
    backing: str
    nodes: Nodes
    value_mm: Floats
    error_mm: Floats
    changes_since: int = 0  #: how often the user said that something changed after it
    design: str = ""  #: what tells its design from others


@dataclass(frozen=True, slots=True)
class Lesson:
    """What records have taught: weighted scores (n, d) of the unknowns ``keys``, and their spreads."""

    keys: tuple[Key, ...]
    scores: Floats
    weights: Floats
    spreads: dict[Key, Value]
    records: tuple[Measured, ...]


def keys_of(record: Measured) -> dict[str, Key]:
    """Return the unknowns that a record sees, by parameter."""
    of = {
        "goods_stiffness": record.cloth,
        "play_mm": record.cloth,
        "backing_stiffness": record.backing,
        "perforation": record.backing,
        "thread_stiffness_n": record.thread,
    }
    machine = f"{record.machine}|{record.thread}"
    spreads = record.nodes.stack.spreads
    return {
        name: (name, of.get(name, machine))
        for name in PARAMETERS
        if name != "hooping_n_per_m" and spreads[name].low < spreads[name].high
    }


def learn(records: Sequence[Measured]) -> Lesson:
    """Return what ``records`` teach; without any, nothing is known but the tables' spreads."""
    spreads: dict[Key, Value] = {}
    for record in records:
        for name, key in keys_of(record).items():
            spreads.setdefault(key, record.nodes.stack.spreads[name])
    keys = tuple(sorted(spreads))
    size = len(keys)
    if not size:
        return Lesson((), np.zeros((1, 0)), np.ones(1), {}, tuple(records))
    grid = qmc.Sobol(size, scramble=True, rng=np.random.default_rng(0)).random(_POINTS)
    normal: Floats = ndtri(np.clip(grid, 1e-9, 1.0 - 1e-9))
    middle: Floats = np.zeros(size)
    root: Floats = np.eye(size)
    weights = np.full(_POINTS, 1.0 / _POINTS)
    scores = normal
    settled = 0
    shares = [law_share(one, records) for one in records]
    for _ in range(_ROUNDS):
        scores = np.clip(middle + normal @ root.T, -_FARTHEST, _FARTHEST)
        prior = -0.5 * np.square(scores).sum(axis=1) + 0.5 * np.square(normal).sum(axis=1)
        told = np.zeros(_POINTS)
        for one, share in zip(records, shares, strict=True):
            told += _likelihood(one, keys, scores, share)
        weights, whole = _tempered(prior, told)
        middle = weights @ scores
        off = scores - middle
        spread = (off * weights[:, None]).T @ off + 1e-6 * np.eye(size)
        root = np.asarray(np.linalg.cholesky(_WIDER**2 * spread), dtype=np.float64)
        settled = settled + 1 if whole else 0
        if settled == 3:
            break
    return Lesson(keys, scores, weights, spreads, tuple(records))


def _tempered(prior: Floats, told: Floats) -> tuple[Floats, bool]:
    """Return weights by as much of what is told as leaves enough points alive, and whether that is all."""
    low, high = 0.0, 1.0

    def weighted(share: float) -> Floats:
        logs = prior + share * told
        result: Floats = np.exp(logs - logs.max())
        result /= result.sum()
        return result

    def alive(share: float) -> float:
        return float(1.0 / (np.square(weighted(share)).sum() * len(prior)))

    if alive(1.0) >= _ENOUGH:
        return weighted(1.0), True
    for _ in range(30):
        share = 0.5 * (low + high)
        low, high = (share, high) if alive(share) >= _ENOUGH else (low, share)
    return weighted(low), False


def draws_for(record: Measured, keys: tuple[Key, ...], scores: Floats) -> Draws:
    """Return the scores of a record's own parameters as draws."""
    own = keys_of(record)
    zero = np.zeros(len(scores))
    held = {n: scores[:, keys.index(own[n])] if own.get(n) in keys else zero for n in PARAMETERS}
    return Draws(seed=0, count=len(scores), scores=held)


def law_share(record: Measured, records: Sequence[Measured], more: int = 0) -> Floats:
    """Return by which share (k,) of the movement each measure is taken to err with the law.

    Measures of one kind on one design, on the same cloth and backing with the same machine and thread, share
    one part of its error, and repeats at one place another, so each carries it as often as it is shared.
    Those out of the hoop share what relaxing does. ``more`` counts readings still to come of each measure.
    """
    table = constants("sewout")
    alike = [one for one in records if _sewn(one) == _sewn(record)]
    read = [
        measure
        for one in alike
        for measure, value in zip(one.nodes.measures, one.value_mm, strict=True)
        if np.isfinite(value)
    ]
    found = []
    for one in record.nodes.measures:
        kind = more + sum(other.kind == one.kind for other in read)
        place = more + sum(_place(other) == _place(one) for other in read)
        variance = max(1, kind) * table[f"law_{one.kind}"].value ** 2
        variance += max(1, place) * table[f"place_{one.kind}"].value ** 2
        if one.released:
            variance += max(1, sum(other.released for other in read)) * table["law_released"].value ** 2
        found.append(np.sqrt(variance))
    return np.array(found)


def times_read(record: Measured, records: Sequence[Measured]) -> Ints:
    """Return how often each measure (k,) was read, by whatever shares the law's error with ``record``."""
    alike = [one for one in records if _sewn(one) == _sewn(record)]
    read = [
        _place(measure)
        for one in alike
        for measure, value in zip(one.nodes.measures, one.value_mm, strict=True)
        if np.isfinite(value)
    ]
    return np.array([read.count(_place(one)) for one in record.nodes.measures], dtype=np.int32)


def _sewn(one: Measured) -> tuple[str, ...]:
    return one.machine, one.thread, one.cloth, one.backing, one.design


def _place(one: Measure) -> tuple[object, ...]:
    return one.kind, one.start, one.end


def error_mm(record: Measured, shift: Floats, share: Floats) -> Floats:
    """Return how far measures may be off (n, k) mm, given the movement (n, k) that is predicted.

    ``share`` (k,) is by how much the law may be off (:func:`law_share`).
    """
    older = constants("sewout")["changed_factor"].value ** record.changes_since
    result: Floats = older * np.sqrt(np.square(record.error_mm) + np.square(share * shift))
    return result


def _likelihood(record: Measured, keys: tuple[Key, ...], scores: Floats, share: Floats) -> Floats:
    """Return the logarithm of the likelihood (n,) of one record."""
    draws = draws_for(record, keys, scores)
    shift = record.nodes.shift(draws)
    play = values(draws, "play_mm", record.nodes.stack.spreads["play_mm"])
    predicted = record.nodes.meant + shift + play[:, None] * record.nodes.play
    error = error_mm(record, shift, share)
    there = np.isfinite(record.value_mm)
    off = (record.value_mm[there] - predicted[:, there]) / error[:, there]
    each = -0.5 * (_FREEDOM + 1.0) * np.log1p(np.square(off) / _FREEDOM) - np.log(error[:, there])
    result: Floats = each.sum(axis=1)
    return result


def quantiles(samples: Floats, weights: Floats) -> tuple[float, float, float]:
    """Return median, 5 and 95 % of weighted samples (n,)."""
    order = np.argsort(samples, kind="stable")
    below = np.cumsum(weights[order]) - 0.5 * weights[order]
    low, median, high = np.interp([0.05, 0.5, 0.95], below, samples[order])
    return float(median), float(low), float(high)


def calibration(lesson: Lesson, machine: str, thread: str) -> Calibration | None:
    """Return what holds for a machine and thread; None where no record is of them.

    What the law itself may be off widens the pull, since every movement goes with it.
    """
    pair = f"{machine}|{thread}"
    records = [one for one in lesson.records if (one.machine, one.thread) == (machine, thread)]
    if not records:
        return None
    common = {"pull_n": pair, "lock_share": pair, "thread_stiffness_n": thread}
    law = constants("sewout")["law_error"].value
    learned, scores = [], []
    for number, (parameter, of) in enumerate(lesson.keys):
        if parameter == "perforation" or common.get(parameter, of) != of:
            continue  # perforation is hardly told by any measure; it stays as the table has it
        drawn = Draws(0, len(lesson.scores), {parameter: lesson.scores[:, number]})
        log = np.log(values(drawn, parameter, lesson.spreads[parameter, of]))
        middle, low, high = quantiles(log, lesson.weights)
        extra = SCORE_95 * law if parameter == "pull_n" else 0.0
        # a spread of nothing would have no scores
        below, above = (float(np.hypot(max(side, 1e-6), extra)) for side in (middle - low, high - middle))
        found = tuple(float(np.exp(each)) for each in (middle, middle - below, middle + above))
        learned.append(Learned(parameter, None if parameter in common else of, *found))
        scores.append(SCORE_95 * (log - middle) / np.where(log < middle, below, above))
    own = np.array(
        [
            law * SCORE_95 / np.log(one.high / one.median) if one.parameter == "pull_n" else 0.0
            for one in learned
        ]
    )
    return Calibration(
        sewouts=len(records),
        learned=tuple(learned),
        correlation=_correlation(np.stack(scores, axis=1), lesson.weights, own),
    )


def _correlation(scores: Floats, weights: Floats, own: Floats) -> tuple[tuple[float, ...], ...]:
    """Return how ``scores`` (n, d) in their learned spreads hang together, each with its ``own`` part (d,).

    The own part is what the law may be off, in scores of the pull: it goes with nothing else.
    """
    off = scores - weights @ scores
    cov = (off * weights[:, None]).T @ off + np.diag(np.square(own) + 1e-9)
    size = np.sqrt(np.diag(cov))
    return tuple(tuple(map(float, row)) for row in np.round(cov / np.outer(size, size), 6))
