"""The motifs of the harbour regatta, each as one sample design."""

from __future__ import annotations

import lettering
import numpy as np
from sewing import Sewing
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box
from shapely.ops import unary_union
from stitching import (
    Path,
    Router,
    arc,
    divided,
    fill,
    joined,
    offset_rails,
    points_along,
    run,
    satin,
    satin_underlay,
    smooth,
    turn,
)

NAVY, WHITE = ("#1b2a49", "navy"), ("#f5f5f0", "white")
RED, GOLD = ("#b3282d", "signal red"), ("#d9a441", "gold")
SAND, SKY, SEA, ROPE = ("#d8c39a", "sand"), ("#8fb8d8", "sky"), ("#1f5f7a", "sea"), ("#c9b183", "rope")


def ring_of(shape: Polygon) -> Path:
    """Return the outer edge of a shape as a closed path."""
    return np.asarray(shape.exterior.coords, dtype=float)


def column(
    design: Sewing, path: Path, width_mm: float, *, spacing_mm: float = 0.22, more_mm: float = 0.2
) -> None:
    """Sew a satin column along a path, over a centre run and an open zig-zag."""
    rails = offset_rails(path, width_mm)
    under = satin_underlay(*rails, zigzag=width_mm > 1.8)
    design.sew(joined([under, satin(*rails, spacing_mm=spacing_mm, compensation_mm=more_mm)]))


def shield() -> Polygon:
    """Return the shield of the crew crest, 40 mm wide and 46 mm high."""
    side = smooth([(20, 22), (20, 8), (20, -4), (16, -14), (0, -24)])
    return Polygon(np.concatenate([[(0.0, 22.0)], side, side[::-1] * [-1, 1]]))


def crest_field(design: Sewing) -> None:
    """Sew the dense field of the crest."""
    design.thread(*NAVY)
    design.sew(fill(shield(), 20, stitch_mm=3.8, compensation_mm=0.1))


def crest_oars(design: Sewing) -> None:
    """Sew two crossed oars and the waves under them on the field."""
    design.thread(*GOLD)
    for lean in (-32, 32):
        shaft = points_along(turn(np.array([(0.0, -13.0), (0.0, 8.0)]), lean), 0.5)
        column(design, shaft, 1.6)
        part = np.linspace(0, 1, 60)
        along = 7.6 + 9.4 * part
        blade = 0.8 + 1.5 * np.sin(np.pi / 2 * np.clip(part * 1.5, 0, 1))
        spread = np.minimum(blade, 4.2 * np.sqrt(1.02 - part))
        left = turn(np.column_stack([-spread, along]), lean)
        right = turn(np.column_stack([spread, along]), lean)
        design.sew(joined([satin_underlay(left, right), satin(left, right, compensation_mm=0.15)]))
    design.thread(*WHITE)
    for level in (-12.5, -16.5):
        reach = 10.5 if level > -14 else 6.2
        x = np.linspace(-reach, reach, 160)
        column(design, np.column_stack([x, level + 0.7 * np.sin(x * 0.75)]), 1.7, spacing_mm=0.25)


def crest_outline(design: Sewing) -> None:
    """Sew the thin contrasting outline: a double run on the edge of the field."""
    design.thread(*RED)
    design.sew(run(ring_of(shield()), 2.2, passes=2))


def crest_outline_last() -> Sewing:
    """Return the crew-tee crest: field, oars and waves, and only then the outline round the field."""
    design = Sewing("Crew crest A")
    crest_field(design)
    crest_oars(design)
    crest_outline(design)
    return design


def crest_outline_first() -> Sewing:
    """Return the same crest with its outline sewn right after the field."""
    design = Sewing("Crew crest B")
    crest_field(design)
    crest_outline(design)
    crest_oars(design)
    return design


