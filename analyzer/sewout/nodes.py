"""What the mechanics predicts for the measured quantities of one sew-out, over its uncertain parameters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from scipy import sparse

from analyzer import mechanics
from analyzer.arrays import Floats, Ints
from analyzer.design import Design
from analyzer.errors import BadJob
from analyzer.goods import Draws, Setup, Stack, values
from analyzer.mechanics.law import tension_parts
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.readings import Sought, readings
from analyzer.mechanics.respond import SPREAD_TOLERANCE, TOLERANCE, make_variants
from analyzer.mechanics.sequence import sew
from analyzer.mechanics.surface import Plan, Runs, plan_runs, spread_out
from analyzer.mechanics.wanted import read, visible_share
from analyzer.regions import Regions, cut
from analyzer.regions.types import Region, RegionKind
from analyzer.sewout.piece import Measure

_NEAR_MM = 2.5  # round a place, within which penetrations or stations are averaged
_AT_ONE_PLACE = 8


@dataclass(frozen=True, slots=True)
class Nodes:
    """The runs of one sew-out on one stack, from which its k measures follow at any parameters.

    ``middle`` (k,) mm is what the fine grid gives at the nominal ones, ``play`` (k,) how often the play
    counts, ``meant`` (k,) mm what the file has.
    """

    plan: Plan
    stack: Stack
    runs: Runs
    middle: Floats
    play: Floats
    meant: Floats
    measures: tuple[Measure, ...]

    def shift(self, draws: Draws) -> Floats:
        """Change (n, k) mm of the measures that the cloth's movement makes, without play."""
        return spread_out(self.plan, self.stack, draws, self.runs, self.middle)

    def measured(self, draws: Draws) -> Floats:
        """Measures (n, k) mm as a ruler finds them."""
        play = values(draws, "play_mm", self.stack.spreads["play_mm"])
        result: Floats = self.meant + self.shift(draws) + play[:, None] * self.play
        return result


def compute(design: Design, setup: Setup, stack: Stack, measures: Sequence[Measure]) -> Nodes:
    """Sew the design at the nodes of the response surface and read the measures there.

    Raises:
        BadJob: a measure names a place where there is no such thing.
        NotConverged: a solve missed its tolerance.

    """
    regions = cut(design)
    sewing = mechanics.prepare(design, regions, setup.hoop)
    sought, play, meant, share = _sought(design, regions, measures, 0.5 * stack.needle.blade_mm.value)
    plan = plan_runs(stack)
    count = len(next(iter(plan.factors.values()), np.ones(1)))
    variants = make_variants(stack, plan.factors, count)

    def wanted(layout: Layout, tolerance: float, which: object) -> tuple[Floats, Floats]:
        own = make_variants(stack, {}, 1) if which == "middle" else variants
        there = replace(layout, readings=readings(sought, layout.lattice, layout.origin_mm, layout.blocks))
        sewn = sew(there, sewing.stitches, own, tolerance=tolerance)
        scale: Floats = np.sqrt(np.mean(sewn.states[:, -1] ** 2, axis=(1, 2)))
        return scale, read(there, sewn.states, sewn.forming) * share

    scale, found = wanted(sewing.spread, SPREAD_TOLERANCE, "all")
    _, middle = wanted(sewing.full, TOLERANCE, "middle")
    whole, slips = tension_parts(sewing.stitches, variants.pull, sewing.spread.grid.cell_mm)
    length = sewing.stitches.length_mm
    pulls = whole - slips * (1.0 - variants.pull.lock_share[:, None])
    slipping = variants.pull.lock_share * (slips @ length) / (pulls @ length)
    return Nodes(plan, stack, Runs(scale, found, slipping), middle[0], play, meant, tuple(measures))


def _sought(
    design: Design, regions: Regions, measures: Sequence[Measure], radius_mm: float
) -> tuple[Sought, Floats, Floats, Floats]:
    """Return the measures as sums over drifts, with play's part, what is meant, and the share that shows."""
    at: list[Floats] = []
    since: list[Ints] = []
    way: list[Floats] = []
    row: list[Ints] = []
    play, meant, share = [], [], []
    for number, one in enumerate(measures):
        points, moments, directions, own_play, own_meant, own_share = _one(design, regions, one, radius_mm)
        at.append(points)
        since.append(moments)
        way.append(directions)
        row.append(np.full(len(points), number, dtype=np.int32))
        play.append(own_play)
        meant.append(own_meant)
        share.append(own_share)
    rows = np.concatenate(row)
    entries = (np.ones(len(rows)), (rows, np.arange(len(rows))))
    gather = sparse.csr_matrix(entries, shape=(len(measures), len(rows)))
    sought = Sought(np.concatenate(at), np.concatenate(since), np.concatenate(way), gather)
    return sought, np.array(play), np.array(meant), np.array(share)


