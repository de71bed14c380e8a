"""Designs made row by row inside known outlines, for the tests of what is measured on the cloth."""

import numpy as np
import shapely

from analyzer.design import Command, Design
from analyzer.regions import Region, RegionKind, Regions

WIDTH_MM = 0.3


def disc(radius: float) -> shapely.Polygon:
    return shapely.Point(0.0, 0.0).buffer(radius, quad_segs=64)


def ring(outer: float, inner: float) -> shapely.Polygon:
    return disc(outer).difference(disc(inner))


def square(side: float) -> shapely.Polygon:
    return shapely.box(0.0, 0.0, side, side)


def ell(side: float) -> shapely.Polygon:
    return square(side).difference(shapely.box(side / 2, side / 2, side, side))


def rows(
    shape: shapely.Polygon, spacing: float = 0.4, stitch: float = 3.5, lattice: float = 0.1
) -> np.ndarray:
    """Fill a shape whose rows are single intervals with serpentine rows, staggered by thirds; (m, 2)."""
    x0, y0, x1, y1 = shape.bounds
    points = []
    for k, y in enumerate(np.arange(y0 + spacing / 2, y1, spacing)):
        cut = shape.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)]))
        if cut.is_empty:
            continue
        left, _, right, _ = cut.bounds
        inside = np.arange(np.ceil(left / stitch) - 1, right / stitch + 1) * stitch + (k % 3) * stitch / 3
        x = np.concatenate([[left], inside[(inside > left + 0.5) & (inside < right - 0.5)], [right]])
        points.append(np.stack([x[:: 1 if k % 2 == 0 else -1], np.full(x.size, y)], axis=1))
    filled = np.concatenate(points)
    return np.round(filled / lattice) * lattice if lattice else filled


def ring_rows(outer: float, inner: float, spacing: float = 0.4) -> list[np.ndarray]:
    """Fill a ring as two halves that meet on the line x = 0."""
    whole = ring(outer, inner)
    left = whole.intersection(shapely.box(-outer - 1, -outer - 1, 0, outer + 1))
    right = whole.intersection(shapely.box(0, -outer - 1, outer + 1, outer + 1))
    return [rows(left, spacing), rows(right, spacing)]


def sewn(
    *parts: np.ndarray, spacing: float | None = 0.4, kind: RegionKind = RegionKind.FILL
) -> tuple[Design, Regions]:
    """Return a design of the parts, cut apart by trims, and its regions, one for each part."""
    return sewn_as([(part, kind, spacing) for part in parts])


def sewn_as(parts: list[tuple[np.ndarray, RegionKind, float | None]]) -> tuple[Design, Regions]:
    """Return a design of (points, kind, row spacing), cut apart by trims, and its regions."""
    points, kinds, items = [], [], []
    count = 0
    for i, (part, kind, spacing) in enumerate(parts):
        if i:
            points.append(part[:1])
            kinds.append([Command.TRIM])
        points.append(part)
        kinds.append([Command.STITCH] * len(part))
        items.append(
            Region(
                id=i,
                kind=kind,
                colour=0,
                first=count,
                last=count + len(part) - 1,
                stitches=len(part) - 1,
                row_spacing_mm=spacing,
                stitch_length_mm=3.5,
                width_mm=None,
                direction_deg=0.0,
                passes=1,
                covers=(),
                outline_of=(),
                bbox_mm=(*part.min(axis=0), *part.max(axis=0)),
            )
        )
        count += len(part)
    design = Design.from_commands(np.concatenate(points), np.concatenate(kinds))
    region_of = np.repeat(np.arange(len(parts)), [len(part) for part, _, _ in parts]).astype(np.int32)
    return design, Regions(tuple(items), region_of, ())


def union(design: Design, width: float = WIDTH_MM) -> shapely.Geometry:
    """Return the threads as shapely sees them: the union of buffered stitches."""
    ends = np.flatnonzero(design.joined)
    lines = shapely.linestrings(np.stack([design.penetrations[ends - 1], design.penetrations[ends]], axis=1))
    return shapely.union_all(shapely.buffer(lines, width / 2, quad_segs=16))
