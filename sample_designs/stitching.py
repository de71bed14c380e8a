"""Geometry of stitching: fills, satins, runs and underlay as arrays of penetrations.

Pure helpers of the sample designs' generator. Millimetres, x to the right, y up; angles in degrees
counter-clockwise from +x; a *path* is an (n, 2) float array of penetrations, sewn in order.
Row spacing is the distance between neighbouring rows of thread; for satin it is half the distance between
two penetrations on the same side.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Polygon

Path = npt.NDArray[np.float64]
Shape = Polygon | MultiPolygon

STAGGER = (0.0, 0.5, 0.25, 0.75)  # of the stitch length, row by row: no two neighbours line up
BEAM = 12  # partial orders kept while the sections of a fill are put in order


def points_along(path: Path, spacing_mm: float) -> Path:
    """Return points at equal steps of at most ``spacing_mm`` along a path, both ends included."""
    steps = np.hypot(*np.diff(path, axis=0).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    return _at(path, along, max(1, math.ceil(along[-1] / spacing_mm - 1e-9)))


def divided(path: Path, count: int) -> Path:
    """Return ``count`` + 1 points at equal steps along the whole of ``path``."""
    return _at(path, np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T)))), count)


def _at(path: Path, along: npt.NDArray[np.float64], count: int) -> Path:
    return _interpolated(path, along, np.linspace(0.0, along[-1], count + 1))


def _interpolated(path: Path, along: npt.NDArray[np.float64], at: npt.NDArray[np.float64]) -> Path:
    return np.column_stack([np.interp(at, along, path[:, axis]) for axis in (0, 1)])


def run(path: Path, stitch_mm: float = 2.5, passes: int = 1, corner_deg: float = 25.0) -> Path:
    """Sew running stitch along a path, keeping its corners; further passes retrace it there and back."""
    turns = np.diff(np.unwrap(np.arctan2(*np.diff(path, axis=0).T[::-1])))
    corners = [0, *(np.flatnonzero(np.abs(turns) > math.radians(corner_deg)) + 1).tolist(), len(path) - 1]
    parts = [points_along(path[a : b + 1], stitch_mm) for a, b in pairwise(corners)]
    line = joined(parts)
    closed = bool(np.allclose(line[0], line[-1]))
    return joined([line if closed or i % 2 == 0 else line[::-1] for i in range(passes)])


def joined(parts: Iterable[Path]) -> Path:
    """Return the parts as one path, without doubling the points where they meet."""
    whole = np.concatenate([part for part in parts if len(part)])
    keep = np.ones(len(whole), dtype=bool)
    keep[1:] = np.hypot(*np.diff(whole, axis=0).T) > 0.05
    return whole[keep]


def offset_rails(path: Path, width_mm: float) -> tuple[Path, Path]:
    """Return rails half of ``width_mm`` left and right of a path; a closed path gives closed rails."""
    closed = bool(np.allclose(path[0], path[-1]))
    tangent = np.gradient(path, axis=0)
    if closed:
        tangent[0] = tangent[-1] = path[1] - path[-2]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / np.hypot(*tangent.T)[:, None]
    return path + normal * width_mm / 2, path - normal * width_mm / 2


def between_rails(left: Path, right: Path, spacing_mm: float) -> tuple[Path, Path]:
    """Return facing points of two rails, a row of thread apart where the outer of the two is longest.

    The rails face each other point by point, so they hold equally many points.
    """
    steps = np.maximum(np.hypot(*np.diff(left, axis=0).T), np.hypot(*np.diff(right, axis=0).T))
    along = np.concatenate(([0.0], np.cumsum(steps)))
    at = np.linspace(0.0, along[-1], max(2, round(along[-1] / spacing_mm)) + 1)
    a, b = (_interpolated(rail, along, at) for rail in (left, right))
    return a, b


def satin(left: Path, right: Path, spacing_mm: float = 0.22, compensation_mm: float = 0.0) -> Path:
    """Sew satin: zig-zag between two facing rails, each moved by ``compensation_mm`` away from the other."""
    a, b = between_rails(left, right, spacing_mm)
    outwards = (a - b) / np.maximum(np.hypot(*(a - b).T), 1e-9)[:, None] * compensation_mm
    odd = (np.arange(len(a)) % 2 == 1)[:, None]
    return np.where(odd, b - outwards, a + outwards)


def satin_underlay(left: Path, right: Path, inset_mm: float = 0.5, *, zigzag: bool = True) -> Path:
    """Sew a centre run to the far end and back again, as an open zig-zag inside the rails or a run."""
    middle = (left + right) / 2
    there = points_along(middle, 2.2)
    if not zigzag:
        return joined([there, there[::-1]])
    width = np.hypot(*(left - right).T)[:, None]
    inner = np.clip(width / 2 - inset_mm, 0.2, None) * (left - right) / np.maximum(width, 1e-9)
    back = satin((middle + inner)[::-1], (middle - inner)[::-1], spacing_mm=1.0)
    return joined([there, back, middle[:1]])


def length(path: Path) -> float:
    """Length of a path in mm."""
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


def arc(
    centre: Sequence[float], radius_mm: float, start_deg: float, end_deg: float, step_mm: float = 0.5
) -> Path:
    """Points along an arc of a circle, from ``start_deg`` to ``end_deg``."""
    count = max(4, math.ceil(abs(math.radians(end_deg - start_deg)) * radius_mm / step_mm))
    angle = np.radians(np.linspace(start_deg, end_deg, count + 1))
    return np.asarray(centre) + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def smooth(corners: Sequence[Sequence[float]], rounds: int = 4) -> Path:
    """Round an open polyline by cutting its corners (Chaikin's scheme), keeping both ends."""
    path = np.asarray(corners, dtype=float)
    for _ in range(rounds):
        near, far = 0.75 * path[:-1] + 0.25 * path[1:], 0.25 * path[:-1] + 0.75 * path[1:]
        path = np.concatenate([path[:1], np.stack([near, far], axis=1).reshape(-1, 2), path[-1:]])
    return path


class Router:
    """Shortest ways inside a shape, for travel that later stitching hides."""

    def __init__(self, shape: Shape, inset_mm: float = 0.7) -> None:
        inner = shape.buffer(-inset_mm)
        self._nodes = shapely.get_coordinates((shape if inner.is_empty else inner).simplify(0.25))
        self._room = shape.buffer(0.05)
        shapely.prepare(self._room)
        count = len(self._nodes)
        first, second = np.triu_indices(count, 1)
        seen = self._free(self._nodes[first], self._nodes[second])
        self._links = (first[seen], second[seen])

    def _free(self, a: Path, b: Path) -> npt.NDArray[np.bool_]:
        return np.asarray(shapely.covers(self._room, shapely.linestrings(np.stack([a, b], axis=1))))

    def way(self, start: Path, end: Path) -> Path:
        """Return the corners of the shortest way inside the shape, from ``start`` to ``end``."""
        ends = np.stack([start, end])
        if np.allclose(start, end) or bool(self._free(ends[:1], ends[1:])[0]):
            return ends
        count = len(self._nodes)
        nodes = np.concatenate([self._nodes, ends])
        first, second = [self._links[0]], [self._links[1]]
        for number in (count, count + 1):
            free = self._free(np.broadcast_to(nodes[number], self._nodes.shape), self._nodes)
            if not free.any():  # an end outside the shape by its compensation
                free = np.zeros(count, dtype=bool)
                free[np.argmin(np.hypot(*(self._nodes - nodes[number]).T))] = True
            first.append(np.flatnonzero(free))
            second.append(np.full(int(free.sum()), number))
        i, j = np.concatenate(first), np.concatenate(second)
        cost = np.hypot(*(nodes[i] - nodes[j]).T)
        graph = csr_matrix((cost, (i, j)), shape=(count + 2, count + 2))
        _, before = dijkstra(graph, directed=False, indices=count, return_predecessors=True)
        found = [count + 1]
        while before[found[-1]] >= 0:
            found.append(int(before[found[-1]]))
        return nodes[found[::-1]] if found[-1] == count else ends


Section = list[tuple[int, float, float]]  # rows: number, from, to; one unbroken part of a fill


def _sections(shape: Shape, spacing_mm: float) -> tuple[list[Section], float]:
    """Cut a shape into horizontal rows, and the rows into sections that can be sewn without a break."""
    x0, low, x1, high = shape.bounds
    count = max(1, round((high - low) / spacing_mm))
    base = low + (high - low - (count - 1) * spacing_mm) / 2
    done: list[Section] = []
    active: list[Section] = []
    for number in range(count):
        y = base + number * spacing_mm
        cut = shape.intersection(LineString([(x0 - 1, y), (x1 + 1, y)]))
        spans = sorted((g.bounds[0], g.bounds[2]) for g in getattr(cut, "geoms", [cut]) if g.length > 0.3)
        meets = [[k for k, s in enumerate(active) if s[-1][1] < b and s[-1][2] > a] for a, b in spans]
        taken: list[Section] = []
        for (a, b), hits in zip(spans, meets, strict=True):
            if len(hits) == 1 and sum(hits[0] in other for other in meets) == 1:
                active[hits[0]].append((number, a, b))
                taken.append(active[hits[0]])
            else:
                taken.append([(number, a, b)])
        done += [section for section in active if all(section is not other for other in taken)]
        active = taken
    return [s for s in done + active if len(s) > 1 or s[0][2] - s[0][1] > 1.0], base


def _row(number: int, start: float, end: float, stitch_mm: float) -> npt.NDArray[np.float64]:
    """Return the penetrations of one row: its two ends and a staggered lattice common to the fill."""
    offset = STAGGER[number % 4] * stitch_mm
    first, last = math.ceil((start - offset) / stitch_mm), math.floor((end - offset) / stitch_mm)
    inner = offset + stitch_mm * np.arange(first, last + 1)
    inner = inner[(inner > start + 0.9) & (inner < end - 0.9)]
    return np.concatenate(([start], inner, [end]))


def _sewn(
    section: Section, down: bool, rightwards: bool, lie: tuple[float, float, float, float], router: Router
) -> Path:
    """Sew a section, from its last row where ``down``; ``lie`` is base, spacing, stitch, compensation.

    Where neighbouring rows end far apart the step between them is run along inside the shape.
    """
    base, spacing_mm, stitch_mm, more = lie
    parts: list[Path] = []
    for number, start, end in section[::-1] if down else section:
        x = _row(number, start - more, end + more, stitch_mm)
        row = np.column_stack([x if rightwards else x[::-1], np.full(len(x), base + number * spacing_mm)])
        if parts and np.hypot(*(row[0] - parts[-1][-1])) > min(2 * spacing_mm + 2.5, 1.3 * stitch_mm):
            parts.append(run(router.way(parts[-1][-1], row[0]), stitch_mm))
        parts.append(row)
        rightwards = not rightwards
    return joined(parts)


def fill(
    shape: Shape,
    angle_deg: float,
    *,
    spacing_mm: float = 0.4,
    stitch_mm: float = 3.8,
    compensation_mm: float = 0.2,
    underlay: bool = True,
    start: Sequence[float] | None = None,
) -> Path:
    """Fill a shape with rows at ``angle_deg``, staggered, as one unbroken path.

    Sections are put in an order in which the travel between them lies where rows are still to come.
    ``compensation_mm`` lengthens every row at both ends; ``underlay`` sews an edge run and sparse rows first.
    """
    under = fill_underlay(shape, angle_deg, start) if underlay else np.empty((0, 2))
    turned = affinity.rotate(shape, -angle_deg, origin=(0, 0))
    sections, base = _sections(turned, spacing_mm)
    router = Router(turned)
    here = turn(under[-1:], -angle_deg) if len(under) else None
    if here is None and start is not None:
        here = turn(np.asarray([start], dtype=float), -angle_deg)
    rows = _ordered(sections, (base, spacing_mm, stitch_mm, compensation_mm), router, here)
    return joined([under, turn(rows, angle_deg)])


def _ordered(
    sections: list[Section], lie: tuple[float, float, float, float], router: Router, here: Path | None
) -> Path:
    """Sew all sections with the cheapest travel that a beam search finds; over sewn rows it costs sixfold."""
    base, spacing_mm, _, _ = lie
    areas = [_area(section, base, spacing_mm) for section in sections]
    ways_to_sew = product(enumerate(sections), (False, True), (False, True))
    sewn = {(k, d, r): _sewn(s, d, r, lie, router) for (k, s), d, r in ways_to_sew}
    ways: dict[tuple[float, ...], Path] = {}
    beam: list[tuple[float, list[tuple[int, bool, bool]]]] = [(0.0, [])]
    for _ in sections:
        grown = []
        for cost, order in beam:
            at = sewn[order[-1]][-1] if order else (here[0] if here is not None else None)
            past = shapely.union_all([areas[k] for k, _, _ in order]) if order else None
            for key in sewn:
                if any(key[0] == k for k, _, _ in order):
                    continue
                if at is None:
                    grown.append((cost, [*order, key]))
                    continue
                ends = (*at.tolist(), *sewn[key][0].tolist())
                if ends not in ways:
                    ways[ends] = router.way(at, sewn[key][0])
                line = LineString(ways[ends])
                over = line.intersection(past).length if past is not None else 0.0
                grown.append((cost + line.length + 5 * over, [*order, key]))
        beam = sorted(grown, key=lambda entry: entry[0])[:BEAM]
    parts: list[Path] = [here] if here is not None else []
    for key in beam[0][1]:
        if parts:
            parts.append(run(router.way(parts[-1][-1], sewn[key][0]), 2.8))
        parts.append(sewn[key])
    return joined(parts)


def _area(section: Section, base: float, spacing_mm: float) -> Polygon:
    """Return the ground a section covers, drawn in a little: travel along its edge is free."""
    left = [(a, base + n * spacing_mm) for n, a, _ in section]
    right = [(b, base + n * spacing_mm) for n, _, b in section]
    return Polygon(left + right[::-1]).buffer(-0.3) if len(section) > 1 else Polygon()


def fill_underlay(shape: Shape, angle_deg: float, start: Sequence[float] | None = None) -> Path:
    """Sew an edge run inside every rim, then sparse rows across the direction of the fill to come."""
    inner = shape.buffer(-0.8)
    pieces = [piece for piece in getattr(inner, "geoms", [inner]) if piece.area > 1.0]
    if not pieces:
        return np.empty((0, 2))
    router = Router(shape)
    parts: list[Path] = [] if start is None else [np.asarray([start], dtype=float)]
    for rim in [ring for piece in pieces for ring in (piece.exterior, *piece.interiors)]:
        ring = shapely.get_coordinates(rim)[:-1]
        if parts:
            ring = np.roll(ring, -int(np.argmin(np.hypot(*(ring - parts[-1][-1]).T))), axis=0)
            parts.append(run(router.way(parts[-1][-1], ring[0]), 2.8))
        parts.append(run(np.concatenate([ring, ring[:1]]), 2.8))
    sparse = fill(
        MultiPolygon(pieces), angle_deg + 90, spacing_mm=2.5, stitch_mm=4.0, compensation_mm=0.0,
        underlay=False, start=parts[-1][-1].tolist(),
    )  # fmt: skip
    return joined([*parts, sparse])


def turn(path: Path, angle_deg: float, origin: Sequence[float] = (0.0, 0.0)) -> Path:
    """Return ``path`` turned about ``origin``."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (path - np.asarray(origin)) @ np.array([[c, s], [-s, c]]) + np.asarray(origin)
