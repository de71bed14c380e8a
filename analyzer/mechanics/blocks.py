"""Cutting the sewing sequence into blocks along the sewing front."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from analyzer.arrays import Bools, Floats, Ints, frozen
from analyzer.design import Design
from analyzer.regions.types import Region, RegionKind, Regions

# Blocks follow the stiffening of the cloth: narrow or sparse stitching stiffens little of it, so a block may
# hold more. A fill of rows up to _DENSE_MM apart counts fully, a satin from _WIDE_MM on, a run by a share of
# its length.
_RUN_PROGRESS = 0.05
_DENSE_MM = 0.8
_WIDE_MM = 5.0
_GROWING = 2.0  # exponent by which the blocks of one stretch grow: its first stitches drift most
_LONGER, _ATTEMPTS = 1.25, 24  # the blocks are lengthened until there are no more than allowed


@dataclass(frozen=True, slots=True)
class Blocks:
    """Rising block number (m,) of every penetration, and its moment (m,) in the block, from 0 to 1."""

    count: int
    block: Ints
    moment: Floats


def front_progress(design: Design, regions: Regions, loads: Bools) -> Floats:
    """How far the sewing front moves with the stitch that ends at each penetration, mm (m,).

    A fill's front moves across its rows by as much as the fill extends across them, a satin's by one row
    spacing for each stitch; sparse rows, narrow satins and runs count less.
    """
    length = np.where(loads, design.lengths_mm, 0.0)
    most = max(r.id for r in regions.items) + 1
    total = np.bincount(regions.region_of, weights=length, minlength=most)
    order = np.argsort(regions.region_of, kind="stable")
    begin = np.searchsorted(regions.region_of[order], np.arange(most + 1))
    rate = np.full(len(total), _RUN_PROGRESS)
    for item in regions.items:
        if total[item.id] > 0:
            own = order[begin[item.id] : begin[item.id + 1]]
            rate[item.id] = _extent(item, design.penetrations[own]) / total[item.id]
            if rate[item.id] == 0.0:
                rate[item.id] = _RUN_PROGRESS
    progress: Floats = length * rate[regions.region_of]
    return progress


def _extent(item: Region, points: Floats) -> float:
    """Return the whole way of a region's front, mm; 0 where it is a line."""
    if item.kind in (RegionKind.RUN, RegionKind.TRAVEL, RegionKind.TIE) or item.row_spacing_mm is None:
        return 0.0
    if item.kind is RegionKind.SATIN:
        return item.stitches * item.row_spacing_mm * min(1.0, (item.width_mm or _WIDE_MM) / _WIDE_MM)
    share = min(1.0, _DENSE_MM / item.row_spacing_mm)
    if item.direction_deg is None:
        return share * float(0.5 * np.ptp(points, axis=0).min())
    angle = np.radians(item.direction_deg)
    return share * float(np.ptp(points @ (-np.sin(angle), np.cos(angle))))


def cut_blocks(progress: Floats, regions: Regions, step_mm: float, most: int) -> Blocks:
    """Cut into blocks of about ``step_mm`` of front progress, longer where there would be more than ``most``.

    The blocks of one stretch are short where it begins and grow.

    A block holds no outline together with a region that it borders, unless nothing else keeps within
    ``most``.
    """
    region_of = regions.region_of
    starts = np.flatnonzero(np.r_[True, region_of[1:] != region_of[:-1]])
    ends = np.r_[starts[1:], len(region_of)]
    reached = np.r_[0.0, np.cumsum(progress)]
    way = reached[ends] - reached[starts]
    apart: dict[int, set[int]] = {}
    for pair in regions.pairs:
        apart.setdefault(pair.outline, set()).add(pair.borders)
        apart.setdefault(pair.borders, set()).add(pair.outline)
    # A part of t mm holds max(1, round(t / step)) blocks, which is 2 t / 3 step or more.
    least = np.log(max(way.sum() / (1.5 * step_mm * most), 1.0)) / np.log(_LONGER)
    begin = min(int(np.ceil(least - 1e-9)), _ATTEMPTS - 1)
    for keep_apart, lengthening in product((apart, {}), range(begin, _ATTEMPTS)):
        parts = _parts(region_of[starts].tolist(), way.tolist(), step_mm * _LONGER**lengthening, keep_apart)
        if sum(count for _, count in parts) <= most:
            break
    block = np.zeros(len(region_of), dtype=np.int32)
    moment = np.zeros(len(region_of))
    first, number = 0, 0
    for last, count in parts:
        begin, end = int(starts[first]), int(ends[last])
        done = reached[begin:end] - reached[begin]
        whole = reached[end] - reached[begin]
        share = done / whole if whole > 0 else np.zeros(end - begin)
        limits = (np.arange(count + 1) / count) ** _GROWING
        inside = np.minimum(np.searchsorted(limits, share, side="right") - 1, count - 1)
        block[begin:end] = number + inside
        moment[begin:end] = np.clip((share - limits[inside]) / np.diff(limits)[inside], 0.0, 1.0)
        first, number = last + 1, number + count
    return Blocks(count=number, block=frozen(block), moment=frozen(moment))


def _parts(
    ids: list[int], way: list[float], step_mm: float, apart: Mapping[int, set[int]]
) -> list[tuple[int, int]]:
    """Gather neighbouring pieces of the sequence: (last piece, number of blocks) of each part."""
    parts: list[tuple[int, int]] = []
    held: set[int] = set()
    total = 0.0
    for index, (region, progress) in enumerate(zip(ids, way, strict=True)):
        if held and (total + progress > step_mm or not held.isdisjoint(apart.get(region, ()))):
            parts.append((index - 1, max(1, round(total / step_mm))))
            held, total = set(), 0.0
        held.add(region)
        total += progress
    parts.append((len(ids) - 1, max(1, round(total / step_mm))))
    return parts
