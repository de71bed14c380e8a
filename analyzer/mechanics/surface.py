"""A response surface: wanted quantities over all draws from a few runs of the whole sequence.

Everything is exactly linear in the pull F. In the stiffnesses it is not, but nearly a power law; so one
positive scale (the rms displacement) is fitted as a quadratic in the parameters' logarithms, and each
quantity's ratio to that scale as another. The loads are affine in the share of the pull that is left at
locking, and how much of them goes with it is known without a solve; perforation enters by its own slope at
the middle.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from analyzer.arrays import Bools, Floats
from analyzer.goods import Draws, Stack, values

QUADRATIC = ("goods_stiffness", "backing_stiffness", "thread_stiffness_n")
LINEAR = ("lock_share", "perforation")
_WORTH_NAMING = 0.05  # share of variance below which a parameter is not named
_BEYOND = 1.8  # how far past its 5 and 95 % a surface is read, in logarithms


@dataclass(frozen=True, slots=True)
class Plan:
    """Which runs to make: ``factors`` (v, parameters) of each run on the nominal values, run 0 nominal."""

    quadratic: tuple[str, ...]
    linear: tuple[str, ...]
    factors: dict[str, Floats]


def plan_runs(stack: Stack) -> Plan:
    """Return the fewest runs that fix the surface: middle, ends of each axis, one corner for each pair.

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


@dataclass(frozen=True, slots=True)
class Runs:
    """What the v runs of a plan gave.

    A positive ``scale`` (v,), the ``wanted`` quantities (v, q), and ``slipping`` (v,), the share of all pull
    that goes with the share left at locking.
    """

    scale: Floats
    wanted: Floats
    slipping: Floats


def spread_out(plan: Plan, stack: Stack, draws: Draws, runs: Runs, nominal: Floats) -> Floats:
    """Values (n, q) of the wanted quantities over the draws.

    ``nominal`` (q,) is the best nominal value, of a finer grid: the surface keeps its shape and takes that
    as its middle.
    """
    curved = np.ones(len(runs.scale), dtype=np.bool_)
    for name in plan.linear:
        curved &= plan.factors[name] == 1.0
    curved[0] = False
    size = _Quadratic(plan, stack, draws, curved, np.log(runs.scale / runs.scale[0])[:, None])
    ratio = _Quadratic(plan, stack, draws, curved, runs.wanted * (runs.scale[0] / runs.scale)[:, None])
    shape = nominal + ratio.change
    if "lock_share" in plan.linear:
        run, factor = _own_run(plan, "lock_share")
        drawn = np.exp(_drawn(stack, draws, "lock_share")) - 1.0
        slips = _Quadratic(plan, stack, draws, curved, runs.slipping[:, None])
        slipping = np.clip(runs.slipping[0] + slips.change[:, 0], 0.0, 1.0)
        own = (runs.wanted[run] - runs.wanted[0]) / (factor - 1.0) - runs.slipping[0] * runs.wanted[0]
        shape = shape * (1.0 + drawn * slipping)[:, None]
        shape += (drawn * slipping / runs.slipping[0])[:, None] * own
    if "perforation" in plan.linear:
        run, factor = _own_run(plan, "perforation")
        steps = _drawn(stack, draws, "perforation") / np.log(factor)
        shape += steps[:, None] * (runs.wanted[run] - runs.wanted[0])
    pull = values(draws, "pull_n", stack.spreads["pull_n"]) / stack.spreads["pull_n"].value
    result: Floats = (pull * np.exp(size.change[:, 0]))[:, None] * shape
    return result


class _Quadratic:
    """Quadratic in the stiffnesses' logarithms, through the nominal run: ``change`` (n, q) over draws."""

    def __init__(self, plan: Plan, stack: Stack, draws: Draws, curved: Bools, quantity: Floats) -> None:
        self.change: Floats = np.zeros((draws.count, quantity.shape[1]))
        if plan.quadratic:
            logs = np.stack([np.log(plan.factors[name][curved]) for name in plan.quadratic], axis=1)
            fit = np.linalg.lstsq(_features(logs), quantity[curved] - quantity[0], rcond=None)[0]
            drawn = np.stack([_drawn(stack, draws, name) for name in plan.quadratic], axis=1)
            low, high = (np.minimum(logs.min(axis=0), 0.0), np.maximum(logs.max(axis=0), 0.0))
            self.change = _features(np.clip(drawn, _BEYOND * low, _BEYOND * high)) @ fit


def _own_run(plan: Plan, name: str) -> tuple[int, float]:
    """Return number and factor of the run that varies only ``name``."""
    run = int(np.flatnonzero(plan.factors[name] != 1.0)[0])
    return run, float(plan.factors[name][run])


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
    return tuple(
        name for name in sorted(shares, key=lambda key: -shares[key]) if shares[name] >= _WORTH_NAMING
    )