def regatta_lettering() -> Sewing:
    """Return satin lettering REGATTA, 12 mm high, columns 2.2 mm wide."""
    design = Sewing("REGATTA")
    design.thread(*NAVY)
    x = 0.0
    for letter in "REGATTA":
        strokes, advance = lettering.LETTERS[letter]
        placed = [np.asarray(stroke) + np.array([x, 0.0]) for stroke in strokes]
        body = unary_union([LineString(stroke).buffer(lettering.WIDTH_MM / 2) for stroke in placed])
        router = Router(body, inset_mm=lettering.WIDTH_MM * 0.4)
        parts: list[Path] = []
        for stroke in placed:
            rails = offset_rails(points_along(stroke, 0.25), lettering.WIDTH_MM)
            if parts:
                parts.append(run(router.way(parts[-1][-1], stroke[0]), 1.8))
            parts.append(satin_underlay(*rails))
            parts.append(satin(*rails, spacing_mm=0.22, compensation_mm=0.2))
        design.sew(joined(parts))
        x += advance
    return design


def rope_wreath() -> Sewing:
    """Return a twisted rope as a ring with a large open middle, lashed in four places."""
    design = Sewing("Rope wreath")
    design.thread(*ROPE)
    strands, inner, outer, twist = 44, 33.0, 42.0, 17.0
    t = np.linspace(0, 1, 60)
    radius = inner + (outer - inner) * t
    sweep = twist * (3 * t**2 - 2 * t**3)  # an S: along the rope at both rims, across it in the middle

    def rail(number: float) -> Path:
        angle = np.radians(90 - number * 360 / strands - sweep)
        return radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])

    parts: list[Path] = []
    for strand in range(strands):
        left, right = rail(strand + 0.06), rail(strand + 0.94)
        if strand % 2:
            left, right = left[::-1], right[::-1]  # outwards and inwards in turn: the next strand is near
        under = satin_underlay(left, right, inset_mm=0.9)
        parts += [under, satin(left, right, spacing_mm=0.38, compensation_mm=0.2)]
    design.sew(joined(parts))
    design.thread(*NAVY)
    for angle in (45, 135, 225, 315):
        lashing = points_along(np.array([(31.8, 0.0), (43.2, 0.0)]), 0.5)
        column(design, turn(lashing, angle), 6.0, spacing_mm=0.25)
    return design


def lighthouse_sketch() -> Sewing:
    """Return a light drawing in double run: a lighthouse on its rock, a sailing boat, waves, gulls."""
    design = Sewing("Light sketch")
    design.thread(*NAVY)
    tower = np.array([(-8.0, -14), (-5.2, 18), (5.2, 18), (8.0, -14), (-8.0, -14)])
    design.sew(run(tower, 2.2, passes=2))
    for low in (-8.0, 0.0, 8.0):
        half = 8.0 - (low + 14) * 2.8 / 32
        band = np.array([(-half, low), (half, low + 2.5)])
        design.sew(run(band, 2.2, passes=2))
    for line in (
        [(-7.0, 18), (7.0, 18), (7.0, 20), (-7.0, 20), (-7.0, 18)],
        [(-3.5, 20), (-3.5, 26), (3.5, 26), (3.5, 20)],
        [(0.0, 20), (0.0, 26)],
        [(-5.0, 26), (0.0, 31), (5.0, 26), (-5.0, 26)],
        [(-1.6, -14), (-1.6, -9), (1.6, -9), (1.6, -14)],
        [(6.5, 24), (17.0, 29)],
        [(7.0, 22.5), (18.0, 22.5)],
        [(-6.5, 24), (-17.0, 29)],
        [(-7.0, 22.5), (-18.0, 22.5)],
    ):
        design.sew(run(np.asarray(line, dtype=float), 2.2, passes=2))
    shoulder = [(20, -20), (17, -15.5), (11.5, -16.5), (9, -13)]
    rock = smooth([*((-x, y) for x, y in shoulder), *shoulder[::-1]], 3)
    design.sew(run(rock, 2.2, passes=2))
    design.thread(*SEA)
    for level, start, end in ((-21.5, -40, 40), (-25.5, -34, 36), (-29.5, -28, 30)):
        x = np.linspace(start, end, 240)
        design.sew(run(np.column_stack([x, level + 1.0 * np.sin(x * 0.8)]), 1.6, passes=2))
    design.thread(*RED)
    keel = smooth([(24, -14.5), (26, -19), (36, -19), (40, -14.5)], 3)
    hull = np.concatenate([keel, keel[:1]])
    design.sew(run(hull, 2.0, passes=2))
    mast, main = [(31, -14.5), (31, 6)], [(32, 5), (39, -11.5), (32, -11.5), (32, 5)]
    for line in (mast, main, [(30, 3), (25, -11.5), (30, -11.5), (30, 3)]):
        design.sew(run(np.asarray(line, dtype=float), 2.0, passes=2))
    design.thread(*NAVY)
    for x, y in ((-28.0, 14.0), (-35.0, 8.0), (26.0, 14.0)):
        wings = np.concatenate([arc((x - 2.2, y), 2.2, 170, 10), arc((x + 2.2, y), 2.2, 170, 10)])
        design.sew(run(wings, 1.8, passes=2))
    return design


