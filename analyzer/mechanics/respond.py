"""How one stack answers one design's stitching: nominally, and over the common draws."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np

from analyzer.arrays import Bools, Floats, frozen
from analyzer.goods import Draws, Stack, values
from analyzer.goods.constants import constants
from analyzer.mechanics.law import Pull, tension_parts
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.pucker import (
    amplitude_mm,
    pucker_draws,
    release,
    ring,
    ring_contraction,
    slack_n_per_m,
)
from analyzer.mechanics.pullin import principal_strains, pull_in, strain_p95
from analyzer.mechanics.release import Freed, free, unhooped
from analyzer.mechanics.rim import most_pull_n_per_m, with_slip
from analyzer.mechanics.sequence import Sewn, Variants, sew
from analyzer.mechanics.sewing import Sewing
from analyzer.mechanics.surface import Fine, Runs, plan_runs, ranked_causes, scaled, spread_out, telling_rows
from analyzer.mechanics.types import ColumnDraws, GapDraws, PuckerDraws, Response, Unhooped
from analyzer.mechanics.wanted import read, visible_share
from analyzer.regions.types import RegionKind, Regions

# of each block's energy; what a block leaves goes into the next. Gaps are then good to some thousandths of a
# millimetre, or half a per cent; over the draws to one or two per cent
TOLERANCE, SCREEN_TOLERANCE, SPREAD_TOLERANCE = 2e-2, 5e-2, 5e-2
_REMEMBERED = 3  # earlier stacks from whose steps solves begin
_SPREAD_SHARE, _ENDS_SHARE = 0.25, 0.5  # of the time, for progress


#: How finely a design is sewn: see :func:`respond`.
Detail: TypeAlias = Literal["full", "screen", "scan", "coarse"]


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
    the surface's course along the stiffness that tells most. ``"scan"`` is ``"screen"`` with half the runs.

    With ``like``, the response of the same stack to nearly the same design, nothing but nominal values is
    computed: all quantities are taken to vary over the draws in common, as those did together. With
    ``detail="coarse"`` too, ``like`` is the response of another stack to this very sewing: only the coarsest
    grid is sewn, and what finer ones add is taken over from there. ``benchmarks/bench_screen.py`` tells how
    far off that is.

    ``earlier`` holds what was sewn of this ``sewing`` with other stacks, and takes in this one; ``progress``
    is called with the share done, 0 to 1.

    Raises:
        NotConverged: a solve missed its tolerance.
        ValueError: ``detail="coarse"`` without ``like``.

    """
    if detail == "coarse" and like is None:
        raise ValueError("the coarsest grid is good enough only beside a response that a finer one gave")
    earlier = Earlier() if earlier is None else earlier
    radius = 0.5 * stack.needle.blade_mm.value
    plan = plan_runs(stack, axes_only=detail == "scan")
    factors = {} if like is not None else plan.factors
    variants = make_variants(stack, factors, len(next(iter(factors.values()), np.ones(1))))
    coarse, slipping = _sew_spread(
        sewing, variants, earlier.spread, _part(progress, 0.0, _SPREAD_SHARE if detail == "full" else 0.5)
    )
    ringed = ring_contraction(sewing.spread, coarse.states, ring(sewing.spread))
    wanted = np.column_stack([_wanted(sewing, sewing.spread, coarse, radius), ringed])
    runs = Runs(_rms(coarse.states), wanted, slipping)
    rows: list[int] = []
    if detail == "coarse" and like is not None:
        layout, states = sewing.spread, coarse.states[:1] * like.finer[-1]
        nominal, middle = coarse, wanted[0] * like.finer[:-1]
        states = _slipped(sewing, layout, stack, states, coarse)
    else:
        rows = list(telling_rows(plan, runs)) if detail == "full" and like is None else [0]
        screened = sew(
            sewing.screen,
            sewing.stitches,
            make_variants(stack, {name: each[rows] for name, each in factors.items()}, len(rows)),
            tolerance=SCREEN_TOLERANCE,
            starts=earlier.screen,
            progress=_part(progress, *((_SPREAD_SHARE, _ENDS_SHARE) if detail == "full" else (0.5, 1.0))),
        )
        earlier.add(coarse, screened)
        layout, nominal = sewing.screen, screened
        if detail == "full":
            layout, one = sewing.full, make_variants(stack, {}, 1)
            nominal = sew(
                layout, sewing.stitches, one, tolerance=TOLERANCE, progress=_part(progress, _ENDS_SHARE, 1.0)
            )
        states = _slipped(sewing, layout, stack, nominal.states[:1], coarse)
        nominal = replace(nominal, states=states, forming=nominal.forming[:1])
        middle = np.append(_wanted(sewing, layout, nominal, radius)[0], ringed[0])
    if like is None:
        scale = _rms(screened.states)
        finer = scale / scale[0] * runs.scale[0] / runs.scale[rows]
        ends = np.column_stack([_wanted(sewing, sewing.screen, screened, radius), ringed[rows] * finer])
        drawn = spread_out(plan, stack, draws, runs, middle, Fine(tuple(rows), scale, ends))
    else:
        drawn = like.common[:, None] * middle

    gaps = _gaps(sewing, middle, drawn)
    columns = _columns(sewing, stack, draws, middle, drawn)
    freed = free(sewing.spread, stack, coarse, variants.layers[0])
    pucker = _pucker(
        sewing, stack, draws, coarse, freed, drawn[:, -1] / wanted[0, -1] if wanted[0, -1] else None
    )
    angle = 2.0 * np.arctan2(sewing.stitches.direction[:, 1], sewing.stitches.direction[:, 0])
    weight = sewing.stitches.length_mm[:, None] * np.stack(
        [np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1
    )
    pulled, moved = pull_in(
        layout,
        states,
        sewing.design.penetrations,
        sewing.loaded,
        visible(sewing.regions),
        weight,
        nominal.forming,
    )
    shape = (layout.grid.ny + 1, layout.grid.nx + 1, 2)
    u = states[0, -1].reshape(shape)
    low, _ = principal_strains(layout.lattice.strain(u).reshape(*layout.grid.shape, 3))
    return Response(
        grid=layout.grid,
        displacement=frozen(u.copy()),
        drift=frozen(moved),
        strain=frozen(np.maximum(0.0, -low)),
        pull_in=pulled,
        gaps=gaps,
        columns=columns,
        pucker=pucker,
        mostly_from=ranked_causes(stack, draws, _telling(gaps, columns, pucker)),
        solves=len(variants.layers) + len(rows) + (detail == "full"),
        unhooped=_unhooped(sewing, stack, freed, weight),
        common=frozen(_common(middle, drawn)),
        finer=frozen(np.append(scaled(middle, wanted[0]), _rms(states)[0] / max(runs.scale[0], 1e-12))),
    )


def _sew_spread(
    sewing: Sewing, variants: Variants, starts: list[Sewn], progress: Callable[[float], None] | None
) -> tuple[Sewn, Floats]:
    """Sew the spread layout; also returns the share (v,) of all pull that goes with what locking leaves."""
    pull, stitches = variants.pull, sewing.stitches
    whole, slips = tension_parts(stitches, pull, sewing.spread.grid.cell_mm)
    pulls = whole - slips * (1.0 - pull.lock_share[:, None])
    sewn = sew(
        sewing.spread,
        stitches,
        variants,
        tolerance=SPREAD_TOLERANCE,
        starts=starts,
        pulls=pulls,
        progress=progress,
    )
    slipping = pull.lock_share * (slips @ stitches.length_mm) / (pulls @ stitches.length_mm)
    return sewn, slipping


def _unhooped(sewing: Sewing, stack: Stack, freed: Freed, weight: Floats) -> Unhooped:
    """Return what moves out of the hoop; ``weight`` (n, 3) is length times (1, cos 2a, sin 2a)."""
    angle = 0.5 * np.arctan2(weight[:, 2].sum(), weight[:, 1].sum())
    along = np.array([np.cos(angle), np.sin(angle)])
    places = sewing.design.penetrations[sewing.loaded]
    return unhooped(sewing.spread, freed, stack.hooping_n_per_m.value, places, along)


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
    states = _slipped(sewing, sewing.full, stack, sewn.states)
    beyond = strain_p95(sewing.full, states[0, -1]) > constants("limits")["strain_p95"].value
    return states, sewn.forming, beyond


def _slipped(
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


def visible(regions: Regions) -> Bools:
    """Which penetrations (m,) belong to stitching that shows."""
    hidden = [
        r.id for r in regions.items if r.kind in (RegionKind.UNDERLAY, RegionKind.TRAVEL, RegionKind.TIE)
    ]
    shown: Bools = ~np.isin(regions.region_of, hidden)
    return shown


def _rms(states: Floats) -> Floats:
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


def _wanted(sewing: Sewing, layout: Layout, sewn: Sewn, radius_mm: float) -> Floats:
    """Gap shifts at all stations, then losses of width of all columns without play, (v, q) mm."""
    result = read(layout, sewn.states, sewn.forming)
    shares = [visible_share(column.pitch_mm, radius_mm) for column in sewing.columns]
    result[:, result.shape[1] - len(shares) :] *= shares
    return result


def _common(middle: Floats, drawn: Floats) -> Floats:
    """Draws (n,) of all quantities together over their nominal values, those that move most counting most."""
    size = float(middle @ middle)
    result: Floats = drawn @ middle / size if size > 0.0 else np.ones(len(drawn))
    return result


def _gaps(sewing: Sewing, middle: Floats, drawn: Floats) -> tuple[GapDraws, ...]:
    """Gaps of all pairs: what the file leaves plus what drift adds."""
    result, first = [], 0
    for pair in sewing.regions.pairs:
        own = slice(first, first + len(pair.at))
        first = own.stop
        steps = np.hypot(*np.diff(pair.at, axis=0).T)
        steps = steps[steps > 0.0]  # stations of an outline sewn twice lie on each other
        result.append(
            GapDraws(
                outline=pair.outline,
                borders=pair.borders,
                at=pair.at,
                normal=pair.normal,
                station_mm=float(np.median(steps)) if len(steps) else 0.5,
                meant_mm=pair.meant_mm,
                nominal_mm=frozen(pair.meant_mm + middle[own]),
                draws_mm=frozen(pair.meant_mm + drawn[:, own]),
            )
        )
    return tuple(result)


def _columns(
    sewing: Sewing, stack: Stack, draws: Draws, middle: Floats, drawn: Floats
) -> tuple[ColumnDraws, ...]:
    """Losses of all columns, with the play at both edges."""
    first = sum(len(pair.at) for pair in sewing.regions.pairs)
    play = values(draws, "play_mm", stack.spreads["play_mm"])
    nominal_play = stack.spreads["play_mm"].value
    return tuple(
        ColumnDraws(
            region=column.region,
            width_mm=column.width_mm,
            nominal_mm=float(middle[first + i] + 2.0 * nominal_play),
            draws_mm=frozen(drawn[:, first + i] + 2.0 * play),
        )
        for i, column in enumerate(sewing.columns)
    )


def _pucker(
    sewing: Sewing, stack: Stack, draws: Draws, coarse: Sewn, freed: Freed, pull_factor: Floats | None
) -> PuckerDraws:
    """Amplitude of the ripple on the coarse grid."""
    layout = sewing.spread
    released = release(layout, stack, freed)
    nominal = released.from_pull + stack.hooping_n_per_m.value * released.from_hooping
    low, _ = principal_strains(nominal)
    iy, ix = divmod(int(released.cells[low.argmin()]), layout.grid.nx)
    half = 0.5 * layout.grid.cell_mm
    factor = np.ones(draws.count) if pull_factor is None else np.maximum(0.0, pull_factor)
    return PuckerDraws(
        nominal_mm=float(amplitude_mm(nominal, released.wavelength_mm, released.threshold)),
        draws_mm=frozen(pucker_draws(released, stack, draws, factor)),
        at=(
            layout.grid.x0_mm + ix * layout.grid.cell_mm + half,
            layout.grid.y0_mm + iy * layout.grid.cell_mm + half,
        ),
        slack_n_per_m=slack_n_per_m(
            coarse.layer_resultants.sum(axis=0) + coarse.tie_resultants,
            ring(layout),
            stack.hooping_n_per_m.value,
        ),
    )


def _telling(gaps: tuple[GapDraws, ...], columns: tuple[ColumnDraws, ...], pucker: PuckerDraws) -> Floats:
    """Draws of what matters most: the worst gap by its own drift, else the widest loss, else pucker."""
    if gaps:
        worst = max(gaps, key=lambda gap: float(np.abs(gap.nominal_mm - gap.meant_mm).max()))
        return worst.draws_mm[:, int(np.abs(worst.nominal_mm - worst.meant_mm).argmax())]
    if columns:
        return max(columns, key=lambda column: column.nominal_mm).draws_mm
    return pucker.draws_mm
