"""Designs whose stitches carry the label of what they were made as: the truth for tests of regions.

A sketchbook, not a digitizer: simple constructions of known spacing, angle, kind and offset, on the lattice
of 0.1 mm that most stitch files have.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.ops import substring

from analyzer.design import Command, Design


@dataclass
class Labelled:
    """Collects penetrations with the label of the stitch that ends at each, and the number of its object."""

    points: list[tuple[float, float]] = field(default_factory=list)
    kinds: list[int] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)
    objects: list[int] = field(default_factory=list)
    number: int = -1
    rounded: bool = True
    longest_mm: float = np.inf  #: longer stitches are split, as formats with a limit do

    def sew(self, points: np.ndarray, label: str, *, new: bool = True) -> None:
        """Add penetrations (k, 2); the first is left out when the needle is already there."""
        self.number += new
        points = np.asarray(points, dtype=float)
        if np.isfinite(self.longest_mm) and self.points and self.kinds[-1] == Command.STITCH:
            points = split_long(np.concatenate([[self.points[-1]], points]), self.longest_mm)[1:]
        for x, y in points:
            point = (round(x, 1), round(y, 1)) if self.rounded else (float(x), float(y))
            if self.points and self.kinds[-1] == Command.STITCH and point == self.points[-1]:
                continue
            self.points.append(point)
            self.kinds.append(Command.STITCH)
            self.labels.append(label)
            self.objects.append(self.number)

    def command(self, kind: Command) -> None:
        """Add a machine command where the needle is."""
        self.points.append(self.points[-1])
        self.kinds.append(kind)

    def move(self, to: np.ndarray, *, trim: bool = True) -> None:
        """Cut (or not) and jump to ``to``."""
        if trim:
            self.command(Command.TRIM)
        self.points.append((round(float(to[0]), 1), round(float(to[1]), 1)))
        self.kinds.append(Command.JUMP)

    def colour(self) -> None:
        """Take the next thread."""
        self.command(Command.COLOUR_CHANGE)

    def tie(self, at: np.ndarray, towards: np.ndarray) -> None:
        """Lock the thread: there and back twice, 0.8 mm."""
        at = np.asarray(at, dtype=float)
        away = np.asarray(towards, dtype=float) - at
        away *= 0.8 / max(float(np.hypot(*away)), 1e-9)
        self.sew(np.array([at, at + away, at, at + away, at]), "tie")

    def design(self, name: str = "labelled") -> Design:
        """Return what was collected as a design."""
        return Design.from_commands(np.array(self.points), np.array(self.kinds), name=name)

    @property
    def truth(self) -> np.ndarray:
        """Label of the stitch ending at each penetration, (m,)."""
        return np.array(self.labels)

    @property
    def object_of(self) -> np.ndarray:
        """Number of the object of each penetration, (m,)."""
        return np.array(self.objects)


def split_long(points: np.ndarray, longest: float) -> np.ndarray:
    """Insert penetrations into stitches over ``longest``, from their beginning on: (k, 2) to (l, 2)."""
    found = [points[:1]]
    for a, b in itertools.pairwise(points):
        length = float(np.hypot(*(b - a)))
        at = np.arange(1, int(np.ceil(length / longest - 1e-9)))[:, None] * longest / max(length, 1e-9)
        found += [a + at * (b - a), b[None]]
    return np.concatenate(found)


def divide(path: np.ndarray, length: float) -> np.ndarray:
    """Penetrations every ``length`` along a path (k, 2), its ends included."""
    line = shapely.LineString(path)
    count = max(1, round(line.length / length))
    return shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.linspace(0, line.length, count + 1))
    )


def circle(radius: float, centre: tuple[float, float] = (0.0, 0.0), points: int = 180) -> np.ndarray:
    """Return a closed circle, (points + 1, 2)."""
    t = np.linspace(0, 2 * np.pi, points + 1)
    return np.stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)], axis=1)


def rectangle(width: float, height: float, centre: tuple[float, float] = (0.0, 0.0)) -> Polygon:
    """Return an upright rectangle."""
    x, y = centre
    return shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def rows_of(shape: Polygon, angle: float, spacing: float, growth: float = 1.0) -> list[list[np.ndarray]]:
    """Cut a polygon into rows, and the rows into sections that a needle can sew without leaving them.

    The spacing grows linearly to ``growth`` times itself over the height of the shape.
    """
    turned = shapely.affinity.rotate(shape, -angle, origin=(0, 0))
    x0, y0, x1, y1 = turned.bounds
    count = max(2, round((y1 - y0) / (spacing * (1 + growth) / 2)))
    steps = np.cumsum(np.linspace(1.0, growth, count))
    heights = y0 + 1e-4 + np.concatenate([[0.0], steps / steps[-1]]) * (y1 - y0 - 2e-4)
    sections: list[list[np.ndarray]] = []
    open_: list[list[np.ndarray]] = []
    for y in heights:
        cut = turned.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)]))
        parts = [
            np.sort(shapely.get_coordinates(p), axis=0) for p in shapely.get_parts(cut) if p.length > 0.3
        ]
        touching = [[s for s in open_ if s[-1][0, 0] < p[1, 0] and p[0, 0] < s[-1][1, 0]] for p in parts]
        following: list[list[np.ndarray]] = []
        for part, before in zip(parts, touching, strict=True):
            row = np.array([[part[0, 0], y], [part[1, 0], y]])
            shared = len(before) == 1 and sum(before[0] is s for t in touching for s in t) == 1
            if shared:
                before[0].append(row)
                following.append(before[0])
            else:
                sections.append([row])
                following.append(sections[-1])
        open_ = following
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    back = np.array([[c, s], [-s, c]])
    # Nobody goes out of the way to sew a row or two in a corner.
    sewn = [section for section in sections if len(section) > 2] or sections[:1]
    return [[row @ back for row in section] for section in sewn]


def fill(
    book: Labelled,
    shape: Polygon,
    *,
    angle: float = 0.0,
    spacing: float = 0.4,
    stitch: float = 3.5,
    label: str = "fill",
    stagger: tuple[float, ...] = (0.0, 0.25, 0.5, 0.75),
    ends: str = "step",
    growth: float = 1.0,
    ways: str = "run",
) -> None:
    """Sew a polygon in staggered rows.

    ``ends`` of rows: "step", a short stitch along the edge to the next row, or "vee", none: each row sets
    out from where the last one ended, and leans. ``ways`` between sections: "run", inside the shape; "jump"
    or "trim".
    """
    first = True
    for section in rows_of(shape, angle, spacing, growth):
        points = _section(section, stitch, stagger, ends)
        if not first:
            here = np.array(book.points[-1])
            if np.hypot(*(points[0] - here)) > np.hypot(*(points[-1] - here)):
                points = points[::-1]
            if ways == "run":
                book.sew(divide(_inside(shape, here, points[0]), 2.5)[1:-1], label, new=False)
            else:
                book.move(points[0], trim=ways == "trim")
        book.sew(points, label, new=first)
        first = False


def sewn_rows(section: list[np.ndarray], ends: str) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return start and stop of each row of a section as the needle goes, to and fro."""
    found: list[tuple[np.ndarray, np.ndarray]] = []
    for k, (left, right) in enumerate(section):
        start, stop = (left, right) if k % 2 == 0 else (right, left)
        if ends == "vee" and found:
            start = found[-1][1]
            if np.hypot(*(stop - start)) < 0.3:
                continue
        found.append((start, stop))
    return found


