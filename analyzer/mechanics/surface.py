"""A response surface: wanted quantities over all draws from a few runs of the whole sequence.

Everything is exactly linear in the pull F. In the stiffnesses it is not, but nearly a power law; so one positive
scale (the rms displacement) is fitted as a quadratic in the parameters' logarithms, and each quantity's
ratio to that scale as another. Share left at locking and perforation enter by their own slopes at the middle.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from analyzer.arrays import Floats
from analyzer.goods import Draws, Stack, values

QUADRATIC = ("goods_stiffness", "backing_stiffness", "thread_stiffness_n")
LINEAR = ("lock_share", "perforation")
_WORTH_NAMING = 0.05  # share of variance below which a parameter is not named
_BEYOND = 1.35  # how far past its 5 and 95 % a surface is read, in logarithms


@dataclass(frozen=True, slots=True)
class Plan:
    """Which runs to make: ``factors`` (v, parameters) of each run on the nominal values, run 0 nominal."""

    quadratic: tuple[str, ...]
    linear: tuple[str, ...]
    factors: dict[str, Floats]


def plan_runs(stack: Stack) -> Plan:
    """Return the least runs that determine the surface: middle, both ends of each axis, one corner for each pair.

    The corner is that of the lowest values, where the cloth moves most.
    """
    backed = any(layer.role == "backing" for layer in stack.layers)
    idle = set() if backed else {"backing_stiffness"}
    idle |= set() if stack.goods is not None else {"goods_stiffness"}
    idle |= set() if any(layer.perforation_mm2 > 0 for layer in stack.layers) else {"perforation"}

    def varies(name: str) -> bool:
        spread = stack.spreads.get(name)
        return name not in idle and spread is not None and spread.low < spread.high

    quadratic, linear = (tuple(filter(varies, names)) for names in (QUADRATIC, LINEAR))
    rows: list[dict[str, float]] = [{}]
    for name in quadratic:
        spread = stack.spreads[name]
        rows += [{name: end / spread.value} for end in (spread.low, spread.high) if end != spread.value]
    for i, first in enumerate(quadratic):
        for second in quadratic[i + 1 :]:
            rows.append({n: stack.spreads[n].low / stack.spreads[n].value for n in (first, second)})
    for name in linear:
        spread = stack.spreads[name]
        rows.append({name: (spread.low if spread.low < spread.value else spread.high) / spread.value})
    factors = {name: np.array([row.get(name, 1.0) for row in rows]) for name in quadratic + linear}
    return Plan(quadratic, linear, factors)


def _features(logs: Floats) -> Floats:
    """Linear and quadratic terms (n, t) of ``logs`` (n, p)."""
    pairs = combinations_with_replacement(range(logs.shape[1]), 2)
    columns = [logs[:, i] for i in range(logs.shape[1])] + [logs[:, i] * logs[:, j] for i, j in pairs]
    return np.stack(columns, axis=1) if columns else np.zeros((len(logs), 0))


def spread_out(
    plan: Plan, stack: Stack, draws: Draws, scale: Floats, wanted: Floats, nominal: Floats
) -> Floats:
    """Values (n, q) of the wanted quantities over the draws.

    ``scale`` (v,) and ``wanted`` (v, q) come from the runs of ``plan``; ``nominal`` (q,) is the best nominal value, of
    a finer grid: the surface keeps its own shape and takes that as its middle.
    """
    n = draws.count
    ratio = wanted * (scale[0] / scale)[:, None]
    curved = np.ones(len(scale), dtype=np.bool_)
    for name in plan.linear:
        curved &= plan.factors[name] == 1.0
    size, shape = np.ones(n), np.broadcast_to(nominal, (n, len(nominal))).copy()
    if plan.quadratic:
        logs = np.stack([np.log(plan.factors[name][curved]) for name in plan.quadratic], axis=1)
        terms = _features(logs)[1:]
        to_scale = np.linalg.lstsq(terms, np.log(scale[curved][1:] / scale[0]), rcond=None)[0]
        to_ratio = np.linalg.lstsq(terms, ratio[curved][1:] - ratio[0], rcond=None)[0]
        drawn = np.stack([_drawn(stack, draws, name) for name in plan.quadratic], axis=1)
        reach = _BEYOND * np.stack([logs.min(axis=0), logs.max(axis=0)])
        features = _features(np.clip(drawn, reach[0], reach[1]))
        size = np.exp(features @ to_scale)
        shape += features @ to_ratio
    for name in plan.linear:
        run = int(np.flatnonzero(plan.factors[name] != 1.0)[0])
        factor, drawn_factor = plan.factors[name][run], np.exp(_drawn(stack, draws, name))
        if name == "perforation":
            factor, drawn_factor = np.log(factor), np.log(drawn_factor)
        else:  # exactly affine in the share itself
            factor, drawn_factor = factor - 1.0, drawn_factor - 1.0
        shape += (drawn_factor / factor)[:, None] * (wanted[run] - wanted[0])
    pull = values(draws, "pull_n", stack.spreads["pull_n"]) / stack.spreads["pull_n"].value
    result: Floats = (pull * size)[:, None] * shape
    return result


def _drawn(stack: Stack, draws: Draws, name: str) -> Floats:
    """Logarithm of a parameter's draws over its nominal value, (n,)."""
    spread = stack.spreads[name]
    result: Floats = np.log(values(draws, name, spread) / spread.value)
    return result


def ranked_causes(stack: Stack, draws: Draws, outcome: Floats) -> tuple[str, ...]:
    """Parameters by the share of the variance of ``outcome`` (n,) that goes with them, largest first."""
    if draws.count < 3 or np.ptp(outcome) == 0.0:
        return ()
    shares = {}
    for name, spread in stack.spreads.items():
        if name in draws.scores and spread.low < spread.high:
            drawn = _drawn(stack, draws, name)
            shares[name] = float(np.corrcoef(drawn, outcome)[0, 1] ** 2)
    return tuple(name for name in sorted(shares, key=lambda key: -shares[key]) if shares[name] >= _WORTH_NAMING)
