"""A response surface: wanted quantities over all draws from a few runs of the whole sequence.

Everything is exactly linear in the pull F. In the stiffnesses it is not, but nearly a power law; so one
positive scale (the rms displacement) is fitted as a quadratic in the parameters' logarithms, and each
quantity's ratio to that scale as another. The loads are affine in the share of the pull that is left at
locking, and how much of them goes with it is known without a solve; perforation enters by its own slope at
the middle. The shape comes from a coarse grid; its middle, and its course along the stiffness that tells
most, from the fine one.

What moves together has one parameter: both directions of a cloth (one yarn and one finish make them, and one
working factor multiplies them), all layers of backing (of one make, held in one way), and the upper and lower
thread of a stitch. The parameters themselves are drawn independently: the cloth knows nothing of its backing,
the pull comes from the machine's tension and not from how stiff the thread is, and how much of it is left at
locking, the play and the needle's damage are matters of their own; no measurement of any link was read.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, combinations_with_replacement

import numpy as np

from analyzer.arrays import Bools, Floats
from analyzer.goods import Draws, Stack, values

QUADRATIC = ("goods_stiffness", "backing_stiffness", "thread_stiffness_n")
LINEAR = ("lock_share", "perforation")
_WORTH_NAMING = 0.05  # share of variance below which a parameter is not named
_TRUST = 1.0  # of the common ratio of fine to coarse values, against a value's own
_ENDS = 1.25  # how far out the runs lie, in logarithms, over the 5 and 95 %
_BEYOND = 1.8  # how far past its 5 and 95 % a surface is read, in logarithms


@dataclass(frozen=True, slots=True)
class Plan:
    """Which runs to make: ``factors`` (v, parameters) of each run on the nominal values, run 0 nominal.

    ``alike`` are parameters without a run, taken to change all quantities by as much.
    """

    quadratic: tuple[str, ...]
    linear: tuple[str, ...]
    factors: dict[str, Floats]
    alike: tuple[str, ...] = ()

    @property
    def runs(self) -> int:
        """How many runs there are."""
        return len(next(iter(self.factors.values()), np.ones(1)))


def plan_runs(stack: Stack, *, axes_only: bool = False) -> Plan:
    """Return the fewest runs that fix the surface: middle, ends of each axis, one corner for each pair.

    The corner is that of the lowest values, where the cloth moves most. With ``axes_only`` there are no
    corners, so that the stiffnesses count each by itself, and no runs for what enters linearly.
    """
    backed = any(layer.role == "backing" for layer in stack.layers)
    idle = set() if backed else {"backing_stiffness"}
    idle |= set() if stack.goods is not None else {"goods_stiffness"}
    idle |= set() if any(layer.perforation_mm2 > 0 for layer in stack.layers) else {"perforation"}

    def varies(name: str) -> bool:
        spread = stack.spreads.get(name)
        return name not in idle and spread is not None and spread.low < spread.high

    quadratic, linear = (tuple(filter(varies, names)) for names in (QUADRATIC, LINEAR))
    alike: tuple[str, ...] = ()
    if axes_only:
        alike, linear = tuple(name for name in linear if name == "lock_share"), ()
    rows: list[dict[str, float]] = [{}]
    for name in quadratic:
        spread = stack.spreads[name]
        rows += [
            {name: (end / spread.value) ** _ENDS} for end in (spread.low, spread.high) if end != spread.value
        ]
    if not axes_only:
        for pair in combinations(quadratic, 2):
            rows.append({n: (stack.spreads[n].low / stack.spreads[n].value) ** _ENDS for n in pair})
    for name in linear:
        spread = stack.spreads[name]
        rows.append({name: (spread.low if spread.low < spread.value else spread.high) / spread.value})
    factors = {name: np.array([row.get(name, 1.0) for row in rows]) for name in quadratic + linear}
    return Plan(quadratic, linear, factors, alike)


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


@dataclass(frozen=True, slots=True)
class Fine:
    """What a few runs on the fine grid gave: the middle, and both ends of the parameter that tells most.

    ``rows`` (f,) are the runs of the plan that they repeat, the middle first; ``scale`` (f,) and ``wanted``
    (f, q) as in :class:`Runs`.
    """

    rows: tuple[int, ...]
    scale: Floats
    wanted: Floats


def telling_rows(plan: Plan, runs: Runs) -> tuple[int, ...]:
    """Return the middle run and those at the ends of the stiffness that the wanted quantities follow most."""
    ends: dict[str, list[int]] = {}
    for name in plan.quadratic:
        others = [plan.factors[other] == 1.0 for other in plan.factors if other != name]
        ends[name] = np.flatnonzero(np.all([plan.factors[name] != 1.0, *others], axis=0)).tolist()

    def effect(name: str) -> float:
        return float(np.square(runs.wanted[ends[name]] - runs.wanted[0]).sum())

    return (0, *ends[max(ends, key=effect)]) if ends else (0,)


def spread_out(
    plan: Plan, stack: Stack, draws: Draws, runs: Runs, nominal: Floats, fine: Fine | None = None
) -> Floats:
    """Values (n, q) of the wanted quantities over the draws.

    ``nominal`` (q,) is the best nominal value, of a finer grid: the surface keeps its shape and takes that
    as its middle. With ``fine`` runs its course along one parameter is that of the fine grid too.
    """
    curved = np.ones(len(runs.scale), dtype=np.bool_)
    for name in plan.linear:
        curved &= plan.factors[name] == 1.0
    curved[0] = False
    size = _Quadratic(plan, stack, draws, curved, np.log(runs.scale / runs.scale[0])[:, None])
    ratio = _Quadratic(plan, stack, draws, curved, runs.wanted * (runs.scale[0] / runs.scale)[:, None])
    by = scaled(nominal, runs.wanted[0])
    shape = nominal + by * ratio.change
    log_size = size.change[:, 0]
    if fine is not None and len(fine.rows) > 1:
        rows = list(fine.rows)
        finer = np.log(fine.scale / fine.scale[0]) - np.log(runs.scale[rows] / runs.scale[0])
        along = _Along(plan, stack, draws, rows)
        log_size = log_size + along(finer[:, None])[:, 0]
        ends, coarse = (_ratios(one.wanted, one.scale) for one in (fine, _rows(runs, rows)))
        finer_still = scaled(nominal, fine.wanted[0])
        shape = shape + along(finer_still * (ends - ends[0]) - by * (coarse - coarse[0]))
    if "lock_share" in plan.linear + plan.alike:
        drawn = np.exp(_drawn(stack, draws, "lock_share")) - 1.0
        slips = _Quadratic(plan, stack, draws, curved, runs.slipping[:, None])
        slipping = np.clip(runs.slipping[0] + slips.change[:, 0], 0.0, 1.0)
        shape = shape * (1.0 + drawn * slipping)[:, None]
        if "lock_share" in plan.linear:
            run, factor = _own_run(plan, "lock_share")
            own = (runs.wanted[run] - runs.wanted[0]) / (factor - 1.0) - runs.slipping[0] * runs.wanted[0]
            shape += (drawn * slipping / runs.slipping[0])[:, None] * own
    if "perforation" in plan.linear:
        run, factor = _own_run(plan, "perforation")
        steps = _drawn(stack, draws, "perforation") / np.log(factor)
        shape += steps[:, None] * (runs.wanted[run] - runs.wanted[0])
    pull = values(draws, "pull_n", stack.spreads["pull_n"]) / stack.spreads["pull_n"].value
    result: Floats = (pull * np.exp(log_size))[:, None] * shape
    return result


def _rows(runs: Runs, rows: list[int]) -> Runs:
    """Return some of the runs."""
    return Runs(runs.scale[rows], runs.wanted[rows], runs.slipping[rows])


def _ratios(wanted: Floats, scale: Floats) -> Floats:
    """Wanted quantities (v, q) over their runs' scale, as of the first."""
    result: Floats = wanted * (scale[0] / scale)[:, None]
    return result


