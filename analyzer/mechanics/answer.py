"""From what was sewn on one stack to its response: gaps, columns, pucker, pull-in, and what drives them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Bools, Floats, frozen
from analyzer.goods import Draws, Stack, values
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.pucker import amplitude_mm, pucker_draws, release, ring, slack_n_per_m
from analyzer.mechanics.pullin import principal_strains, pull_in
from analyzer.mechanics.release import Freed, free, unhooped
from analyzer.mechanics.sequence import Sewn, Variants
from analyzer.mechanics.sewing import Sewing
from analyzer.mechanics.surface import Plan, Runs, ranked_causes
from analyzer.mechanics.types import ColumnDraws, GapDraws, PuckerDraws, Response, Unhooped
from analyzer.regions.types import RegionKind, Regions


@dataclass(frozen=True, slots=True)
class Begun:
    """What the spread layout gave of one stack: its runs, the nominal one first."""

    stack: Stack
    plan: Plan
    variants: Variants
    coarse: Sewn
    runs: Runs


@dataclass(frozen=True, slots=True)
class Nominal:
    """The nominal ``states`` (1, blocks + 1, nodes, 2) mm and ``forming`` (1, blocks) on a layout.

    ``middle`` (q,) holds the wanted quantities, the ring's contraction last.
    """

    layout: Layout
    states: Floats
    forming: Floats
    middle: Floats


def answer(
    sewing: Sewing, begun: Begun, nominal: Nominal, draws: Draws, drawn: Floats, *, solves: int
) -> Response:
    """Return the response of a stack of which ``drawn`` (n, q) are the wanted quantities over the draws."""
    stack, coarse, layout, middle = begun.stack, begun.coarse, nominal.layout, nominal.middle
    gaps = _gaps(sewing, middle, drawn)
    columns = _columns(sewing, stack, draws, middle, drawn)
    freed = free(sewing.spread, stack, coarse, begun.variants.layers[0])
    ringed = begun.runs.wanted[0, -1]
    pucker = _pucker(sewing, stack, draws, coarse, freed, drawn[:, -1] / ringed if ringed else None)
    angle = 2.0 * np.arctan2(sewing.stitches.direction[:, 1], sewing.stitches.direction[:, 0])
    weight = sewing.stitches.length_mm[:, None] * np.stack(
        [np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1
    )
    pulled, moved = pull_in(
        layout,
        nominal.states,
        sewing.design.penetrations,
        sewing.loaded,
        visible(sewing.regions),
        weight,
        nominal.forming,
    )
    shape = (layout.grid.ny + 1, layout.grid.nx + 1, 2)
    u = nominal.states[0, -1].reshape(shape)
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
        solves=solves,
        unhooped=_unhooped(sewing, stack, freed, weight),
        common=frozen(common(middle, drawn)),
    )


def visible(regions: Regions) -> Bools:
    """Which penetrations (m,) belong to stitching that shows."""
    hidden = [
        r.id for r in regions.items if r.kind in (RegionKind.UNDERLAY, RegionKind.TRAVEL, RegionKind.TIE)
    ]
    shown: Bools = ~np.isin(regions.region_of, hidden)
    return shown


def common(middle: Floats, drawn: Floats) -> Floats:
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


def _unhooped(sewing: Sewing, stack: Stack, freed: Freed, weight: Floats) -> Unhooped:
    """Return what moves out of the hoop; ``weight`` (n, 3) is length times (1, cos 2a, sin 2a)."""
    angle = 0.5 * np.arctan2(weight[:, 2].sum(), weight[:, 1].sum())
    along = np.array([np.cos(angle), np.sin(angle)])
    places = sewing.design.penetrations[sewing.loaded]
    return unhooped(sewing.spread, freed, stack.hooping_n_per_m.value, places, along)
