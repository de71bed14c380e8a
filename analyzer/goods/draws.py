"""Draws of what is uncertain: one set of scores that serves every stack, and the values they stand for."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats, frozen
from analyzer.errors import BadJob, BadTable
from analyzer.goods.stack import learned_for
from analyzer.goods.types import Draws, StackChoice, Value
from analyzer.job import Calibration

#: The uncertain parameters; keys of ``Stack.spreads`` and of ``Draws.scores``.
PARAMETERS = (
    "goods_stiffness",
    "backing_stiffness",
    "pull_n",
    "lock_share",
    "thread_stiffness_n",
    "play_mm",
    "perforation",
    "hooping_n_per_m",
)
#: Standard normal score of the 95th percentile.
SCORE_95 = 1.6448536269514722


def draw(count: int, seed: int) -> Draws:
    """Return ``count`` draws of standard normal scores for every parameter.

    A Latin hypercube (McKay, Beckman & Conover, Technometrics 21:239, 1979) spreads each parameter's scores
    evenly over its distribution, so that few draws serve. Same count and seed: same scores, bit for bit.

    Raises:
        BadJob: count is below 1, or the seed is negative.
    """
    if count < 1:
        raise BadJob(f"the number of draws must be at least 1, not {count}")
    if seed < 0:
        raise BadJob(f"the seed must be 0 or more, not {seed}")
    from scipy.special import ndtri  # here, since scipy is slow to import and listing tables needs none

    rng = np.random.Generator(np.random.PCG64(seed))
    scores: dict[str, Floats] = {}
    for name in PARAMETERS:
        places = (rng.permutation(count) + rng.random(count)) / count
        scores[name] = frozen(ndtri(np.clip(places, 1e-12, 1.0 - 1e-12)))
    return Draws(seed=seed, count=count, scores=scores)


def correlated(draws: Draws, calibration: Calibration | None, cloth: str, choice: StackChoice) -> Draws:
    """Return ``draws`` with the scores hanging together as sew-outs taught, for what they taught of a stack.

    Raises:
        BadJob: the calibration's correlation is no such matrix.
    """
    if calibration is None or not calibration.correlation:
        return draws
    held = learned_for(calibration, cloth, choice)
    rows = [number for number, one in enumerate(calibration.learned) if one in held]
    if not rows:
        return draws
    try:
        whole = np.array(calibration.correlation)[np.ix_(rows, rows)]
        root = np.linalg.cholesky(whole + 1e-9 * np.eye(len(rows)))
    except (ValueError, IndexError, np.linalg.LinAlgError):
        raise BadJob("the calibration's correlation must be a positive definite matrix") from None
    names = [one.parameter for one in held]
    mixed = root @ np.stack([draws.scores[name] for name in names])
    scores = draws.scores | {name: frozen(row) for name, row in zip(names, mixed, strict=True)}
    return Draws(seed=draws.seed, count=draws.count, scores=scores)


def values(draws: Draws, parameter: str, spread: Value) -> Floats:
    """Return the values of one parameter, (n,), in the units of its spread.

    Two half log-normals meet at the median: ``low``, ``value``, ``high`` are the 5th, 50th, 95th percentiles.

    Raises:
        BadTable: the spread reaches zero or below, where a log-normal has no meaning.
    """
    if spread.low <= 0:
        raise BadTable(f"the spread of {parameter} must be positive, not {spread.low:g} at its low end")
    score = draws.scores[parameter] / SCORE_95
    below, above = np.log(spread.value / spread.low), np.log(spread.high / spread.value)
    result: Floats = spread.value * np.exp(np.where(score < 0, score * below, score * above))
    return frozen(result)
