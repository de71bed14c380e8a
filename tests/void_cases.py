"""Generated designs whose uncovered places are known to be meant or not: the truth for the tests of voids.

Each family draws its measures at random and is turned by a random angle. What it leaves bare is all meant or
all not; texture that a family makes besides (wedges between turns) is too small to count.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import shapely
from cloth_shapes import sewn_as
from shapely.affinity import rotate

from analyzer.design import Design
from analyzer.regions import RegionKind, Regions

Random = np.random.Generator


@dataclass
class Sheet:
    """Parts in sewing order, each with its kind and spacing, and whether what they leave bare is meant."""

    meant: bool
    parts: list[tuple[np.ndarray, RegionKind, float | None]] = field(default_factory=list)

    def run(self, path: np.ndarray, stitch: float = 2.0) -> None:
        """Sew along a line."""
        line = shapely.LineString(path)
        at = np.linspace(0, line.length, max(2, round(line.length / stitch) + 1))
        points = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
        self.parts.append((points, RegionKind.RUN, None))

    def satin(self, centre: np.ndarray, width: float, spacing: float = 0.2) -> None:
        """Sew a column along a centre line, threads ``spacing`` apart."""
        line = shapely.LineString(centre)
        at = np.linspace(0, line.length, max(4, round(line.length / spacing) + 1))
        points = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
        tangent = np.gradient(points, axis=0)
        tangent /= np.hypot(*tangent.T)[:, None]
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
        side = np.where(np.arange(len(at)) % 2, -0.5, 0.5)[:, None]
        self.parts.append((points + side * width * normal, RegionKind.SATIN, spacing))

    def fill(self, shape: shapely.Geometry, spacing: float, angle: float, drop: tuple[int, ...] = ()) -> None:
        """Fill a shape with rows; rows whose number is in ``drop`` are left out."""
        upright = rotate(shape, -angle, origin=(0, 0))
        x0, y0, x1, y1 = upright.bounds
        sections: dict[tuple[int, int], list[np.ndarray]] = {}
        stretch, before = 0, 0
        for k, y in enumerate(np.arange(y0 + spacing / 2, y1, spacing)):
            if k in drop:
                continue
            cut = shapely.get_parts(upright.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)])))
            pieces = sorted(part.bounds[::2] for part in cut if part.length > 0.3)
            stretch += len(pieces) != before
            before = len(pieces)
            for i, (left, right) in enumerate(pieces):
                inner = np.arange(left, right, 3.5)[1:] + (k % 3) * 0.6 - 0.6
                x = np.concatenate([[left], inner[(inner > left + 0.4) & (inner < right - 0.4)], [right]])
                row = np.stack([x, np.full(x.size, y)], axis=1)
                rows = sections.setdefault((stretch, i), [])
                rows.append(row[:: 1 if len(rows) % 2 == 0 else -1])
        turn = np.deg2rad(angle)
        back = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        for rows in sections.values():
            self.parts.append((np.concatenate(rows) @ back, RegionKind.FILL, spacing))

    def sewn(self, turn_deg: float) -> tuple[Design, Regions]:
        """Return the design, turned and on the lattice of 0.1 mm, and its regions."""
        turn = np.deg2rad(turn_deg)
        back = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        return sewn_as([(np.round(points @ back, 1), kind, s) for points, kind, s in self.parts])


def _circle(radius: float, x: float = 0.0, y: float = 0.0) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, 121)
    return np.stack([x + radius * np.cos(t), y + radius * np.sin(t)], axis=1)


def _edge(shape: shapely.Polygon) -> np.ndarray:
    return shapely.get_coordinates(shape.exterior)


def _look(r: Random) -> tuple[float, float]:
    return float(r.uniform(0.35, 0.5)), float(r.uniform(0, 180))


def hole(r: Random) -> Sheet:
    """Leave a round, long or square hole in a fill; half of them get an outline."""
    sheet = Sheet(True)
    shape = (
        shapely.Point(0, 0).buffer(r.uniform(0.9, 5)),
        shapely.LineString([(-r.uniform(1, 3), 0), (r.uniform(1, 3), 0)]).buffer(r.uniform(0.9, 2)),
        shapely.box(-r.uniform(0.9, 4), -r.uniform(0.9, 4), 1, 1),
    )[r.integers(3)]
    sheet.fill(shapely.box(-10, -9, 10, 9).difference(shape), *_look(r))
    if r.random() < 0.5:
        sheet.run(_edge(shape.buffer(-0.1)))
    return sheet


def letter(r: Random) -> Sheet:
    """Sew an O, an A or a P in satin columns, 5 to 15 mm high."""
    sheet = Sheet(True)
    high = r.uniform(5, 15)
    wide = high * r.uniform(0.13, 0.18)
    kind = r.integers(3)
    if kind == 0:
        sheet.satin(_circle(high / 2) * (r.uniform(0.7, 1), 1), wide)
    elif kind == 1:
        top, left, right = (0, high), (-high * 0.42, 0), (high * 0.42, 0)
        sheet.satin(np.array([left, top]), wide)
        sheet.satin(np.array([top, right]), wide)
        sheet.satin(np.array([(-high * 0.3, high * 0.28), (high * 0.3, high * 0.28)]), wide)
    else:
        sheet.satin(np.array([(0, 0), (0, high)]), wide)
        t = np.linspace(np.pi / 2, -np.pi / 2, 40)
        bow = np.stack([high * 0.12 + high * 0.28 * np.cos(t), high * (0.74 + 0.26 * np.sin(t))], axis=1)
        sheet.satin(np.concatenate([[(0, high)], bow, [(0, high * 0.48)]]), wide)
    return sheet


def wreath(r: Random) -> Sheet:
    """Set filled discs in a ring, each overlapping the next."""
    sheet = Sheet(True)
    radius, count = r.uniform(10, 18), int(r.integers(9, 13))
    spacing, angle = _look(r)
    for k in range(count):
        t = 2 * np.pi * k / count
        disc = shapely.Point(radius * np.cos(t), radius * np.sin(t)).buffer(
            radius * np.sin(np.pi / count) + 0.8
        )
        sheet.fill(disc, spacing, angle + 20 * k)
    return sheet


def lattice(r: Random) -> Sheet:
    """Sew a net of crossing runs."""
    sheet = Sheet(True)
    mesh, slant = r.uniform(1.0, 3.0), r.uniform(-0.4, 0.4)
    for v in np.arange(4) * mesh:
        sheet.run(np.array([(-1, v), (3 * mesh + 1, v)]))
        sheet.run(np.array([(v - slant, -1), (v + slant * 3 * mesh, 3 * mesh + 1)]))
    return sheet


def drawing(r: Random) -> Sheet:
    """Draw closed lines, one inside the other, 0.8 to 3 mm apart."""
    sheet = Sheet(True)
    radius = r.uniform(4, 9)
    sheet.run(_circle(radius), 1.2)
    sheet.run(_circle(radius + r.uniform(0.8, 3)), 1.2)
    return sheet


def between_letters(r: Random) -> Sheet:
    """Set two or three satin columns side by side; the ground between them is open at both ends."""
    sheet = Sheet(True)
    high, wide, gap = r.uniform(6, 12), r.uniform(1.2, 3), r.uniform(0.8, 1.6)
    for k in range(int(r.integers(2, 4))):
        x = k * (wide + gap)
        sheet.satin(np.array([(x, 0), (x + r.uniform(-0.1, 0.1), high)]), wide)
    return sheet


def missing_rows(r: Random) -> Sheet:
    """Leave out one to three rows of a fill; half of them lie inside an outline."""
    sheet = Sheet(False)
    shape = (shapely.Point(0, 0).buffer(9), shapely.box(-10, -7, 10, 7))[r.integers(2)]
    spacing, angle = _look(r)
    first = int(r.integers(8, 22))
    sheet.fill(shape, spacing, angle, tuple(range(first, first + int(r.integers(1, 4)))))
    if r.random() < 0.5:
        sheet.run(_edge(shape))
    return sheet


def apart(r: Random) -> Sheet:
    """Sew a shape in two sections that do not meet; half of them lie inside a border."""
    sheet = Sheet(False)
    gap, slope = r.uniform(0.6, 1.2), r.uniform(-0.05, 0.05)
    shape = (shapely.Point(0, 0).buffer(9), shapely.box(-10, -7, 10, 7))[r.integers(2)]
    slit = shapely.LineString([(-slope * 10, -12), (slope * 10, 12)]).buffer(gap / 2)
    spacing, angle = _look(r)
    for part in shapely.get_parts(shape.difference(slit)):
        sheet.fill(part, spacing, angle)
        angle += r.choice([0, 90])
    if r.random() < 0.5:
        sheet.satin(_edge(shape), 2.0)
    return sheet


def outline_off(r: Random) -> Sheet:
    """Sew an outline, run or satin, that stands off its fill all round, or to one side."""
    sheet = Sheet(False)
    radius, off = r.uniform(6, 10), r.uniform(0.3, 0.7)
    shift = r.choice([0.0, 0.5]) * off
    sheet.fill(shapely.Point(0, 0).buffer(radius), *_look(r))
    if r.random() < 0.5:
        sheet.run(_circle(radius + 0.4 + off, shift), 1.0)
    else:
        sheet.satin(_circle(radius + 1.2 + off, shift), 1.8)
    return sheet


def lost_piece(r: Random) -> Sheet:
    """Lose a stretch of one or two rows inside a fill."""
    sheet = Sheet(False)
    spacing, angle = _look(r)
    x, y = r.uniform(-4, 1), r.uniform(-4, 4)
    y = (np.floor(y / spacing) + 0.1) * spacing
    lost = shapely.box(x, y, x + r.uniform(3, 7), y + spacing * r.choice([0.8, 1.8]))
    whole = shapely.box(-10 * spacing / 0.4, -8, 10, 8)
    sheet.fill(rotate(whole.difference(lost), angle, origin=(0, 0)), spacing, angle)
    return sheet


def border_off(r: Random) -> Sheet:
    """Frame a fill by four satin columns, one of which stands off."""
    sheet = Sheet(False)
    wide, high, gap = r.uniform(7, 11), r.uniform(6, 9), r.uniform(0.9, 1.5)
    sheet.fill(shapely.box(-wide, -high, wide, high), *_look(r))
    x, y = wide + 0.8, high + 0.8
    sheet.satin(np.array([(-x - 1, y), (x + 2, y)]), 2.0)
    sheet.satin(np.array([(-x - 1, -y), (x + 2, -y)]), 2.0)
    sheet.satin(np.array([(-x, -y), (-x, y)]), 2.0)
    sheet.satin(np.array([(x + gap, -y), (x + gap, y)]), 2.0)
    return sheet


FAMILIES: tuple[Callable[[Random], Sheet], ...] = (
    hole, letter, wreath, lattice, drawing, between_letters,
    missing_rows, apart, outline_off, lost_piece, border_off,
)  # fmt: skip