_One = tuple[Floats, Ints, Floats, float, float, float]


def _one(design: Design, regions: Regions, one: Measure, radius_mm: float) -> _One:
    """Return points, moments and directions of one measure, then play's part, meant mm and share."""
    if one.kind == "width":
        return _width(design, regions, one, radius_mm)
    if one.kind == "gap":
        return _gap(regions, one)
    start, end = np.array(one.start), np.array(one.end)
    distance = float(np.hypot(*(end - start)))
    if distance < 1.0:
        raise BadJob(f"{one.name}: the two places must be 1 mm or more apart")
    n = (end - start) / distance
    if one.kind == "marks":
        points = np.stack([end, start])
        return points, np.zeros(2, dtype=np.int32), np.stack([n, -n]), 0.0, distance, 1.0
    shown = np.array([r.id for r in regions.items if r.kind in (RegionKind.FILL, RegionKind.SATIN)])
    own = np.flatnonzero(np.isin(regions.region_of, shown))
    parts = []
    for place, sign in ((end, 1.0), (start, -1.0)):
        away = np.hypot(*(design.penetrations[own] - place).T)
        near = own[np.argsort(away, kind="stable")[:_AT_ONE_PLACE]]
        near = near[np.hypot(*(design.penetrations[near] - place).T) < _NEAR_MM]
        # what lies at the edge makes the length, not the stitches behind it
        along = (design.penetrations[near] - place) @ n * sign
        near = near[along > along.max(initial=-9.0) - 0.3]
        if not near.size:
            raise BadJob(f"{one.name}: nothing is sewn at {place[0]:.1f}, {place[1]:.1f} mm")
        parts.append((design.penetrations[near], near, np.tile(sign * n / near.size, (near.size, 1))))
    points, moments, directions = (np.concatenate(each) for each in zip(*parts, strict=True))
    return points, moments.astype(np.int32), directions, -2.0, distance, 1.0


def _width(design: Design, regions: Regions, one: Measure, radius_mm: float) -> _One:
    x, y = one.start
    inside = [
        item
        for item in regions.items
        if item.kind is RegionKind.SATIN
        and item.width_mm is not None
        and item.row_spacing_mm is not None
        and item.bbox_mm[0] - 0.5 <= x <= item.bbox_mm[2] + 0.5
        and item.bbox_mm[1] - 0.5 <= y <= item.bbox_mm[3] + 0.5
    ]
    if not inside:
        raise BadJob(f"{one.name}: there is no satin column at {x:.1f}, {y:.1f} mm")

    def away(region: Region) -> tuple[Ints, Floats]:
        last = np.arange(region.first + 1, region.last + 1, dtype=np.int32)
        middle = (design.penetrations[last] + design.penetrations[last - 1]) / 2
        return last, np.hypot(*(middle - np.array(one.start)).T)

    item = min(inside, key=lambda region: (round(float(away(region)[1].min()), 1), region.stitches))
    last, distance = away(item)
    length = design.lengths_mm[last]
    across = length > 0.5 * np.median(length)  # no ties, no travel
    near = last[across][np.argsort(distance[across], kind="stable")[:40]]
    b, a = design.penetrations[near], design.penetrations[near - 1]
    n = (b - a) / (len(near) * np.hypot(*(b - a).T)[:, None])
    # of a column that tapers, the width that it has here
    width = cast(float, item.width_mm) * float(np.median(design.lengths_mm[near]) / np.median(length[across]))
    # the loss is the approach of the rails since the later of them was sewn: minus, as the width grows less
    points, directions = np.concatenate([a, b]), np.concatenate([-n, n])
    moments = np.concatenate([near, near]).astype(np.int32)
    share = visible_share(2.0 * cast(float, item.row_spacing_mm), radius_mm)
    return points, moments, directions, -2.0, width, share


def _gap(regions: Regions, one: Measure) -> _One:
    found = []
    for pair in regions.pairs:
        away = np.hypot(*(pair.at - np.array(one.start)).T)
        near = np.flatnonzero(away < _NEAR_MM)
        if near.size:
            found.append((float(away.min()), pair, near))
    if not found:
        raise BadJob(f"{one.name}: no outline borders anything at {one.start[0]:.1f}, {one.start[1]:.1f} mm")
    _, pair, near = min(found, key=lambda each: each[0])
    n = pair.normal[near] / near.size
    points = np.concatenate([pair.at[near], pair.edge[near]])
    moments = np.concatenate([pair.outline_stitch[near], pair.edge_stitch[near]])
    meant = float(pair.meant_mm[near].mean())
    # the border's threads end short of their holes: bare cloth shows there too
    return points, moments.astype(np.int32), np.concatenate([n, -n]), 1.0, meant, 1.0