def towel_shell() -> Sewing:
    """Return a scallop shell for a terry towel: a fill on full underlay, broad satin ribs, a satin rim."""
    design = Sewing("Towel shell")
    ribs, low, high = 7, 34.0, 146.0
    angle = np.linspace(low, high, 361)
    hinge = np.array([0.0, -27.0])
    reach = 49 + 3.4 * np.abs(np.sin((angle - low) / (high - low) * np.pi * ribs))
    rim = hinge + reach[:, None] * np.column_stack([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    waist = [(-7.0, -24.0), (-5.0, -29.0), (5.0, -29.0), (7.0, -24.0)]
    body = Polygon(np.concatenate([rim, waist])).buffer(0)
    foot = Polygon([(-12, -33), (12, -33), (9, -24), (-9, -24)])
    shell = unary_union([body, foot]).buffer(2.4).buffer(-4.6).buffer(2.2)
    design.thread(*SAND)
    design.sew(fill(shell, 0, stitch_mm=4.0, compensation_mm=0.45))
    design.thread(*WHITE)
    for rib in range(1, ribs):
        lean = np.radians(low + (high - low) * rib / ribs)
        along = np.linspace(9.0, 47.5, 80)
        width = np.linspace(1.8, 3.4, 80)
        centre = hinge + along[:, None] * np.array([np.cos(lean), np.sin(lean)])
        across = np.array([-np.sin(lean), np.cos(lean)]) * width[:, None] / 2
        left, right = centre + across, centre - across
        if rib % 2 == 0:
            left, right = left[::-1], right[::-1]
        under = satin_underlay(left, right)
        design.sew(joined([under, satin(left, right, spacing_mm=0.24, compensation_mm=0.35)]))
    edge = points_along(ring_of(shell), 0.4)
    column(design, edge, 3.0, spacing_mm=0.24, more_mm=0.35)
    return design


def starfish() -> Polygon:
    """Return a five-armed star with rounded tips and hollows, about 70 mm across."""
    turns = np.radians(90 + 36 * np.arange(10))
    radius = np.where(np.arange(10) % 2 == 0, 39.0, 15.0)
    star = Polygon(radius[:, None] * np.column_stack([np.cos(turns), np.sin(turns)]))
    return star.buffer(-3.0).buffer(6.0).buffer(-3.0)


def lace_starfish() -> Sewing:
    """Return free-standing lace: three crossing nets of run, sewn twice, in a satin edge on an edge run."""
    design = Sewing("Starfish lace")
    star = starfish()
    design.thread(*SAND)
    edge = ring_of(star)
    parts = [run(edge, 2.0, passes=2)]
    for _ in range(2):
        for angle in (0, 60, 120):
            start = parts[-1][-1].tolist()
            net = {"spacing_mm": 2.4, "stitch_mm": 2.4, "compensation_mm": 0.4}
            parts.append(fill(star, angle, **net, underlay=False, start=start))
    router = Router(star)
    ring = points_along(edge, 0.4)[:-1]
    ring = np.roll(ring, -int(np.argmin(np.hypot(*(ring - parts[-1][-1]).T))), axis=0)
    ring = np.concatenate([ring, ring[:1]])
    parts.append(run(router.way(parts[-1][-1], ring[0]), 2.2))
    rails = offset_rails(ring, 3.0)
    parts += [satin_underlay(*rails), satin(*rails, spacing_mm=0.25)]
    for arm in range(5):  # a vein along every arm, over the net
        tip = turn(np.array([(0.0, 0.0), (0.0, 29.0)]), 72 * arm)
        vein = points_along(tip, 0.5)
        rails = offset_rails(vein, 1.8)
        parts.append(run(router.way(parts[-1][-1], vein[0]), 2.2))
        parts += [satin_underlay(*rails, zigzag=False), satin(*rails, spacing_mm=0.25), run(vein[::-1], 2.2)]
    design.sew(joined(parts))
    return design


def overdense_flag() -> Sewing:
    """Return a flag that is too dense on purpose: rows 0.2 mm apart, all sewn twice, a disc on top."""
    design = Sewing("Dense flag")
    block, disc = box(-18, -13, 18, 13), Point(0, 0).buffer(7.5, quad_segs=24)
    for thread, shape, angle in ((RED, block, 0), (WHITE, disc, 90)):
        design.thread(*thread)
        for _ in range(2):
            design.sew(fill(shape, angle, spacing_mm=0.2, stitch_mm=2.5, compensation_mm=0.0))
    design.thread(*NAVY)
    pole = points_along(np.array([(-20.0, -24.0), (-20.0, 15.0)]), 0.5)
    column(design, pole, 2.2)
    return design


def lighthouse_patch() -> Sewing:
    """Return a round patch: sky, sea, a banded lighthouse, a satin border over the edge of the fills."""
    design = Sewing("Light patch")
    disc = Point(0, 0).buffer(36.0, quad_segs=48)
    tower = Polygon([(-7.5, -17), (-4.6, 14), (4.6, 14), (7.5, -17)])
    lantern = box(-3.4, 16.6, 3.4, 22)
    roof = Polygon([(-5.2, 22), (5.2, 22), (0, 28)])
    shore = [(x, -14 + 1.2 * np.sin(x / 4)) for x in np.linspace(-40, 40, 161)]
    water = Polygon([*shore, (40, -40), (-40, -40)]).intersection(disc)
    house = unary_union([tower, lantern, roof, box(-6.0, 14, 6.0, 16.6)])
    design.thread(*SKY)
    design.sew(fill(disc.difference(water).difference(house.buffer(-0.8)), 0, compensation_mm=0.2))
    design.thread(*SEA)
    design.sew(fill(water.difference(tower.buffer(-0.8)), 12, compensation_mm=0.3))
    design.thread(*WHITE)
    design.sew(fill(tower, 90, stitch_mm=3.5, compensation_mm=0.3))
    design.sew(fill(lantern, 90, stitch_mm=3.5, compensation_mm=0.3))
    design.thread(*RED)
    for low in (-12.0, -3.0, 6.0):
        ends = [6.9 - (level + 17) * 2.9 / 31 + 0.5 for level in (low, low + 4.2)]
        left = divided(np.array([(-ends[0], low), (ends[0], low)]), 30)
        right = divided(np.array([(-ends[1], low + 4.2), (ends[1], low + 4.2)]), 30)
        over = satin(left, right, spacing_mm=0.25, compensation_mm=0.2)
        design.sew(joined([satin_underlay(left, right), over]))
    column(design, points_along(np.array([(-6.6, 15.3), (6.6, 15.3)]), 0.5), 2.6, spacing_mm=0.25)
    design.sew(fill(roof, 0, stitch_mm=3.5, compensation_mm=0.3))
    design.thread(*NAVY)
    border = arc((0, 0), 36.2, 90, -270, 0.4)
    column(design, border, 4.0, spacing_mm=0.24, more_mm=0.2)
    return design


def signal_flags() -> Sewing:
    """Return four signal-flag blocks side by side, filled in four directions."""
    design = Sewing("Signal flags")
    block = box(-14.0, -14.0, 14.0, 14.0)
    blocks = ((NAVY, -14, 14, 0), (RED, 14, 14, 45), (GOLD, -14, -14, 90), (WHITE, 14, -14, 135))
    for thread, x, y, angle in blocks:
        design.thread(*thread)
        design.sew(fill(affinity.translate(block, x, y), angle, compensation_mm=0.2))
    return design
