"""Pairing outlines with the edges that they follow, station by station."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import uniform_filter1d
from scipy.spatial import cKDTree

from analyzer.arrays import Bools, Floats, Ints, distinct, frozen
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.hidden import dense
from analyzer.regions.sewn import Sewn, near_box
from analyzer.regions.shapes import Edge, Edges, rails
from analyzer.regions.strokes import Strokes
from analyzer.regions.types import OutlinePair, Region, RegionKind

_BREAK = 2.5  #: stations further apart than this many steps do not follow each other
_SMOOTH_STATIONS = 5
_FEWEST = 3  #: stations that can follow an edge
_OFF_ROWS, _OFF_MM = 4.0, 0.6  #: an edge is nowhere further off the thread than so many spacings and so much
_ASKEW_MM = 0.5  #: the edge next to an outline has a sample no further off than its line by more


@dataclass(frozen=True, slots=True)
class _Stations:
    """Stations in order along one outline; ``far`` is a satin's other rail, the same points for a run."""

    at: Floats  #: (k, 2) mm
    far: Floats  #: (k, 2) mm
    stitch: Ints  #: (k,)


def find_pairs(
    sewn: Sewn, strokes: Strokes, pieces: list[Piece], items: list[Region], known: Edges
) -> tuple[OutlinePair, ...]:
    """Return every outline with every region whose edge it follows, in the order of their ids.

    ``known`` keeps the edges.
    """
    under = {n for item in items for n in item.covers}
    planes = [
        item.id
        for item, piece in zip(items, pieces, strict=True)
        if item.id not in under and _bordered(item, piece)
    ]
    near = _near(items, planes, constants("regions")["pair_mm"].value)
    edges: dict[int, Edge | None] = {}

    def edge(number: int) -> Edge | None:
        if number not in edges:
            edges[number] = known.of(sewn, strokes, pieces[number])
        return edges[number]

    pairs = []
    for item, piece in zip(items, pieces, strict=True):
        borders = [n for n in near[item.id] if n != item.id and _may(item, items[n])]
        if not borders:
            continue
        own = edge(item.id) if item.kind is RegionKind.FILL else None
        tracks = _tracks(sewn, strokes, piece, item, own)
        for number in borders:
            if number not in edges and not _reaches(sewn, item, items[number], pieces[number], tracks):
                continue
            border = edge(number)
            if border is None:
                continue
            way = _unbroken(sewn, item, items[number])
            pair = _pair(item, items[number], border, tracks, own, way)
            if pair is not None:
                pairs.append(pair)
    return tuple(pairs)


def _bordered(item: Region, piece: Piece) -> bool:
    """Whether a region is a plane that can have an outline."""
    if item.kind is RegionKind.SATIN:
        return dense(piece) and (item.width_mm or 0.0) >= constants("regions")["bordered_width_mm"].value
    return item.kind is RegionKind.FILL


def _near(items: list[Region], planes: list[int], reach_mm: float) -> list[list[int]]:
    """Return for each region the planes whose boxes come within reach of its own."""
    boxes = shapely.box(*np.array([item.bbox_mm for item in items]).T)
    found: list[list[int]] = [[] for _ in items]
    hits = shapely.STRtree(boxes[planes]).query(boxes, predicate="dwithin", distance=reach_mm)
    for number, plane in zip(*hits.tolist(), strict=True):
        found[number].append(planes[plane])
    return [sorted(each) for each in found]


def _reaches(
    sewn: Sewn, outline: Region, border: Region, piece: Piece, tracks: tuple[_Stations, ...]
) -> bool:
    """Whether thread of a border lies near ``tracks``: only then can its edge, which costs more to find.

    An edge is nowhere further from the thread than to the next row, and by what closing slits adds. Of a
    fill, thread lies all over its box.
    """
    if border.kind is RegionKind.FILL:
        return True
    reach = max(map(abs, _limits(outline, border))) + _OFF_ROWS * piece.spacing_mm + _OFF_MM
    thread = sewn.samples(piece.first, piece.last)[0]
    for track in tracks:
        near = near_box(thread, track.at, reach)
        if len(near) and np.isfinite(cKDTree(near).query(track.at, distance_upper_bound=reach)[0]).any():
            return True
    return False


