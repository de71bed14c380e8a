"""Filling a shape anew: other row spacing, other direction; and leaving out what lies under it."""

from __future__ import annotations

import numpy as np
import shapely

from analyzer.arrays import Bools, Floats
from analyzer.changes.rows import Rows, as_design, cut_at, joined_up, lone, rows_of, stitches
from analyzer.design import Command, Design
from analyzer.goods.constants import constants
from analyzer.regions.types import Region, Regions

_STRAIGHT = 0.995  #: cosine between stitches that go straight on
_STAGGER = (0.0, 0.5, 0.25, 0.75)  #: of the stitch length, row after row


def refilled(
    design: Design,
    region: Region,
    *,
    spacing_mm: float | None = None,
    direction_deg: float | None = None,
) -> Design | None:
    """Return the design with a fill sewn anew in the same shape, in plain straight rows.

    What is not given stays as it is. Parts of the shape that a row cannot reach in one go are sewn one after
    the other. None where the fill has no known spacing and direction, or its shape cannot be made out.
    """
    if region.row_spacing_mm is None or region.direction_deg is None:
        return None
    spacing = region.row_spacing_mm if spacing_mm is None else spacing_mm
    direction = region.direction_deg if direction_deg is None else direction_deg
    shape = shape_of(design, region)
    if shape.is_empty:
        return None
    entry = design.penetrations[max(region.first - 1, 0)]
    sections = fill_rows(shape, spacing, direction, region.stitch_length_mm, entry)
    if not sections:
        return None
    rows, down = rows_of(design)
    begin, stop = int(down[region.first]), int(down[region.last]) + 1
    anew = joined_up(*(stitches(points, region.colour) for points in sections))
    after = rows.part(stop, len(rows.kinds))
    return as_design(joined_up(rows.part(0, begin), anew, after), design)


def split_up(design: Design, region: Region) -> Design | None:
    """Return the design with a fill sewn as two halves, the second in rows square to the first's.

    The halves meet across the shape's longer side, a row apart. None where the fill has no known spacing and
    direction, its shape cannot be made out, or nothing is left on one side.
    """
    if region.row_spacing_mm is None or region.direction_deg is None:
        return None
    shape = shape_of(design, region)
    if shape.is_empty:
        return None
    entry = design.penetrations[max(region.first - 1, 0)]
    sections: list[Floats] = []
    for part, turn in zip(_halves(shape), (0.0, 90.0), strict=True):
        if part.is_empty or part.area < 1.0:
            return None
        direction = (region.direction_deg + turn) % 180.0
        rows = fill_rows(part, region.row_spacing_mm, direction, region.stitch_length_mm, entry)
        if not rows:
            return None
        sections += rows
        entry = rows[-1][-1]
    rows_before, down = rows_of(design)
    begin, stop = int(down[region.first]), int(down[region.last]) + 1
    anew = joined_up(*(stitches(points, region.colour) for points in sections))
    after = rows_before.part(stop, len(rows_before.kinds))
    return as_design(joined_up(rows_before.part(0, begin), anew, after), design)


