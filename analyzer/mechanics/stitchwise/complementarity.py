"""Ties that pull or hang slack, as a linear complementarity problem followed along rising loads.

Tie i carries tension t_i >= 0 or hangs loose by w_i >= 0, never both: ``w = H t - q``, ``t.w = 0``, with H
the compliance of the sheet between the ties plus each tie's own on the diagonal. H is positive definite, so
there is exactly one solution, and it is followed from one state to the next: until some taut tie has nothing
left to carry or some slack one comes taut, everything is linear; then that tie changes sides (a principal
pivot; Cottle, Pang & Stone, The Linear Complementarity Problem, 1992, section 4.5).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.linalg.blas import dgemm

from analyzer.arrays import Bools, Floats
from analyzer.errors import NotConverged

_PANEL = 64  # pivots that are gathered before the whole tableau is brought up to date
_FLAT = 1e-13  # relative to the largest, below which a rate is rounding


class Ties:
    """n ties over one sheet, locked one after another; all start loose, with nothing to do.

    ``compliance`` (n, n) mm/N is H and is overwritten where its layout allows. ``tension`` (n,) N;
    ``closing`` (n,) mm is ``H t``, how far the ends of each tie have come together, its own stretch included;
    ``locked_at`` (n,) mm is q, the closing at which it begins to carry.
    """

    def __init__(self, compliance: npt.NDArray[np.float64]) -> None:
        n = len(compliance)
        self._tableau = np.asfortranarray(compliance)
        self._panel = np.zeros((n, _PANEL), order="F")
        self._weight = np.zeros(_PANEL)
        self._used = 0
        self.tension = np.zeros(n)
        self.closing = np.zeros(n)
        self.locked_at = np.zeros(n)
        self.taut: Bools = np.zeros(n, dtype=np.bool_)
        self._locked: Bools = np.zeros(n, dtype=np.bool_)
        self.changes = 0  # ties that went slack or came taut again

    def load(self, tie: int, tension_n: float) -> None:
        """Bring the tension of ``tie``, not yet locked, to ``tension_n``.

        Raises:
            NotConverged: no end is found.

        """
        self._drive(tie, tension_n - self.tension[tie])

    def lock(self, tie: int, closing_mm: float) -> None:
        """Let ``tie`` carry from ``closing_mm`` on; what it bears too much for that it gives back.

        Raises:
            NotConverged: no end is found.

        """
        self.locked_at[tie] = closing_mm
        if self.closing[tie] > closing_mm:
            self._drive(tie, -np.inf, until_closing=closing_mm)
        self._locked[tie] = True
        self._pivot(tie)
        self.closing[tie] = closing_mm

    def _drive(self, tie: int, change_n: float, until_closing: float | None = None) -> None:
        """Change the tension of ``tie`` by ``change_n``, or down until its closing is ``until_closing``."""
        down = change_n < 0.0
        left = abs(change_n)
        others = np.flatnonzero(self._locked)
        for _ in range(20 * len(others) + 100):
            column = self._column(tie)
            if until_closing is not None:
                left = max(0.0, (self.closing[tie] - until_closing) / column[tie])
            rate = np.where(self.taut, -column, column)
            if down:
                rate = -rate
            margin = np.where(self.taut, self.tension, self.closing - self.locked_at)[others]
            falling = rate[others] < -_FLAT * np.abs(rate).max()
            room = np.full(others.size, np.inf)
            room[falling] = np.maximum(margin[falling], 0.0) / -rate[others][falling]
            first = int(room.argmin()) if others.size else -1
            step = min(left, room[first]) if others.size else left
            self.tension[self.taut] += step * rate[self.taut]
            self.closing[~self.taut] += step * rate[~self.taut]
            self.tension[tie] += -step if down else step
            if step >= left:
                return
            left -= step
            changing = int(others[first])
            self.tension[changing] = 0.0
            self.closing[changing] = self.locked_at[changing]
            self._pivot(changing)
            self.changes += 1
        raise NotConverged(
            "the ties of the stitch-by-stitch model find no balance: check the stiffness values"
        )

    def _column(self, tie: int) -> Floats:
        """Column of the tableau, brought up to date."""
        used = self._used
        column: Floats = self._tableau[:, tie] + self._panel[:, :used] @ (
            self._weight[:used] * self._panel[tie, :used]
        )
        return column

    def _pivot(self, tie: int) -> None:
        """Exchange tension and closing of ``tie`` (a symmetric sweep), as one term of rank one.

        Sweeping sets ``P_ij - p_i p_j / d`` elsewhere, ``s p_i / d`` in its own row and column and ``-1/d``
        at their crossing; putting ``d - s`` for the tie's own entry of p does that but for 2 s there.
        """
        sign = -1.0 if self.taut[tie] else 1.0
        column = self._column(tie)
        pivot = column[tie]
        column[tie] = pivot - sign
        self._panel[:, self._used] = column
        self._weight[self._used] = -1.0 / pivot
        self._used += 1
        self._tableau[tie, tie] -= 2.0 * sign
        self.taut[tie] = not self.taut[tie]
        if self._used == _PANEL:
            self._tableau = dgemm(
                1.0,
                self._panel * self._weight,
                self._panel,
                beta=1.0,
                c=self._tableau,
                trans_b=True,
                overwrite_c=True,
            )
            self._used = 0
