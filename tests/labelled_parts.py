"""Parts of random designs: shapes, fills of curved rows, columns, underlay, and the ways between them.

Each part writes down what it was made as: the truth that measured spacings, widths and borders are held to.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
import shapely
from labelled import Labelled, circle, divide, rows_of, run, satin, sewn_rows
from shapely import affinity
from shapely.geometry import LineString, Polygon

from analyzer.design import Command

_LONGEST_WAY_MM = (12.0, 20.0)  #: nobody runs further than this over bare cloth, ordinary and hard


@dataclass(frozen=True)
class Made:
    """What one object was made as."""

    kind: str
    spacing_mm: float | None = None  #: None where it varies or is not meant
    direction_deg: float | None = None
    width_mm: float | None = None
    base: frozenset[str] = frozenset()  #: kinds of underlay sewn for it
    shape: Polygon | None = None  #: of a fill: what its rows take up


@dataclass(frozen=True)
class Border:
    """An outline sewn along a shape at a distance: the objects, and what the border takes up."""

    outline: int
    borders: int
    gap_mm: float
    shape: Polygon  #: of the border


@dataclass
class Sheet(Labelled):
    """A labelled design with what its objects were made as, and which of them border which."""

    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(0))
    hard: bool = False
    beyond: bool = False  #: settings outside even the wide ranges
    trims: bool = True  #: whether the thread is ever cut within a colour
    ties: bool = True  #: whether thread ends are ever locked
    made: dict[int, Made] = field(default_factory=dict)
    borders: list[Border] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)  #: penetrations before which the machine halts

    def note(self, made: Made) -> int:
        """Keep what the object just sewn was made as; return its number."""
        self.made[self.number] = made
        return self.number

    def between(self, easy: tuple[float, float], hard: tuple[float, float]) -> float:
        """Draw evenly from the ordinary range, or from the wide one, or from beyond that."""
        low, high = hard if self.hard else easy
        if self.beyond:
            outer = [sorted((end, end * (f if end > 0 else 1 / f))) for end, f in ((low, 0.8), (high, 1.25))]
            low, high = outer[int(self.rng.integers(2))]
        return float(self.rng.uniform(low, high))

    def chance(self, easy: float, hard: float) -> bool:
        """Draw yes or no."""
        return bool(self.rng.random() < (hard if self.hard else easy))

    def stitches_of(self, number: int) -> np.ndarray:
        """Return both ends of each stitch of an object, (k, 2, 2), floats and ways after a cut left out."""
        design = self.design()
        own = np.flatnonzero((self.object_of == number) & design.joined & ~design.jumped)
        return np.stack([design.penetrations[own - 1], design.penetrations[own]], axis=1)

    @property
    def here(self) -> np.ndarray:
        """Where the needle is, (2,)."""
        return np.array(self.points[-1])

    def go(self, to: np.ndarray) -> None:
        """Get to ``to`` in one of the ways that designs do: cut and tied, cut, by a jump, or by a run."""
        to = np.asarray(to, dtype=float)
        tied = self.ties and self.chance(0.8, 0.6)
        if not self.points:
            self.sew(to[None], "travel")
            if tied:
                self.lock()
            return
        away = float(np.hypot(*(to - self.here)))
        if away < 0.05:
            return
        if self.kinds[-1] != Command.STITCH:
            self.move(to, trim=False)
            if tied:
                self.sew(to[None], "tie")
                self.lock()
            return
        way = self.rng.random()
        if away > _LONGEST_WAY_MM[self.hard]:
            way *= 0.6
        if way < (0.75 if not self.hard else 0.4) and self.trims:
            if tied:
                self.lock()
            self.move(to)
            if tied:
                self.sew(to[None], "tie")
                self.lock()
        elif way < (0.9 if not self.hard else 0.6):
            self.points.append(tuple(np.round(to, 1)))
            self.kinds.append(int(Command.JUMP))
            self.sew(to[None], "travel")
        else:
            self.sew(divide(np.array([self.here, to]), 2.5)[1:], "travel")

    def lock(self, label: str = "tie", *, new: bool = True) -> None:
        """Sew a tie where the needle is: there and back, a triangle, or to both sides."""
        turn = self.rng.uniform(0, 2 * np.pi)
        size = self.rng.uniform(0.5, 0.9)
        unit = size * np.array([np.cos(turn), np.sin(turn)])
        side = size * np.array([-np.sin(turn), np.cos(turn)])
        at = self.here
        ways = (
            [at + unit, at, at + unit, at],
            [at + unit, at],
            [at + unit, at + side, at],
            [at + unit / 2, at + unit, at + unit / 2, at],
            [at + 0.75 * unit, at - 0.75 * unit, at],
        )
        self.sew(np.array(ways[int(self.rng.integers(len(ways)))]), label, new=new)

    def thread(self) -> None:
        """Tie off and take the next thread."""
        if self.points and self.kinds[-1] == Command.STITCH:
            if self.ties and self.chance(0.8, 0.6):
                self.lock()
            self.colour()
            self.stops.append(len(self.labels))


def random_shape(sheet: Sheet, size: float, *, holes: bool = True) -> Polygon:
    """Return a random shape about ``size`` across, around the origin."""
    rng = sheet.rng
    t = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    which = int(rng.integers(7))
    if which <= 1:
        radius = 1 + sum(rng.normal(0, 0.35 / k) * np.cos(k * t + rng.uniform(0, 6)) for k in range(2, 6))
        radius = np.clip(radius, 0.45, 1.7)
        shape = Polygon(np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1))
    elif which == 2:
        points = int(rng.integers(4, 8))
        t = np.arange(2 * points) * np.pi / points
        radius = np.where(np.arange(2 * points) % 2, rng.uniform(0.4, 0.7), 1.0)
        shape = Polygon(np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1))
    elif which == 3:
        shape = shapely.box(-1, -rng.uniform(0.4, 1), 1, rng.uniform(0.4, 1))
    elif which == 4:
        a, b = rng.uniform(0.5, 1.1, 2)
        shape = Polygon([(-1, -1), (1, -1), (1, a - 1), (b - 1, a - 1), (b - 1, 1), (-1, 1)])
    elif which == 5:
        shape = (
            Polygon(circle(1.0))
            if rng.random() < 0.6
            else Polygon(circle(1.0)).difference(affinity.translate(Polygon(circle(0.8)), 0.7, 0.2))
        )
    else:
        corners = rng.normal(0, 1, (7, 2))
        shape = shapely.MultiPoint(corners / np.abs(corners).max()).convex_hull.buffer(0.15)
    x0, y0, x1, y1 = shape.bounds
    shape = affinity.scale(shape, size / max(x1 - x0, y1 - y0), size / max(x1 - x0, y1 - y0), origin=(0, 0))
    if holes and rng.random() < 0.25 and size > 14:
        inner = shape.representative_point()
        radius = 0.55 * shapely.boundary(shape).distance(inner)
        if radius > 1.0:
            shape = shape.difference(inner.buffer(radius))
    return affinity.rotate(shape, rng.uniform(0, 360), origin=(0, 0))


def swept(sections: list[list[np.ndarray]], ends: str, widest: float, thread: np.ndarray) -> Polygon:
    """Return what a fill takes up: the area between rows as they are sewn, sections joined, (multi)polygon.

    Slits of two rows ``widest`` mm apart are closed, where sections meet and beside a way between them:
    ``thread`` (k, 2, 2) are all stitches of the fill. A lone stitch takes up nothing.
    """
    parts = []
    for section in sections:
        rows = sewn_rows(section, ends)
        for one, two in itertools.pairwise(rows):
            parts.append(Polygon([*one, *two]))
    lines = shapely.multilinestrings(shapely.linestrings(thread))
    whole = shapely.union_all([p for p in parts if p.is_valid] + [shapely.buffer(lines, 0.02, quad_segs=1)])
    reach, thin = 1.05 * widest, 0.1
    whole = shapely.buffer(whole, reach, join_style="mitre", mitre_limit=1.2)
    whole = shapely.buffer(whole, -reach - thin, join_style="mitre")
    return shapely.buffer(whole, thin, join_style="mitre")


def placed(shape: Polygon, at: tuple[float, float]) -> Polygon:
    """Return a shape moved so that its box is around ``at``."""
    x0, y0, x1, y1 = shape.bounds
    return affinity.translate(shape, at[0] - (x0 + x1) / 2, at[1] - (y0 + y1) / 2)


def ring_points(shape: Polygon, offset: float, *, mitre: bool = True) -> np.ndarray | None:
    """Return the outer edge of a shape moved outward by ``offset``, (k, 2)."""
    moved = shapely.buffer(shape, offset, join_style="mitre" if mitre else "round") if offset else shape
    if shapely.get_type_id(moved) != 3 or moved.is_empty:
        return None
    return shapely.get_coordinates(moved.exterior)


def inward(sheet: Sheet, target: np.ndarray, *, new: bool = True) -> None:
    """Go a way that will be covered: along a run to ``target``."""
    if np.hypot(*(target - sheet.here)) > 0.05:
        sheet.sew(divide(np.array([sheet.here, target]), 2.5)[1:], "travel", new=new)


def fill_underlay(sheet: Sheet, shape: Polygon, angle: float) -> frozenset[str]:
    """Sew under a fill: an edge run, rows across, rows crossed, a zig-zag along the edge, or nothing."""
    rng, kinds = sheet.rng, set()
    inset = sheet.between((0.7, 1.0), (0.5, 1.4))
    ring, inner = ring_points(shape, -inset), shapely.buffer(shape, -inset)
    way = rng.random()
    if ring is None or shapely.get_type_id(inner) != 3 or way < 0.2:
        return frozenset()
    start_of = True

    def begin(point: np.ndarray) -> None:
        nonlocal start_of
        if start_of:
            sheet.go(point)
            start_of = False
        else:
            inward(sheet, point)

    if way < 0.65:
        begin(ring[0])
        run(sheet, ring, stitch=rng.uniform(1.8, 3.0), label="underlay")
        kinds.add("edge-run")
    if way > 0.4:
        spacing = sheet.between((1.8, 3.0), (1.4, 3.8))
        turns = (angle + 90.0,) if way < 0.8 else (angle + 45.0, angle - 45.0)
        for turn in turns:
            first = True
            rows = rows_sections(inner, turn, spacing)
            for row in rows:
                begin(row[0])
                sheet.sew(divide(row, 3.0), "underlay", new=first)
                first = False
        kinds.add("cross" if len(turns) == 1 else "crossed-rows")
    return frozenset(kinds)


def rows_sections(shape: Polygon, angle: float, spacing: float) -> list[np.ndarray]:
    """Return each section of open rows as one path, there and back."""
    paths = []
    for section in rows_of(shape, angle, spacing):
        rows = [row if k % 2 == 0 else row[::-1] for k, row in enumerate(section)]
        paths.append(np.concatenate(rows))
    return paths


def column_underlay(sheet: Sheet, centre: np.ndarray, width: float) -> tuple[np.ndarray, frozenset[str]]:
    """Sew under a column that begins at ``centre[0]``; return the centre as the top must go, and the kinds.

    What was sewn ends where the top begins.
    """
    rng, kinds = sheet.rng, set()
    way = rng.random()
    if way < 0.3 or width < 1.2:
        return centre, frozenset()
    if way < 0.75:
        sheet.go(centre[0])
        run(sheet, centre, stitch=rng.uniform(1.5, 2.5), label="underlay")
        kinds.add("centre-run")
        centre = centre[::-1]
    else:
        sides = [LineString(centre).offset_curve(way * width) for way in (0.3, -0.3)]
        if any(side.is_empty or shapely.get_type_id(side) != 1 for side in sides):
            return centre, frozenset()  # too tight a curve for lines beside it
        half, other = (shapely.get_coordinates(side) for side in sides)
        sheet.go(half[0])
        run(sheet, half, stitch=2.0, label="underlay")
        inward(sheet, other[-1])
        run(sheet, other[::-1], stitch=2.0, label="underlay")
        kinds.add("edge-run")
    if way > 0.5 and width > 2.0:
        satin(sheet, centre, 0.65 * width, spacing=sheet.between((0.8, 1.4), (0.7, 1.8)), label="underlay")
        kinds.add("zig-zag")
        centre = centre[::-1]
    return centre, frozenset(kinds)


def column_points(
    centre: np.ndarray,
    widths: np.ndarray,
    spacing: float,
    shortened: bool = False,
    smooth: float = 0.3,
) -> np.ndarray:
    """Return the penetrations of a column whose width is interpolated from ``widths`` along its centre.

    Threads are square to the centre's direction between ``smooth`` mm behind and ahead.
    """
    line = LineString(centre)
    count = max(4, round(line.length / spacing))
    at = np.linspace(0, line.length, count + 1)
    point = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    beyond, before = np.minimum(at + smooth, line.length), np.maximum(at - smooth, 0.0)
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, beyond))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, before))
    tangent = ahead - behind
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    width = np.interp(at, np.linspace(0, line.length, len(widths)), widths)
    side = np.where(np.arange(count + 1) % 2 == 0, 1.0, -1.0)
    reach = np.ones(count + 1)
    if shortened:
        # On the inner rail of a tight curve every second penetration stays a third of the width short.
        bend = np.zeros(count + 1)
        bend[1:-1] = tangent[:-2, 0] * tangent[2:, 1] - tangent[:-2, 1] * tangent[2:, 0]
        inner = (side * bend > 0) & (np.abs(bend) > 0.03 * spacing * 2)
        reach[inner & (np.arange(count + 1) % 4 < 2)] = 0.45
    return point + (side * reach * width / 2)[:, None] * normal


def mitred_points(centre: np.ndarray, width: float, spacing: float) -> np.ndarray:
    """Return the penetrations of a column along a bent line (k, 2), cut on the bisector of each corner."""
    step = np.diff(centre, axis=0)
    normal = np.stack([-step[:, 1], step[:, 0]], axis=1) / np.hypot(*step.T)[:, None]
    one, two = np.concatenate([normal[:1], normal]), np.concatenate([normal, normal[-1:]])
    # At a corner the rails meet on the bisector of the two sides' normals.
    mitre = (one + two) / (1.0 + np.einsum("ij,ij->i", one, two))[:, None]
    left, right = centre + width / 2 * mitre, centre - width / 2 * mitre
    found = []
    for k, (a, b) in enumerate(itertools.pairwise(centre)):
        ahead = (b - a) / np.hypot(*(b - a))
        side = np.array([-ahead[1], ahead[0]])
        body = Polygon([left[k], left[k + 1], right[k + 1], right[k]])
        low, high = ((np.array([left[k + i], right[k + i]]) - a) @ ahead for i in (0, 1))
        for at in np.arange(low.min() + spacing / 2, high.max(), spacing):
            across = LineString([a + at * ahead + width * side, a + at * ahead - width * side])
            ends = shapely.get_coordinates(body.intersection(across))
            if len(ends) == 2 and np.hypot(*(ends[1] - ends[0])) > 0.4:
                ends = ends[np.argsort(-ends @ side)]
                found.append(ends[len(found) % 2])
    return np.array(found)


def split_points(points: np.ndarray, pieces: int, pattern: str, rng: np.random.Generator) -> np.ndarray:
    """Split each thread of a column into ``pieces``: at the same places, stepped, or at random."""
    found = [points[:1]]
    for k, (a, b) in enumerate(itertools.pairwise(points)):
        even = np.arange(1, pieces) / pieces
        if pattern == "stepped":
            even = even + (k % 3 - 1) * 0.25 / pieces
        elif pattern == "random":
            even = even + rng.uniform(-0.25, 0.25, pieces - 1) / pieces
        if pattern != "even" and k % 2:
            even = 1 - even[::-1]
        found += [a + even[:, None] * (b - a), b[None]]
    return np.concatenate(found)


def concentric(shape: Polygon, spacing: float) -> list[np.ndarray]:
    """Return the rings of a shape from its edge in, one path for each nested family of offsets."""
    paths: list[list[np.ndarray]] = []
    todo: list[tuple[Polygon, list[np.ndarray]]] = []
    first: list[np.ndarray] = []
    paths.append(first)
    todo.append((shape, first))
    while todo:
        area, path = todo.pop()
        ring = shapely.get_coordinates(area.exterior)[:-1]
        if path:
            start = int(np.argmin(np.hypot(*(ring - path[-1][-1]).T)))
            ring = np.roll(ring, -start, axis=0)
        path.append(np.concatenate([ring, ring[:1]]))
        parts = [
            p for p in shapely.get_parts(shapely.buffer(area, -spacing, join_style="round")) if p.area > 0.5
        ]
        for k, part in enumerate(parts):
            if k == 0:
                todo.append((part, path))
            else:
                fresh: list[np.ndarray] = []
                paths.append(fresh)
                todo.append((part, fresh))
    return [np.concatenate(path) for path in paths]


def thread_points(path: np.ndarray, stitch: float, rng: np.random.Generator) -> np.ndarray:
    """Penetrations along a path, keeping its sharp corners; the first stitch of random length."""
    line = LineString(path)
    at = np.arange(rng.uniform(0.2, 1.0) * stitch, line.length, stitch)
    turn = np.diff(path, axis=0)
    turn /= np.maximum(np.hypot(*turn.T), 1e-9)[:, None]
    sharp = np.einsum("ij,ij->i", turn[1:], turn[:-1]) < 0.75
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.unique(np.concatenate([[0.0], at, way[1:-1][sharp], [line.length]]))
    at = at[np.append(True, np.diff(at) > 0.3)]
    return shapely.get_coordinates(shapely.line_interpolate_point(line, at))


def around_points(points: np.ndarray, shape: Polygon) -> Polygon:
    """Return what the penetrations on the edge of a shape enclose, in their order."""
    on = shapely.distance(shape.exterior, shapely.points(points)) < 0.02
    stop = np.flatnonzero(~on)
    return Polygon(points[: stop[0] if stop.size else len(points)])
