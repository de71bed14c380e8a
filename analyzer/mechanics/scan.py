"""Sewing a design quickly on the stacks of several goods: for ranking many designs, not before sewing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.arrays import Floats, frozen
from analyzer.goods import Draws, Stack
from analyzer.goods.constants import constants
from analyzer.mechanics.answer import Begun, Nominal, answer, common
from analyzer.mechanics.pullin import strain_p95
from analyzer.mechanics.respond import begin, fine_of, nominal_of, rms, sew_screen, slipped
from analyzer.mechanics.sewing import Sewing
from analyzer.mechanics.surface import plan_runs, scaled, spread_out
from analyzer.mechanics.types import Response

_TOLERANCE = 0.1  # what is left comes in with the next blocks; gaps of a scan are no further off for it


@dataclass(frozen=True, slots=True)
class Lead:
    """What a scan's first stack lends the others.

    ``common`` (n,) are its draws of all quantities together; ``finer`` (q,) what a finer grid makes of each
    nominal value, and ``moves`` of all displacements together.
    """

    common: Floats
    finer: Floats
    moves: float


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a scan of one stack gave; the whole response is made of it when it is wanted."""

    sewing: Sewing
    draws: Draws
    begun: Begun
    nominal: Nominal
    drawn: Floats  #: (n, q)
    solves: int

    @property
    def beyond_range(self) -> bool:
        """Whether the cloth strains beyond what the model holds for."""
        strain = strain_p95(self.nominal.layout, self.nominal.states[0, -1])
        return strain > constants("limits")["strain_p95"].value

    def response(self) -> Response:
        """Return the response."""
        return answer(self.sewing, self.begun, self.nominal, self.draws, self.drawn, solves=self.solves)


def scan(
    sewing: Sewing, stacks: Sequence[Stack], draws: Draws, lead: Lead | None = None
) -> tuple[tuple[Scanned, ...], Lead]:
    """Sew the design on stacks of different goods.

    All are sewn at once on the coarsest grid, in its few blocks: the first over what is uncertain of each of
    its stiffnesses alone, the others at nominal values. The first is also sewn as a screen. What that adds to
    its nominal values, and how they vary over the draws, is taken over by the others; and by all stacks of a
    later scan of the same ``sewing`` that is given the ``lead`` of this one.
    ``benchmarks/bench_screen.py`` tells how far that is off.

    Raises:
        NotConverged: a solve missed its tolerance.

    """
    done = []
    if lead is not None:
        others = begin(sewing, stacks, [None] * len(stacks), _TOLERANCE)
    else:
        plans = (plan_runs(stacks[0], axes_only=True), *(None for _ in stacks[1:]))
        first, *others = begin(sewing, stacks, plans, _TOLERANCE)
        screened = sew_screen(sewing, first, (0,), _TOLERANCE)
        nominal = nominal_of(sewing, first, sewing.screen, screened)
        fine = fine_of(sewing, first, (0,), screened)
        drawn = spread_out(first.plan, first.stack, draws, first.runs, nominal.middle, fine)
        done.append(Scanned(sewing, draws, first, nominal, drawn, len(first.runs.scale) + 1))
        lead = Lead(
            common=frozen(common(nominal.middle, drawn)),
            finer=frozen(scaled(nominal.middle, first.runs.wanted[0])),
            moves=float(rms(nominal.states)[0] / max(first.runs.scale[0], 1e-12)),
        )
    for begun in others:
        states = begun.coarse.states[:1] * lead.moves
        states = slipped(sewing, sewing.spread, begun.stack, states, begun.coarse)
        middle = begun.runs.wanted[0] * lead.finer
        nominal = Nominal(sewing.spread, states, begun.coarse.forming[:1], middle)
        done.append(Scanned(sewing, draws, begun, nominal, lead.common[:, None] * middle, 1))
    return tuple(done), lead
