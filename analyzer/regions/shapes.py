"""Shapes of bands: their two rails, and the polygon whose edge runs through their outermost penetrations."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import cKDTree

from analyzer.arrays import Bools, Floats, Ints
from analyzer.regions.groups import Piece
from analyzer.regions.sewn import Sewn
from analyzer.regions.strokes import Strokes

_EDGE_STEP_MM = 0.1  #: samples along an edge
_TANGENT_MM = 0.8  #: an edge's direction is taken over this to either side, across several rows
_ROWS_TOGETHER = 8  #: rows joined to one polygon at a time
_ON_EDGE_MM = 0.15  #: penetrations nearer to the edge than this make it
_NEAR_MM = 0.3  #: the way from a point to an edge this near has no direction on a lattice of 0.1 mm
_SAME_MM = 0.05  #: rows nearer to each other lie on each other
_THIN_MM = 0.1  #: what is thinner than twice this is a thread and no area
_RIPPLE_MM = 0.02  #: what lies nearer to a straight edge than this is on it
_MITRE = 1.2  #: how far a corner reaches out, in widths of the margin
_LEAST_HOLE_MM2 = 1.0


@dataclass(frozen=True, slots=True)
class Edge:
    """The edge of a band at q samples, and the penetrations that make it."""

    points: Floats  #: (q, 2) mm
    normals: Floats  #: (q, 2) unit, out of the band
    ring: Ints  #: (q,) which closed curve each sample is on
    tree: cKDTree  #: of ``points``
    makers: Ints  #: (e,) numbers of the penetrations on the edge
    maker_tree: cKDTree

    def nearest(self, points: Floats, within_mm: float = np.inf) -> tuple[Floats, Floats, Floats, Floats]:
        """For ``points`` (k, 2): signed distance out of the band (k,), edge point (k, 2), normal (k, 2).

        The normal is along the shortest way to the edge, but for points so near that only the edge has one.
        Last comes how far the nearest sample of the edge is, (k,): much more beyond the end of an edge.
        Both distances are infinite where no sample is nearer than ``within_mm``: far away, all of a large
        edge is about equally far, and the search long.
        """
        sample, nearest = self.tree.query(points, distance_upper_bound=within_mm)
        index = np.asarray(nearest)
        found = index < len(self.points)
        away, edge, normal = np.full(len(points), np.inf), points.copy(), np.zeros_like(points)
        if found.any():
            away[found], edge[found], normal[found] = self._from(points[found], index[found])
        return away, edge, normal, np.asarray(sample)

    def _from(self, points: Floats, index: npt.NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        """Return signed distances, edge points and normals for ``points`` (k, 2), nearest samples given."""
        edge, normal = self.points[index], self.normals[index]
        along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
        reach = np.einsum("ij,ij->i", points - edge, along)
        edge = edge + np.clip(reach, -_EDGE_STEP_MM / 2, _EDGE_STEP_MM / 2)[:, None] * along
        away = points - edge
        distance = np.hypot(*away.T)
        side = np.where(np.einsum("ij,ij->i", away, normal) < 0.0, -1.0, 1.0)
        far = distance > _NEAR_MM
        normal[far] = (side[:, None] * away)[far] / distance[far, None]
        return side * distance, edge, normal

    def maker(self, points: Floats) -> Ints:
        """Return the number of the penetration on the edge that is nearest to ``points`` (k, 2)."""
        found: Ints = self.makers[self.maker_tree.query(points)[1]]
        return found


def rails(strokes: Strokes, rows: Ints, begin: npt.NDArray[np.int64] | None = None) -> tuple[Floats, Floats]:
    """Return the ends of ``rows`` (r,) sorted by side: two arrays (r, 2) mm.

    Rows of several bands one after the other are sorted band by band; each begins at one of ``begin`` (b,).
    """
    unit = strokes.unit[rows]
    turned = np.zeros(len(rows), dtype=np.int64)
    turned[1:] = np.einsum("ij,ij->i", unit[1:], unit[:-1]) < 0
    turns = np.cumsum(turned)
    if begin is not None:
        turns -= np.repeat(turns[begin], np.diff(begin, append=len(rows)))
    odd = turns % 2 == 1
    start, end = strokes.start[rows], strokes.end[rows]
    return np.where(odd[:, None], end, start), np.where(odd[:, None], start, end)


def outline_polygon(sewn: Sewn, strokes: Strokes, piece: Piece) -> shapely.Geometry:
    """Return the area between neighbouring rows of a band, sections joined, as a (multi)polygon."""
    rows = piece.rows
    left, right = rails(strokes, rows)
    middle = (left + right) / 2
    chord = strokes.chord_mm[rows]
    # Rows that are not neighbours (the next section) must not be joined by a sliver across the shape.
    axis = strokes.unit[rows]
    step = np.diff(middle, axis=0)
    offset = np.abs(step[:, 0] * axis[:-1, 1] - step[:, 1] * axis[:-1, 0])
    along = np.abs(np.einsum("ij,ij->i", step, axis[:-1]))
    beside = (offset < 2.5 * piece.spacing_mm + 0.4) & (along < 0.5 * (chord[1:] + chord[:-1]))
    # Nor what a jump or a way along the edge parts, which lies in another section too.
    ends, begins = strokes.last[rows[:-1]], strokes.first[rows[1:]]
    # Over the rows alone, which may reach beyond the piece: over all of a large design it would be slow.
    low, high = int(strokes.first[rows].min()), int(strokes.last[rows].max()) + 2
    moved = np.cumsum(sewn.jumped[low:high] | ~sewn.joined[low:high])
    way = sewn.way_mm[begins + 1] - sewn.way_mm[ends + 1]
    beside &= (moved[ends - low] == moved[begins + 1 - low]) & (
        (np.diff(rows) <= 2) | (way < 3.0 * piece.spacing_mm + 0.4)
    )
    polygons = _strips(sewn, strokes, rows, (left, right), beside)
    reach = 1.1 * piece.spacing_mm + 0.1
    alone = rows[~(np.append(beside, False) | np.append(False, beside))]
    thread = _others(sewn, strokes, piece, alone)
    # The strips by themselves first: with threads all over them the union takes twice as long.
    strips = shapely.union_all(polygons)
    return _closed(shapely.union(strips, thread.buffer(0.02, quad_segs=1)), reach)


def _strips(
    sewn: Sewn, strokes: Strokes, rows: Ints, rails: tuple[Floats, Floats], beside: Bools
) -> npt.NDArray[np.object_]:
    """Return polygons that together are the area between rows, with ``rails`` (r, 2) each.

    ``beside`` (r - 1,) tells which rows have the next one beside them.
    """
    left, right = rails
    back = _turning(left, right, beside)
    ends = np.concatenate([[-1], np.flatnonzero(~beside), [len(rows) - 1]])
    stretches = [
        each
        for begin, stop in itertools.pairwise(ends.tolist())
        for each in itertools.pairwise([begin + 1, *back[(back > begin) & (back <= stop)].tolist(), stop])
    ]

    def strip(begin: int, stop: int, k: int, last: int) -> Floats:
        """Return the corners of the area between rows ``k`` and ``last`` of a stretch."""
        # Outermost rows are edges themselves, so every penetration of theirs counts.
        low = _within(sewn, strokes, rows[k], right[k]) if k == begin else left[:0]
        high = _within(sewn, strokes, rows[last], left[last]) if last == stop else left[:0]
        return np.concatenate([left[k : last + 1], high, right[k : last + 1][::-1], low])

    together = [
        (begin, stop, k, min(k + _ROWS_TOGETHER, stop))
        for begin, stop in stretches
        for k in range(begin, stop, _ROWS_TOGETHER)
    ]
    polygons = _polygons([strip(*each) for each in together])
    broken = ~shapely.is_valid(polygons)
    if not broken.any():
        return polygons
    # Rows that lean over others lay an area twice, which one polygon would leave out: a strip for each.
    each = [
        (*together[n][:2], k, k + 1)
        for n in np.flatnonzero(broken).tolist()
        for k in range(together[n][2], together[n][3])
    ]
    return np.append(polygons[~broken], shapely.make_valid(_polygons([strip(*part) for part in each])))


def _turning(left: Floats, right: Floats, beside: Bools) -> npt.NDArray[np.int64]:
    """Return the rows from which a fill goes back over what it has laid: outermost, with rows on one side."""
    side, step = right - left, np.diff(left + right, axis=0) / 2
    onward = side[:-1, 0] * step[:, 1] - side[:-1, 1] * step[:, 0]
    onward /= np.maximum(np.hypot(*side[:-1].T), 1e-9)
    # Rows on each other lead nowhere.
    clear = np.flatnonzero(beside & (np.abs(onward) > _SAME_MM))
    one, two = clear[:-1], clear[1:]
    parted = np.cumsum(~beside)
    found: npt.NDArray[np.int64] = two[(onward[one] * onward[two] < 0.0) & (parted[one] == parted[two])]
    return found


def _polygons(corners: list[Floats]) -> npt.NDArray[np.object_]:
    """Return the polygons with these corners."""
    part_of = np.repeat(np.arange(len(corners)), [len(part) for part in corners])
    rings = shapely.linearrings(np.concatenate([np.zeros((0, 2)), *corners]), indices=part_of)
    found: npt.NDArray[np.object_] = shapely.polygons(rings)
    return found


def _others(sewn: Sewn, strokes: Strokes, piece: Piece, alone: Ints) -> shapely.Geometry:
    """Return the strokes of a band that are no rows, and rows ``alone``, that none lies beside, as lines.

    A thread that floats from section to section lies over what is not of the band.
    """
    first, stop = strokes.within(piece.first, piece.last)
    every = np.arange(first, stop, dtype=np.int32)
    every = every[~sewn.jumped[strokes.last[every]]]
    left = np.concatenate([every[~np.isin(every, piece.rows)], alone])
    return shapely.multilinestrings(
        shapely.linestrings(np.stack([strokes.start[left], strokes.end[left]], axis=1))
    )


def _closed(area: shapely.Geometry, reach_mm: float) -> shapely.Geometry:
    """Return an area with slits up to twice ``reach_mm`` closed, bare threads left out, its corners kept."""
    # Threads along the edge leave ripples on it, of which every one would be grown and taken back.
    smooth = shapely.simplify(area, _RIPPLE_MM)
    for shape in (smooth, area):
        # A limited mitre: the spike of an acute tip would fill what lies before it.
        with np.errstate(all="ignore"):
            grown = shapely.buffer(shape, reach_mm, join_style="mitre", mitre_limit=_MITRE)
            whole = shapely.buffer(grown, -reach_mm - _THIN_MM, join_style="mitre")
            closed = shapely.buffer(whole, _THIN_MM, join_style="mitre")
        # The mitre of a needle that simplifying left, of no width, is not a number.
        if np.isfinite(shapely.get_coordinates(closed)).all():
            break
    return closed


def _within(sewn: Sewn, strokes: Strokes, row: int, start: Floats) -> Floats:
    """Return the penetrations inside a row, (k, 2), in the order met from its end ``start`` (2,)."""
    inside = sewn.penetrations[strokes.first[row] + 1 : strokes.last[row]]
    return inside if (start == strokes.start[row]).all() else inside[::-1]


def _around_curves(sewn: Sewn, piece: Piece) -> shapely.Geometry:
    """Return the area that the turns of a curved fill take up, up to the outermost line."""
    stitch = np.arange(piece.first, piece.last + 1)
    stitch = stitch[sewn.joined[stitch]]
    line = shapely.multilinestrings(
        shapely.linestrings(np.stack([sewn.penetrations[stitch - 1], sewn.penetrations[stitch]], axis=1))
    )
    reach = 1.1 * piece.spacing_mm + 0.1
    # The outermost line is an edge where the turns part at a corner, too: nothing thin is left out.
    # A line that doubles back has no mitre there: round and thin first.
    thin = shapely.buffer(line, 0.01, quad_segs=1)
    return shapely.buffer(shapely.buffer(thin, reach, join_style="mitre"), -reach, join_style="mitre")


class Edges:
    """Edges found so far, by what they are made of: in a changed design most bands are what they were."""

    def __init__(self) -> None:
        self._found: dict[tuple[object, ...], Edge | None] = {}

    def of(self, sewn: Sewn, strokes: Strokes, piece: Piece) -> Edge | None:
        """Return :func:`edge_of` a band, found at most once."""
        first, stop = strokes.within(piece.first, piece.last)
        own = slice(max(piece.first - 1, 0), piece.last + 1)
        key = (
            piece.shape,
            piece.spacing_mm,
            sewn.penetrations[own].tobytes(),
            sewn.joined[own].tobytes(),
            sewn.jumped[own].tobytes(),
            *(
                (each - piece.first).tobytes()
                for each in (strokes.first[first:stop], strokes.last[first:stop])
            ),
            (piece.rows - first).tobytes() if piece.strokes is not None else b"",
        )
        if key not in self._found:
            edge = edge_of(sewn, strokes, piece)
            self._found[key] = None if edge is None else replace(edge, makers=edge.makers - piece.first)
        found = self._found[key]
        return None if found is None else replace(found, makers=found.makers + np.int32(piece.first))


def edge_of(sewn: Sewn, strokes: Strokes, piece: Piece) -> Edge | None:
    """Return the sampled edge of a band, outer curves and holes; None where it encloses nothing."""
    curved = piece.shape == "curves"
    area = _around_curves(sewn, piece) if curved else outline_polygon(sewn, strokes, piece)
    shape = shapely.orient_polygons(area)
    curves: list[tuple[Floats, Floats]] = []
    for polygon in shapely.get_parts(shape):
        if shapely.get_type_id(polygon) != 3 or polygon.area < _LEAST_HOLE_MM2:
            continue
        curves.append(_sample_curve(polygon.exterior))
        curves += [_sample_curve(hole) for hole in polygon.interiors if _open(hole, piece)]
    if not curves:
        return None
    points = np.concatenate([c[0] for c in curves])
    normals = np.concatenate([c[1] for c in curves])
    ring = np.repeat(np.arange(len(curves), dtype=np.int32), [len(c[0]) for c in curves])
    tree = cKDTree(points)
    own = np.arange(piece.first, piece.last + 1, dtype=np.int32)
    # Bounded: from inside a large area the whole edge is about equally far, and the search long.
    away = tree.query(sewn.penetrations[own], distance_upper_bound=_ON_EDGE_MM)[0]
    makers = own[away < _ON_EDGE_MM]
    if not makers.size:
        makers = own
    return Edge(points, normals, ring, tree, makers, cKDTree(sewn.penetrations[makers]))


def _open(hole: shapely.LinearRing, piece: Piece) -> bool:
    """Whether a hole is more than the slit that turns of a curved fill leave at corners, or sections do."""
    area = shapely.Polygon(hole)
    return area.area >= _LEAST_HOLE_MM2 and not area.buffer(-1.1 * piece.spacing_mm - 0.1).is_empty


def _sample_curve(curve: shapely.LinearRing) -> tuple[Floats, Floats]:
    """Sample a closed curve evenly: points (q, 2) and normals (q, 2) to its right, which is outward."""
    corners = shapely.get_coordinates(curve)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    count = max(8, round(way[-1] / _EDGE_STEP_MM))
    at = np.arange(count) * (way[-1] / count)
    points = np.stack([np.interp(at, way, corners[:, 0]), np.interp(at, way, corners[:, 1])], axis=1)
    reach = max(1, min(round(_TANGENT_MM / _EDGE_STEP_MM), count // 4))
    tangent = np.roll(points, -reach, axis=0) - np.roll(points, reach, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    return points, np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