def _unbroken(sewn: Sewn, a: Region, b: Region) -> bool:
    """Whether one thread runs from one region to the other without a cut or a halt."""
    first, last = min(a.last, b.last) + 1, max(a.first, b.first)
    return bool(sewn.joined[first : last + 1].all() and not sewn.halts[first : last + 1].any())


def _may(outline: Region, border: Region) -> bool:
    """Whether the kinds, colours and order allow the first to outline the second."""
    if outline.kind is RegionKind.RUN:
        # A line of the same thread that a column is laid over or beside later is what the column covers up.
        return (
            border.kind is RegionKind.FILL or outline.colour != border.colour or outline.first > border.first
        )
    if outline.kind is RegionKind.SATIN:
        # Columns of one colour side by side are lettering; a border is narrower than what it borders.
        return border.kind is RegionKind.FILL or (
            outline.colour != border.colour and (outline.width_mm or 0.0) < 0.8 * (border.width_mm or 0.0)
        )
    if outline.kind is not RegionKind.FILL:
        return False
    return border.kind is RegionKind.FILL and outline.colour != border.colour and outline.first > border.first


def _tracks(
    sewn: Sewn, strokes: Strokes, piece: Piece, item: Region, edge: Edge | None
) -> tuple[_Stations, ...]:
    """Return the ways along an outline: a run's line, both rails of a satin, the edges of a fill."""
    step = constants("regions")["station_mm"].value
    if item.kind is RegionKind.RUN:
        points, stitch = sewn.finely(piece.first, piece.last, step)
        held = sewn.joined[stitch]
        points, stitch = points[held], stitch[held]
        if item.passes > 1:
            once = _one_pass(points, 0.6 * step)
            points, stitch = points[once], stitch[once]
        return (_Stations(points, points, stitch),)
    if item.kind is RegionKind.SATIN:
        assert piece.strokes is not None
        left, right = rails(strokes, piece.strokes)
        middle = (left + right) / 2
        way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))])
        pick = distinct(np.searchsorted(way, np.arange(0.0, way[-1], step)))
        stitch = strokes.last[piece.strokes[pick]]
        return (_Stations(left[pick], right[pick], stitch), _Stations(right[pick], left[pick], stitch))
    if edge is None:
        return ()
    every = max(1, round(step / 0.1))
    found = []
    for ring in np.unique(edge.ring):
        points = edge.points[edge.ring == ring][::every]
        found.append(_Stations(points, points, edge.maker(points)))
    return tuple(found)


def _one_pass(points: Floats, radius_mm: float) -> Bools:
    """Keep of ``points`` (k, 2) those that no earlier part of the line has been to."""
    keep = np.ones(len(points), dtype=np.bool_)
    close = cKDTree(points).query_pairs(radius_mm, output_type="ndarray")
    keep[close[:, 1]] = False
    return keep


def _pair(
    outline: Region,
    border: Region,
    edge: Edge,
    tracks: tuple[_Stations, ...],
    own: Edge | None,
    unbroken: bool,
) -> OutlinePair | None:
    """Return the pair along ``tracks``, or None where none of them follows the edge.

    Round a sharp tip the rails of a column change sides; at each station one of them is the nearer.
    """
    gathered: list[tuple[Floats, ...]] = []
    stitches: list[Ints] = []
    low, high = _limits(outline, border)
    for track in tracks:
        # Beyond the end of an edge the nearest point lies askew: that is not following it.
        distance, point, normal, sample = edge.nearest(track.at, max(-low, high) + _ASKEW_MM)
        near = (distance > low) & (distance < high) & (sample < np.abs(distance) + _ASKEW_MM)
        if np.count_nonzero(near) < _FEWEST:
            continue
        follows = _follows(outline, edge, track, distance, normal, near, own)
        if follows.any():
            gathered.append((track.at[follows], point[follows], normal[follows], distance[follows]))
            stitches.append(track.stitch[follows])
    if not gathered:
        return None
    at, point, normal, distance = (np.concatenate(column) for column in zip(*gathered, strict=True))
    # A line in the thread of what it runs along is a way to or from it unless it goes round most of it.
    way = unbroken and outline.kind is RegionKind.RUN
    if not (_goes_round(at, edge) if way else _enough(tracks, len(at), edge)) or _by_chance(
        outline, distance
    ):
        return None
    return OutlinePair(
        outline=outline.id,
        borders=border.id,
        at=frozen(at),
        outline_stitch=frozen(np.concatenate(stitches).astype(np.int32)),
        edge=frozen(point),
        edge_stitch=frozen(edge.maker(point).astype(np.int32)),
        normal=frozen(normal),
        meant_mm=frozen(distance),
    )