class _Along:
    """Polynomial through zero at the middle and values at the one or two ends of one parameter."""

    def __init__(self, plan: Plan, stack: Stack, draws: Draws, rows: list[int]) -> None:
        name = next(n for n in plan.quadratic if plan.factors[n][rows[1]] != 1.0)
        self._ends: Floats = np.log(plan.factors[name][rows[1:]])
        reach = np.append(self._ends, 0.0)
        drawn = np.clip(_drawn(stack, draws, name), _BEYOND * reach.min(), _BEYOND * reach.max())
        self._powers: Floats = drawn[:, None] ** np.arange(1, len(rows))

    def __call__(self, change: Floats) -> Floats:
        """Values (n, q) over the draws of a ``change`` (f, q) at the middle (zero) and the ends."""
        powers = self._ends[:, None] ** np.arange(1, len(self._ends) + 1)
        result: Floats = self._powers @ np.linalg.solve(powers, change[1:])
        return result


def scaled(fine: Floats, coarse: Floats) -> Floats:
    """Size (q,) of the fine nominal values over the coarse ones, by which the coarse changes are scaled.

    Where a value is small against the rest, its own ratio means little and that of all takes over.
    """
    mean = float(np.mean(coarse**2))
    if mean == 0.0:
        return np.ones_like(coarse)
    whole = float(np.mean(fine * coarse)) / mean
    result: Floats = (fine * coarse + _TRUST * whole * mean) / (coarse**2 + _TRUST * mean)
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
