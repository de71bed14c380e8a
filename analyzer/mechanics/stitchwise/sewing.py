"""A virtual sew-out, stitch by stitch: drawn tight by a dead load, then locked as a tie that never pushes.

Every penetration is a point of an unbounded sheet; stitches pull pairs of them together. Stitch k is drawn
tight by the constant force F while the ties locked before it carry what they must; the thread then locks at
the length that it has, as a tie of stiffness EA0/L that bears the share phi of F there. This is the model
that the law of one stitch on a coarse grid is held to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Bools, Floats, Ints, frozen
from analyzer.errors import NotConverged
from analyzer.mechanics.stitchwise.complementarity import Ties
from analyzer.mechanics.stitchwise.kernel import Kernel, kernel

_ROWS = 128  # penetrations whose displacements are gathered at once
_ACCURACY = 1e-8  # of the largest closing, to which the ties must balance at the end


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread of a stitch: its straight stiffness EA0 and the constant force that draws it tight, both N."""

    stiffness_n: float
    pull_n: float


@dataclass(frozen=True, slots=True)
class SewOut:
    """What a virtual sew-out leaves.

    Of m penetrations: ``displacement`` (m, 2) mm of the cloth there at the end, ``drift`` (m, 2) mm since the
    penetration was made. Of n stitches: ``ends_at`` (n,) the penetration at which each ends; ``tightening``
    (n,) mm by which its ends came together while it was drawn tight; ``tension`` (n,) N of all its threads at
    the end. ``changes`` counts how often a tie went slack or came taut again.
    """

    penetrations: Floats
    displacement: Floats
    drift: Floats
    ends_at: Ints
    tightening: Floats
    tension: Floats
    changes: int
    play_mm: float
    kernel: Kernel

    @property
    def slack(self) -> Bools:
        """Stitches (n,) that carry nothing at the end."""
        return self.tension <= 1e-9 * max(1e-9, float(self.tension.max(initial=0.0)))

    def thread_ends(self) -> Floats:
        """Where the ends of the threads lie (n, 2, 2) mm: start and end of each stitch.

        The cloth at a penetration ends up at its place in the file plus drift; the thread lies ``play_mm``
        further in, because the hole is wider than the thread and the thread sinks in.
        """
        sewn = self.penetrations + self.drift
        start, end = sewn[self.ends_at - 1], sewn[self.ends_at]
        along = end - start
        length = np.hypot(*along.T)[:, None]
        inwards = np.minimum(self.play_mm, 0.5 * length) * along / np.maximum(length, 1e-12)
        return np.stack([start + inwards, end - inwards], axis=1)

    def displacement_at(self, points: Floats) -> Floats:
        """Displacement (p, 2) mm at the end of ``points`` (p, 2) of the cloth, such as marks drawn on it."""
        start, end = self.penetrations[self.ends_at - 1], self.penetrations[self.ends_at]
        return _displacements(self.kernel, points, start, end) @ self.tension


def sew_out(
    penetrations: Floats,
    pulls: Bools,
    membrane: Floats,
    *,
    radius_mm: float,
    thread: Thread,
    bobbin: Thread | None = None,
    lock_share: float = 1.0,
    play_mm: float = 0.0,
) -> SewOut:
    """Sew ``penetrations`` (m, 2) mm on a sheet of ``membrane`` (3, 3) N/m, stitch by stitch.

    ``pulls`` (m,) marks the penetrations at which a stitch ends that pulls on the cloth (never the first);
    ``radius_mm`` is half the needle's blade. ``bobbin`` is a second tie under every stitch with a stiffness
    and pull of its own. ``lock_share`` is the share of the pull that is left at the length at which a stitch
    locks. Memory grows with the square of the number of stitches: 3,000 take about 0.5 GB.

    Raises:
        NotConverged: the ties find no balance.

    """
    ends_at = np.flatnonzero(pulls).astype(np.int32)
    a, b = penetrations[ends_at - 1], penetrations[ends_at]
    length = np.hypot(*(b - a).T)
    green = kernel(membrane, radius_mm)
    moves = _displacements(green, penetrations, a, b)  # (m, 2, n) mm/N
    n = (b - a) / length[:, None]
    compliance = np.stack(
        [n[k] @ (moves[end - 1] - moves[end]) for k, end in enumerate(ends_at)]
    )  # (n, n) mm/N
    threads = [thread] if bobbin is None else [thread, bobbin]
    count = len(threads)
    own = np.concatenate([[length / each.stiffness_n] for each in threads]).T  # (n, threads) mm/N
    whole = np.repeat(np.repeat(compliance, count, axis=0), count, axis=1)
    whole[np.diag_indices(len(whole))] += own.ravel()
    ties = Ties(whole)

    before = np.zeros_like(penetrations)
    tightening = np.zeros(len(ends_at))
    stitch = 0
    for place in range(len(penetrations)):
        carried = ties.tension[: stitch * count].reshape(stitch, count).sum(axis=1)
        before[place] = moves[place, :, :stitch] @ carried
        if not pulls[place]:
            continue
        numbers = range(stitch * count, (stitch + 1) * count)
        began = ties.closing[numbers[0]]
        for number, each in zip(numbers, threads, strict=True):
            ties.load(number, each.pull_n)
        stretch = [own[stitch, i] * each.pull_n for i, each in enumerate(threads)]
        tightening[stitch] = ties.closing[numbers[0]] - stretch[0] - began
        locked = [ties.closing[number] - (1.0 - lock_share) * stretch[i] for i, number in enumerate(numbers)]
        for number, closing in zip(numbers, locked, strict=True):
            ties.lock(number, closing)
        stitch += 1
    tension = ties.tension.reshape(-1, count)
    carried = tension.sum(axis=1)
    _balanced(compliance @ carried, own * tension, ties)
    displacement = moves @ carried
    return SewOut(
        penetrations=frozen(penetrations.copy()),
        displacement=frozen(displacement),
        drift=frozen(displacement - before),
        ends_at=frozen(ends_at),
        tightening=frozen(tightening),
        tension=frozen(carried),
        changes=ties.changes,
        play_mm=play_mm,
        kernel=green,
    )


def _displacements(green: Kernel, points: Floats, a: Floats, b: Floats) -> Floats:
    """Displacement (p, 2, n) mm/N of ``points`` (p, 2) for a unit pull between ``a`` and ``b`` (n, 2)."""
    n = (b - a) / np.hypot(*(b - a).T)[:, None]
    result = np.empty((len(points), 2, len(a)))
    for first in range(0, len(points), _ROWS):
        rows = slice(first, first + _ROWS)
        for sign, end in ((1.0, a), (-1.0, b)):
            offset = points[rows, None] - end
            xx, xy, yy = green(offset[..., 0], offset[..., 1])
            moved = np.stack([xx * n[:, 0] + xy * n[:, 1], xy * n[:, 0] + yy * n[:, 1]], axis=1)
            result[rows] = moved if sign > 0 else result[rows] - moved
    return result


def _balanced(approach: Floats, stretch: Floats, ties: Ties) -> None:
    """Check the state at the end against the ties' own conditions, computed afresh.

    Raises:
        NotConverged: they are not met.

    """
    loose = (approach[:, None] + stretch).ravel() - ties.locked_at
    allowed = _ACCURACY * max(1e-12, float(np.abs(ties.locked_at).max(initial=0.0)))
    taut = ties.tension > 0.0
    if bool((np.abs(loose[taut]) > allowed).any() or (loose < -allowed).any()):
        raise NotConverged("the stitch-by-stitch model lost its accuracy: check the stiffness values")
