"""Shapes sewn for the stitch-by-stitch model and, as whole designs, for the law on a grid."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analyzer.design import Command, Design
from analyzer.regions.types import OutlinePair, Region, RegionKind, Regions

RADIUS_MM, STIFFNESS_N = 0.375, 80.0


@dataclass(frozen=True)
class Part:
    """One region of a case; ``edges`` (r, 2) numbers of the penetrations at the two ends of each row."""

    kind: RegionKind
    points: np.ndarray
    spacing_mm: float | None
    length_mm: float
    direction_deg: float | None = None
    width_mm: float | None = None


def sheet(eh_kn_per_m: float, nu: float = 0.3) -> np.ndarray:
    """Isotropic membrane stiffness, N/m."""
    C = np.array([[1, nu, 0], [nu, 1, 0], [0, 0, (1 - nu) / 2]])
    return 1000.0 * eh_kn_per_m / (1 - nu**2) * C


def weave(e1: float, e2: float, shear: float, nu12: float = 0.1) -> np.ndarray:
    """Orthotropic membrane stiffness N/m from kN/m along x and y."""
    nu21 = nu12 * e2 / e1
    room = 1 - nu12 * nu21
    C = np.array([[e1 / room, nu12 * e2 / room, 0], [nu12 * e2 / room, e2 / room, 0], [0, 0, shear]])
    return 1000.0 * C


def turned(points: np.ndarray, degrees: float) -> np.ndarray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return points @ np.array([[c, s], [-s, c]])


def rows(spans: list[list[tuple[float, float]]], y: np.ndarray, length: float) -> np.ndarray:
    """Rows to and fro at ``y``, staggered by quarters; row i covers ``spans[i]``, one after another."""
    points = []
    for k, (row, at) in enumerate(zip(spans, y, strict=True)):
        along = []
        for low, high in row:
            inner = np.arange(np.floor(low / length) - 1, high / length + 1) * length + (k % 4) * length / 4
            inner = inner[(inner > low + 0.5) & (inner < high - 0.5)]
            along += [low, *inner, high]
        points += [(x, at) for x in (along if k % 2 == 0 else along[::-1])]
    return np.array(points)


def fill(points: np.ndarray, spacing: float = 0.4, length: float = 3.5, angle: float = 0.0) -> Part:
    return Part(RegionKind.FILL, turned(points, angle), spacing, length, angle % 180.0)


def rectangle(width: float, height: float, spacing: float = 0.4, length: float = 3.5) -> np.ndarray:
    y = np.arange(-height / 2, height / 2 + 1e-9, spacing)
    return rows([[(-width / 2, width / 2)]] * len(y), y, length)


def disc(radius: float, spacing: float = 0.4, length: float = 3.5) -> np.ndarray:
    y = np.arange(-radius + spacing / 2, radius, spacing)
    half = np.sqrt(radius**2 - y**2)
    return rows([[(-h, h)] for h in half], y, length)


def ell(side: float, arm: float, spacing: float = 0.4, length: float = 3.5) -> np.ndarray:
    """An L: a square of ``side`` less all but an arm of ``arm`` along the left and the bottom."""
    y = np.arange(0.0, side + 1e-9, spacing)
    ends = np.where(y <= arm, side, arm)
    return rows([[(0.0, e)] for e in ends], y, length) - side / 2


def satin(width: float, height: float, spacing: float = 0.2) -> Part:
    """A column along y; ``spacing`` from thread to thread."""
    y = np.arange(0.0, height + 1e-9, spacing)
    x = np.where(np.arange(len(y)) % 2 == 0, -width / 2, width / 2)
    points = np.column_stack([x, y - height / 2])
    return Part(RegionKind.SATIN, points, spacing, float(np.hypot(width, spacing)), 0.0, width)


def moved(part: Part, dx: float, dy: float, degrees: float = 0.0) -> Part:
    angle = None if part.direction_deg is None else (part.direction_deg + degrees) % 180.0
    points = turned(part.points, degrees) + np.array([dx, dy])
    return Part(part.kind, points, part.spacing_mm, part.length_mm, angle, part.width_mm)


def run(points: np.ndarray, length: float = 2.5) -> Part:
    """A run along the corners ``points``, in stitches of about ``length``."""
    pieces = [points[:1]]
    for p, q in pairwise(points):
        count = max(1, round(float(np.hypot(*(q - p))) / length))
        pieces.append(p + (q - p) * (np.arange(1, count + 1) / count)[:, None])
    return Part(RegionKind.RUN, np.concatenate(pieces), None, length)


def circle(radius: float, count: int = 60) -> np.ndarray:
    theta = np.linspace(0.0, 2 * np.pi, count + 1)
    return radius * np.column_stack([np.cos(theta), np.sin(theta)])


def row_ends(part: Part) -> tuple[np.ndarray, np.ndarray]:
    """Numbers within the part of the penetrations at the low and the high end of each row."""
    points = turned(part.points, -(part.direction_deg or 0.0))
    begins = np.flatnonzero(np.r_[True, np.abs(np.diff(points[:, 1])) > 1e-6])
    ends = np.r_[begins[1:] - 1, len(points) - 1]
    forth = points[begins, 0] < points[ends, 0]
    return np.where(forth, begins, ends), np.where(forth, ends, begins)


def along(values: np.ndarray, count: int) -> np.ndarray:
    """Running mean over ``count`` neighbours: single penetrations scatter by where their row begins."""
    window = np.ones(count)
    return np.convolve(values, window, "same") / np.convolve(np.ones(len(values)), window, "same")


def shortening(parts: list[Part], moves: np.ndarray) -> dict[str, np.ndarray]:
    """How far each part is drawn together by ``moves`` (m, 2) of all penetrations, mm, place by place.

    Of a fill at both ends of its rows, each end for itself; of a satin from rail to rail; runs have none.
    """
    result, first = {}, 0
    for number, part in enumerate(parts):
        own = moves[first : first + len(part.points)]
        if part.kind is RegionKind.FILL:
            angle = np.radians(part.direction_deg or 0.0)
            n = np.array([np.cos(angle), np.sin(angle)])
            low, high = row_ends(part)
            result[f"{number} fill"] = np.concatenate([along(own[low] @ n, 7), along(-own[high] @ n, 7)])
        elif part.kind is RegionKind.SATIN:
            n = np.diff(part.points, axis=0)
            n /= np.hypot(*n.T)[:, None]
            result[f"{number} satin"] = along(np.einsum("ki,ki->k", own[:-1] - own[1:], n), 11)
        first += len(part.points)
    return result


def gaps(regions: Regions, drift: np.ndarray) -> dict[str, np.ndarray]:
    """What ``drift`` (m, 2) of all penetrations adds to the gap along each pair, mm, station by station."""
    result = {}
    for pair in regions.pairs:
        moved = drift[pair.outline_stitch] - drift[pair.edge_stitch]
        result[f"gap {pair.outline}-{pair.borders}"] = along(np.einsum("ki,ki->k", moved, pair.normal), 5)
    return result


def assemble(
    parts: list[Part], pairs: tuple[tuple[int, int, np.ndarray, np.ndarray], ...] = ()
) -> tuple[Design, Regions]:
    """Lay ``parts`` out as one design.

    Each of ``pairs`` is (outline, border, stations (k, 2), normals (k, 2)): both edges lie on the stations,
    made by the nearest penetrations of each part.
    """
    points, kinds, items, region_of = [], [], [], []
    first = 0
    for number, part in enumerate(parts):
        points += [part.points, part.points[-1:]]
        kinds += [Command.STITCH] * len(part.points) + [Command.TRIM]
        low, high = part.points.min(axis=0), part.points.max(axis=0)
        items.append(
            Region(
                id=number,
                kind=part.kind,
                colour=0,
                first=first,
                last=first + len(part.points) - 1,
                stitches=len(part.points) - 1,
                row_spacing_mm=part.spacing_mm,
                stitch_length_mm=part.length_mm,
                width_mm=part.width_mm,
                direction_deg=part.direction_deg,
                passes=1,
                covers=(),
                outline_of=(),
                bbox_mm=(*low.tolist(), *high.tolist()),
            )
        )
        region_of += [number] * len(part.points)
        first += len(part.points)
    design = Design.from_commands(np.concatenate(points), np.array(kinds))

    def nearest(region: Region, at: np.ndarray) -> np.ndarray:
        own = design.penetrations[region.first : region.last + 1]
        away = np.hypot(*(at[:, None] - own).transpose(2, 0, 1))
        return (region.first + away.argmin(axis=1)).astype(np.int32)

    found = tuple(
        OutlinePair(
            outline=outline,
            borders=border,
            at=at,
            outline_stitch=nearest(items[outline], at),
            edge=at,
            edge_stitch=nearest(items[border], at),
            normal=normal,
            meant_mm=np.zeros(len(at)),
        )
        for outline, border, at, normal in pairs
    )
    return design, Regions(tuple(items), np.array(region_of, dtype=np.int32), found)