def _halves(shape: shapely.Geometry) -> tuple[shapely.Geometry, shapely.Geometry]:
    """Return a shape's two halves, cut square to the longer side of its smallest rectangle."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))[:4]
    if len(corners) < 4:
        return shape, shapely.MultiPolygon()
    sides = corners[1] - corners[0], corners[3] - corners[0]
    longer, other = sides if np.hypot(*sides[0]) >= np.hypot(*sides[1]) else sides[::-1]
    start = corners[0]
    first = shapely.polygons([start, start + longer / 2, start + longer / 2 + other, start + other])
    rest = shapely.polygons(
        [start + longer / 2, start + longer, start + longer + other, start + longer / 2 + other]
    )
    grown = [shapely.buffer(half, 1e-6) for half in (first, rest)]
    return shapely.intersection(shape, grown[0]), shapely.intersection(shape, grown[1])


def underlaid(design: Design, region: Region, *, inset_mm: float, spacing_mm: float) -> Design | None:
    """Return the design with open rows square to a fill's own sewn under it first, a little inside its edge.

    None where the fill has no known direction, or nothing is left of its shape inside.
    """
    if region.direction_deg is None or region.row_spacing_mm is None:
        return None
    shape = shapely.buffer(shape_of(design, region), -inset_mm)
    if shape.is_empty:
        return None
    entry = design.penetrations[max(region.first - 1, 0)]
    across = (region.direction_deg + 90.0) % 180.0
    sections = fill_rows(shape, spacing_mm, across, region.stitch_length_mm, entry)
    if not sections:
        return None
    rows, down = rows_of(design)
    begin = int(down[region.first])
    under = joined_up(*(stitches(points, region.colour) for points in sections))
    back = lone(rows.points[begin], Command.JUMP, region.colour)
    return as_design(joined_up(rows.part(0, begin), under, back, rows.part(begin, len(rows.kinds))), design)


def without(design: Design, regions: Regions, dropped: tuple[int, ...]) -> Design | None:
    """Return the design without some regions; the thread is cut where they were."""
    gone = np.isin(regions.region_of, dropped)
    if not gone.any() or gone.all():
        return None
    rows, down = rows_of(design)
    keep: Bools = np.ones(len(rows.kinds), dtype=np.bool_)
    keep[down[gone]] = False
    parts: list[Rows] = []
    edges = np.flatnonzero(np.diff(keep.astype(np.int8), prepend=0, append=0))
    for begin, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        part = rows.part(begin, stop)
        if parts:
            parts.append(cut_at(joined_up(parts[-1], part), len(parts[-1].kinds)))
        parts.append(part)
    return as_design(joined_up(*parts), design)


def shape_of(design: Design, region: Region) -> shapely.Geometry:
    """Return the area of a fill, its edge through its outermost penetrations, as a multipolygon."""
    first = max(region.first, 1)
    a, b = design.penetrations[first - 1 : region.last], design.penetrations[first : region.last + 1]
    sewn = design.joined[first : region.last + 1] & ~design.jumped[first : region.last + 1]
    way = (b - a) / np.maximum(np.hypot(*(b - a).T), 1e-9)[:, None]
    # Stitches that go straight on are one line: far fewer to grow.
    on = (np.einsum("ij,ij->i", way[1:], way[:-1]) > _STRAIGHT) & sewn[1:] & sewn[:-1]
    begins = np.concatenate([[0], np.flatnonzero(~on) + 1])
    ends = np.concatenate([begins[1:], [len(a)]]) - 1
    kept = sewn[begins]
    lines = shapely.linestrings(np.stack([a[begins[kept]], b[ends[kept]]], axis=1))
    reach = 0.6 * (region.row_spacing_mm or 0.0) + 0.1
    grown = shapely.union_all(shapely.buffer(lines, reach, quad_segs=4))
    area = shapely.buffer(grown, -reach, quad_segs=4)
    parts = [part for part in shapely.get_parts(area) if part.geom_type == "Polygon" and part.area > 1.0]
    return shapely.multipolygons(parts) if parts else shapely.MultiPolygon()


def fill_rows(
    shape: shapely.Geometry, spacing_mm: float, direction_deg: float, stitch_mm: float, entry: Floats
) -> list[Floats]:
    """Return the penetrations of straight rows in a shape, one array (k, 2) mm for each section.

    Rows run to and fro; the sections come nearest first, from ``entry`` (2,) on.
    """
    turn = np.deg2rad(direction_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    corners = shapely.get_coordinates(shape)
    low, high = (corners @ across).min(), (corners @ across).max()
    count = max(1, round((high - low) / spacing_mm))
    offsets = low + (high - low) * (np.arange(count + 1) / count * 0.998 + 0.001)
    reach = np.abs(corners @ along).max() + 1.0
    ends = offsets[:, None, None] * across + np.array([-reach, reach])[None, :, None] * along
    met = shapely.intersection(shapely.linestrings(ends), shape)
    sections = [_penetrations(section, along, stitch_mm) for section in _sections(met, along)]
    ordered: list[Floats] = []
    at = entry
    while sections:
        ways = [min(np.hypot(*(points[0] - at)), np.hypot(*(points[-1] - at))) for points in sections]
        nearest = sections.pop(int(np.argmin(ways)))
        if np.hypot(*(nearest[-1] - at)) < np.hypot(*(nearest[0] - at)):
            nearest = nearest[::-1]
        ordered.append(nearest)
        at = nearest[-1]
    return ordered


def _sections(met: Floats, along: Floats) -> list[list[Floats]]:
    """Return chains of rows (2, 2), each beside just one of the row before."""
    least = constants("changes")["least_row_mm"].value
    open_chains: list[list[Floats]] = []
    done: list[list[Floats]] = []
    for line in met:
        parts = [shapely.get_coordinates(part) for part in shapely.get_parts(line)]
        pieces = [part for part in parts if _length(part) >= least]
        spans = [np.sort(piece[[0, -1]] @ along) for piece in pieces]
        last = [np.sort(chain[-1] @ along) for chain in open_chains]
        meets = [[k for k, s in enumerate(last) if s[0] < span[1] and span[0] < s[1]] for span in spans]
        shared = [sum(k in hits for hits in meets) for k in range(len(open_chains))]
        going: list[list[Floats]] = []
        taken: set[int] = set()
        for piece, hits in zip(pieces, meets, strict=True):
            row = piece[[0, -1]]
            if len(hits) == 1 and shared[hits[0]] == 1:
                open_chains[hits[0]].append(row)
                going.append(open_chains[hits[0]])
                taken.add(hits[0])
            else:
                going.append([row])
        done += [chain for k, chain in enumerate(open_chains) if k not in taken]
        open_chains = going
    return done + open_chains


def _length(points: Floats) -> float:
    return float(np.hypot(*(points[-1] - points[0]))) if len(points) > 1 else 0.0


def _penetrations(chain: list[Floats], along: Floats, stitch_mm: float) -> Floats:
    """Return the penetrations of rows sewn to and fro, staggered from row to row."""
    end = constants("changes")["least_end_mm"].value
    parts = []
    for number, row in enumerate(chain):
        u = np.sort(row @ along)
        phase = _STAGGER[number % len(_STAGGER)] * stitch_mm
        inside = (
            np.arange(np.ceil((u[0] - phase) / stitch_mm), (u[1] - phase) / stitch_mm) * stitch_mm + phase
        )
        inside = inside[(inside > u[0] + end) & (inside < u[1] - end)]
        at = np.concatenate([[u[0]], inside, [u[1]]])
        base = row[0] - (row[0] @ along) * along
        points = base + at[:, None] * along
        parts.append(points if number % 2 == 0 else points[::-1])
    return np.concatenate(parts)