def _by_chance(outline: Region, distance: Floats) -> bool:
    """Whether an outline is too short, or too uneven or too far off for its length, to be meant as one."""
    table = constants("regions")
    along = len(distance) * table["station_mm"].value
    if along < table["pair_total_mm"].value:
        return True
    middle = np.median(distance)
    if along < table["pair_sure_mm"].value and (
        distance.std() > table["pair_spread_mm"].value or abs(middle) > table["pair_far_mm"].value
    ):
        return True
    # At sharp corners, and where a line leaves its edge, a few distances of a true outline are far off.
    usual = np.median(np.abs(distance - middle))
    return outline.kind is RegionKind.RUN and bool(usual > table["pair_uneven_mm"].value)


def _goes_round(at: Floats, edge: Edge) -> bool:
    """Whether the stations ``at`` (k, 2) follow most of the closed curve that they are nearest to."""
    table = constants("regions")
    ring = np.bincount(edge.ring[edge.tree.query(at)[1]]).argmax()
    round_ = np.count_nonzero(edge.ring == ring) * 0.1 / table["station_mm"].value
    return bool(len(at) >= table["pair_round"].value * round_)


def _enough(tracks: tuple[_Stations, ...], stations: int, edge: Edge) -> bool:
    """Whether so many stations are a fair part of the outline or of the edge."""
    table = constants("regions")
    whole = max(len(track.at) for track in tracks)
    round_ = len(edge.points) * 0.1 / table["station_mm"].value
    return (
        stations >= table["pair_part_of_outline"].value * whole
        or stations >= table["pair_part_of_edge"].value * round_
    )


def _limits(outline: Region, border: Region) -> tuple[float, float]:
    """Return between which signed distances, mm, an outline may follow an edge."""
    table = constants("regions")
    if outline.kind is RegionKind.FILL:
        return -table["abut_mm"].value, table["abut_mm"].value
    low = -table["pair_mm"].value
    if border.kind is RegionKind.SATIN:
        low = max(low, -0.3 * (border.width_mm or 0.0))
    if outline.kind is RegionKind.SATIN:
        low = min(low, -0.8 * (outline.width_mm or 0.0))
    return low, table["pair_mm"].value


def _follows(
    outline: Region,
    edge: Edge,
    track: _Stations,
    distance: Floats,
    normal: Floats,
    near: Bools,
    own: Edge | None,
) -> Bools:
    """Return at which of the stations of a track ``near`` an edge the outline follows it."""
    near = near.copy()
    stations = np.flatnonzero(near)
    if outline.kind is RegionKind.SATIN:
        far = edge.nearest(track.far[stations])[0]
        near[stations] = (far > -0.3) & (far > distance[stations])
    elif outline.kind is RegionKind.FILL:
        assert own is not None
        mine = own.normals[own.tree.query(track.at[stations])[1]]
        near[stations] = np.einsum("ij,ij->i", mine, normal[stations]) < -0.7
    return _stretches(track.at, distance, near)


def _stretches(at: Floats, distance: Floats, near: Bools) -> Bools:
    """Keep of the stations ``near`` an edge those in stretches that are long and level enough."""
    table = constants("regions")
    step, slope = table["station_mm"].value, table["pair_slope"].value
    kept = np.zeros(len(at), dtype=np.bool_)
    gap = np.zeros(len(at), dtype=np.bool_)
    gap[1:] = np.hypot(*np.diff(at, axis=0).T) > _BREAK * step
    change = np.flatnonzero(np.diff(near.astype(np.int8)) != 0) + 1
    bounds = distinct(np.concatenate([[0], change, np.flatnonzero(gap), [len(at)]]))
    for begin, stop in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        if not near[begin] or stop - begin < _FEWEST:
            continue
        part = at[begin:stop]
        steps = np.hypot(*np.diff(part, axis=0).T)
        if steps.sum() < table["pair_length_mm"].value:
            continue
        even = uniform_filter1d(distance[begin:stop], _SMOOTH_STATIONS, mode="nearest")
        level = np.abs(np.diff(even)) < slope * np.maximum(steps, 0.2)
        if level.mean() >= table["pair_share"].value:
            kept[begin:stop] = np.append(level, level[-1])
    return kept
