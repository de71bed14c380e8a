"""How one stack answers one design's stitching: nominally, and over the common draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np

from analyzer.arrays import Floats
from analyzer.goods import Draws, Stack
from analyzer.goods.constants import constants
from analyzer.mechanics.answer import Begun, Nominal, answer
from analyzer.mechanics.law import Pull, tension_parts
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.pucker import ring, ring_contraction
from analyzer.mechanics.pullin import strain_p95
from analyzer.mechanics.rim import most_pull_n_per_m, with_slip
from analyzer.mechanics.sequence import Sewn, Variants, sew, sew_each
from analyzer.mechanics.sewing import Sewing
from analyzer.mechanics.surface import Fine, Plan, Runs, plan_runs, spread_out, telling_rows
from analyzer.mechanics.types import Response
from analyzer.mechanics.wanted import read, visible_share

# of each block's energy; what a block leaves goes into the next. Gaps are then good to some thousandths of a
# millimetre, or half a per cent; over the draws to one or two per cent
TOLERANCE, SCREEN_TOLERANCE, SPREAD_TOLERANCE = 2e-2, 5e-2, 5e-2
_REMEMBERED = 3  # earlier stacks from whose steps solves begin
_SPREAD_SHARE, _ENDS_SHARE = 0.25, 0.5  # of the time, for progress


#: How finely a design is sewn: see :func:`respond`.
Detail: TypeAlias = Literal["full", "screen"]


@dataclass(slots=True)
class Earlier:
    """What was sewn of one laid-out design with earlier stacks.

    The cloth moves alike on most stacks, so solves begin with what these did; it saves most of their steps
    and changes results by no more than their tolerance.
    """

    spread: list[Sewn] = field(default_factory=list)
    screen: list[Sewn] = field(default_factory=list)

    def add(self, spread: Sewn, screen: Sewn) -> None:
        """Take in what was sewn, and forget what is older than the last few."""
        self.spread = [*self.spread, spread][-_REMEMBERED:]
        self.screen = [*self.screen, screen][-_REMEMBERED:]


def respond(
    sewing: Sewing,
    stack: Stack,
    draws: Draws,
    *,
    detail: Detail = "full",
    like: Response | None = None,
    earlier: Earlier | None = None,
    progress: Callable[[float], None] | None = None,
) -> Response:
    """Sew the design on the stack.

    A dozen runs with coarse blocks on a coarse grid give the response surface for the draws. One more, in
    blocks that follow the sewing front, gives the nominal values and corrects the surface: with
    ``detail="screen"`` on a coarser grid, with ``"full"`` on the fine one. Then the coarser grid also gives
    the surface's course along the stiffness that tells most.

    With ``like``, the response of the same stack to nearly the same design, nothing but nominal values is
    computed: all quantities are taken to vary over the draws in common, as those did together.

    ``earlier`` holds what was sewn of this ``sewing`` with other stacks, and takes in this one; ``progress``
    is called with the share done, 0 to 1.

    Raises:
        NotConverged: a solve missed its tolerance.

    """
    earlier = Earlier() if earlier is None else earlier
    full = detail == "full"
    plan = plan_runs(stack) if like is None else None
    (begun,) = begin(
        sewing,
        (stack,),
        (plan,),
        SPREAD_TOLERANCE,
        earlier.spread,
        _part(progress, 0.0, _SPREAD_SHARE if full else 0.5),
    )
    rows = telling_rows(plan, begun.runs) if full and plan is not None else (0,)
    screened = sew_screen(
        sewing,
        begun,
        rows,
        SCREEN_TOLERANCE,
        earlier.screen,
        _part(progress, *((_SPREAD_SHARE, _ENDS_SHARE) if full else (0.5, 1.0))),
    )
    earlier.add(begun.coarse, screened)
    layout, sewn = sewing.screen, screened
    if full:
        layout, one = sewing.full, make_variants(stack, {}, 1)
        sewn = sew(
            layout, sewing.stitches, one, tolerance=TOLERANCE, progress=_part(progress, _ENDS_SHARE, 1.0)
        )
    nominal = nominal_of(sewing, begun, layout, sewn)
    drawn = (
        like.common[:, None] * nominal.middle
        if like is not None
        else spread_out(
            begun.plan, stack, draws, begun.runs, nominal.middle, fine_of(sewing, begun, rows, screened)
        )
    )
    return answer(sewing, begun, nominal, draws, drawn, solves=len(begun.runs.scale) + len(rows) + full)


def begin(
    sewing: Sewing,
    stacks: Sequence[Stack],
    plans: Sequence[Plan | None],
    tolerance: float,
    starts: Sequence[Sewn] = (),
    progress: Callable[[float], None] | None = None,
) -> list[Begun]:
    """Sew the spread layout on the runs of all stacks at once; those without a plan have the nominal one."""
    stitches, cell_mm = sewing.stitches, sewing.spread.grid.cell_mm
    made = [Plan((), (), {}) if plan is None else plan for plan in plans]
    variants = [
        make_variants(stack, plan.factors, plan.runs) for stack, plan in zip(stacks, made, strict=True)
    ]
    pulls, slipping = [], []
    for one in variants:
        whole, slips = tension_parts(stitches, one.pull, cell_mm)
        pulls.append(whole - slips * (1.0 - one.pull.lock_share[:, None]))
        slipping.append(one.pull.lock_share * (slips @ stitches.length_mm) / (pulls[-1] @ stitches.length_mm))
    all_sewn = sew_each(
        sewing.spread,
        variants,
        np.concatenate(pulls),
        tolerance=tolerance,
        starts=starts,
        progress=progress,
    )
    begun = []
    for stack, plan, own, sewn, slips in zip(stacks, made, variants, all_sewn, slipping, strict=True):
        ringed = ring_contraction(sewing.spread, sewn.states, ring(sewing.spread))
        wanted = np.column_stack([_wanted(sewing, sewing.spread, sewn, stack), ringed])
        begun.append(Begun(stack, plan, own, sewn, Runs(rms(sewn.states), wanted, slips)))
    return begun


def sew_screen(
    sewing: Sewing,
    begun: Begun,
    rows: Sequence[int],
    tolerance: float,
    starts: Sequence[Sewn] = (),
    progress: Callable[[float], None] | None = None,
) -> Sewn:
    """Sew some of the runs of a plan on the screen layout."""
    factors = {name: each[list(rows)] for name, each in begun.plan.factors.items()}
    return sew(
        sewing.screen,
        sewing.stitches,
        make_variants(begun.stack, factors, len(rows)),
        tolerance=tolerance,
        starts=starts,
        progress=progress,
    )


def nominal_of(sewing: Sewing, begun: Begun, layout: Layout, sewn: Sewn) -> Nominal:
    """Return the nominal values that variant 0 of ``sewn`` on ``layout`` gives."""
    states = slipped(sewing, layout, begun.stack, sewn.states[:1], begun.coarse)
    one = replace(sewn, states=states, forming=sewn.forming[:1])
    middle = np.append(_wanted(sewing, layout, one, begun.stack)[0], begun.runs.wanted[0, -1])
    return Nominal(layout, states, one.forming, middle)


def fine_of(sewing: Sewing, begun: Begun, rows: Sequence[int], screened: Sewn) -> Fine:
    """Return what the screen layout gave of some of the runs; the ring is taken to move as all does."""
    scale, runs, chosen = rms(screened.states), begun.runs, list(rows)
    finer = scale / scale[0] * runs.scale[0] / runs.scale[chosen]
    ringed = runs.wanted[chosen, -1] * finer
    return Fine(
        tuple(rows), scale, np.column_stack([_wanted(sewing, sewing.screen, screened, begun.stack), ringed])
    )


def make_variants(stack: Stack, factors: dict[str, Floats], count: int) -> Variants:
    """Variants of a stack: ``factors`` (count,) by parameter name on its nominal values."""

    def factor(name: str) -> Floats:
        return factors.get(name, np.ones(count))

    by_role = {
        "goods": factor("goods_stiffness"),
        "backing": factor("backing_stiffness"),
        "topping": np.ones(count),
    }
    layers = np.stack([by_role[layer.role][:, None, None] * layer.membrane for layer in stack.layers], axis=1)
    kappa = np.array([layer.perforation_mm2 for layer in stack.layers])
    return Variants(
        layers=layers,
        perforation_mm2=factor("perforation")[:, None] * kappa,
        pull=Pull(
            membrane=layers.sum(axis=1),
            thread_stiffness_n=factor("thread_stiffness_n") * stack.spreads["thread_stiffness_n"].value,
            lock_share=factor("lock_share") * stack.spreads["lock_share"].value,
            pull_n=stack.spreads["pull_n"].value,
            radius_mm=0.5 * stack.needle.blade_mm.value,
        ),
        sheets_mm=tuple(layer.sheet_mm for layer in stack.layers),
        sheets_at_mm=tuple(layer.sheet_at_mm for layer in stack.layers),
    )


def sew_nominal(sewing: Sewing, stack: Stack) -> tuple[Floats, Floats, bool]:
    """Sew the design once at nominal values on the fine grid.

    Returns the states (1, blocks + 1, nodes, 2) mm, how far ties form in each block (1, blocks), and whether
    the cloth strains beyond the model's range.

    Raises:
        NotConverged: a solve missed its tolerance.

    """
    one = make_variants(stack, {}, 1)
    sewn = sew(sewing.full, sewing.stitches, one, tolerance=TOLERANCE)
    states = slipped(sewing, sewing.full, stack, sewn.states)
    beyond = strain_p95(sewing.full, states[0, -1]) > constants("limits")["strain_p95"].value
    return states, sewn.forming, beyond


def slipped(
    sewing: Sewing, layout: Layout, stack: Stack, states: Floats, coarse: Sewn | None = None
) -> Floats:
    """Return the nominal ``states`` on ``layout`` with what slips at the rim, where the holding has a limit.

    ``coarse``, sewn on the spread layout with the rim clamped, tells whether anything does.
    """
    if stack.grip_n_per_m is None:
        return states
    grip, hooping = stack.grip_n_per_m.value, stack.hooping_n_per_m.value
    if coarse is not None and most_pull_n_per_m(sewing.spread, coarse, hooping) <= grip:
        return states
    return with_slip(
        layout,
        states,
        sewing.spread,
        sewing.stitches,
        make_variants(stack, {}, 1),
        grip_n_per_m=grip,
        hooping_n_per_m=hooping,
    )


def rms(states: Floats) -> Floats:
    """Root mean square displacement at the end of each variant, (v,) mm."""
    result: Floats = np.sqrt(np.mean(states[:, -1] ** 2, axis=(1, 2)))
    return result


def _part(
    progress: Callable[[float], None] | None, begin: float, end: float
) -> Callable[[float], None] | None:
    """Return ``progress`` for one part of the work."""
    if progress is None:
        return None
    report = progress
    return lambda done: report(begin + done * (end - begin))


def _wanted(sewing: Sewing, layout: Layout, sewn: Sewn, stack: Stack) -> Floats:
    """Gap shifts at all stations, then losses of width of all columns without play, (v, q) mm."""
    result = read(layout, sewn.states, sewn.forming)
    radius_mm = 0.5 * stack.needle.blade_mm.value
    shares = [visible_share(column.pitch_mm, radius_mm) for column in sewing.columns]
    result[:, result.shape[1] - len(shares) :] *= shares
    return result