def _section(section: list[np.ndarray], stitch: float, stagger: tuple[float, ...], ends: str) -> np.ndarray:
    left, right = section[len(section) // 2]
    unit = (right - left) / max(float(np.hypot(*(right - left))), 1e-9)
    found = []
    for k, (start, stop) in enumerate(sewn_rows(section, ends)):
        a, b = float(start @ unit), float(stop @ unit)
        low, high = min(a, b), max(a, b)
        first = np.floor(low / stitch) - 1 + stagger[k % len(stagger)]
        grid = (first + np.arange((high - low) / stitch + 4)) * stitch
        inside = np.sort(grid[(grid > low + 0.5) & (grid < high - 0.5)])
        at = np.concatenate([[a], inside if b > a else inside[::-1], [b]])
        part = ((at - a) / (b - a))[:, None] if abs(b - a) > 1e-9 else np.zeros((len(at), 1))
        found.append(start + part * (stop - start))
    return np.concatenate(found)


def _inside(shape: Polygon, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return a way from a to b inside the shape: straight, or along the edge 1 mm in."""
    if shape.buffer(0.1).covers(shapely.LineString([a, b])):
        return np.array([a, b])
    inner = shape.buffer(-1.0)
    curves = [c for p in shapely.get_parts(inner) for c in (p.exterior, *p.interiors)]
    point_a, point_b = shapely.Point(a), shapely.Point(b)
    if not curves:
        return np.array([a, b])
    curve = min(curves, key=lambda c: c.distance(point_a) + c.distance(point_b))
    s, t = curve.project(point_a), curve.project(point_b)
    one = shapely.get_coordinates(substring(curve, s, t))
    if abs(t - s) > curve.length / 2:  # the other way round is shorter
        ahead, behind = substring(curve, s, curve.length), substring(curve, 0.0, t)
        if t > s:
            ahead, behind = substring(curve, s, 0.0), substring(curve, curve.length, t)
        one = np.concatenate([shapely.get_coordinates(ahead), shapely.get_coordinates(behind)])
    return np.concatenate([[a], one, [b]])


def satin(
    book: Labelled, centre: np.ndarray, width: float, *, spacing: float = 0.2, label: str = "satin"
) -> None:
    """Sew a column along a centre line (k, 2): threads ``spacing`` apart, from rail to rail."""
    line = shapely.LineString(centre)
    count = max(4, round(line.length / spacing))
    at = np.linspace(0, line.length, count + 1)
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, np.minimum(at + 0.3, line.length)))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(at - 0.3, 0.0)))
    tangent = ahead - behind
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    side = np.where(np.arange(count + 1) % 2 == 0, 1.0, -1.0)[:, None]
    book.sew(points + side * normal * width / 2, label)


def run(
    book: Labelled, path: np.ndarray, *, stitch: float = 2.5, passes: int = 1, label: str = "run"
) -> None:
    """Sew a line once, there and back, or each stitch three times."""
    points = divide(path, stitch)
    if passes == 2:
        points = np.concatenate([points, points[-2::-1]])
    elif passes == 3:
        a, b = points[:-1], points[1:]
        points = np.concatenate([points[:1], np.stack([b, a, b], axis=1).reshape(-1, 2)])
    book.sew(points, label)


def stitched_fill(
    book: Labelled, shape: Polygon, *, angle: float = 0.0, spacing: float = 0.4, stitch: float = 3.5
) -> None:
    """Sew a fill on an edge run and sparse rows across it, as digitizers do."""
    inset = shape.buffer(-0.8).exterior
    run(book, shapely.get_coordinates(inset), label="underlay")
    fill(book, shape.buffer(-0.8), angle=angle + 90.0, spacing=2.5, label="underlay")
    fill(book, shape, angle=angle, spacing=spacing, stitch=stitch)


def stitched_satin(book: Labelled, centre: np.ndarray, width: float, *, spacing: float = 0.2) -> None:
    """Sew a column on a centre run out and a zig-zag back."""
    run(book, centre, stitch=2.0, label="underlay")
    satin(book, centre[::-1], 0.6 * width, spacing=0.9, label="underlay")
    satin(book, centre, width, spacing=spacing)


def wave(length: float, height: float, periods: float = 1.0, points: int = 80) -> np.ndarray:
    """Return a sine wave along x, (points, 2)."""
    x = np.linspace(0, length, points)
    return np.stack([x, height * np.sin(2 * np.pi * periods * x / length)], axis=1)
