"""A filled disc with an outline, and stacks, built by hand: known geometry without any region finding."""

import numpy as np

from analyzer.design import Design
from analyzer.goods.types import Hoop, Layer, Needle, Stack, ThreadType, Value
from analyzer.regions.types import OutlinePair, Region, RegionKind, Regions

HOOP = Hoop("100x100", 100.0, 100.0, "rectangle", "test")
FACTOR = Value(1.0, 0.4, 2.5, "guess", "test")


def rows_of_disc(radius, spacing, length):
    """Penetrations of a disc filled with rows along x, staggered by thirds."""
    points = []
    for k, y in enumerate(np.arange(-radius + spacing / 2, radius, spacing)):
        half = np.sqrt(radius**2 - y**2)
        inner = np.arange(np.ceil(-half / length) - 1, half / length + 1) * length + (k % 3) * length / 3
        row = np.r_[-half, inner[np.abs(inner) < half - 0.5], half]
        points += [(x, y) for x in (row if k % 2 == 0 else row[::-1])]
    return np.array(points)


def disc(outline="last", radius=20.0, spacing=0.4, length=3.5):
    """A disc and a run on its edge, sewn first or last; the file leaves no distance between them."""
    fill = rows_of_disc(radius, spacing, length)
    theta = np.linspace(0, 2 * np.pi, round(2 * np.pi * radius / 2.5) + 1)
    run = radius * np.stack([np.cos(theta), np.sin(theta)], axis=1)
    parts = [(RegionKind.FILL, fill), (RegionKind.RUN, run)]
    if outline == "first":
        parts.reverse()
    points, kinds, items, region_of = [], [], [], []
    first = 0
    for i, (kind, part) in enumerate(parts):
        points += [part, part[-1:]]
        kinds += [1] * len(part) + [3]
        filled = kind is RegionKind.FILL
        items.append(
            Region(
                id=i,
                kind=kind,
                colour=0,
                first=first,
                last=first + len(part) - 1,
                stitches=len(part) - 1,
                row_spacing_mm=spacing if filled else None,
                stitch_length_mm=length if filled else 2.5,
                width_mm=None,
                direction_deg=0.0 if filled else None,
                passes=1,
                covers=(),
                outline_of=() if filled else (1 - i,),
                bbox_mm=(-radius, -radius, radius, radius),
            )
        )
        region_of += [i] * len(part)
        first += len(part)
    design = Design.from_commands(np.concatenate(points), np.array(kinds))
    of_run, of_fill = (next(r for r in items if r.kind is kind) for kind in (RegionKind.RUN, RegionKind.FILL))
    around = np.linspace(0, 2 * np.pi, 252, endpoint=False)
    normal = np.stack([np.cos(around), np.sin(around)], axis=1)
    at = radius * normal
    own = np.arange(of_fill.first, of_fill.last + 1)
    away = np.hypot(*(at[:, None] - design.penetrations[own]).transpose(2, 0, 1))
    pair = OutlinePair(
        outline=of_run.id,
        borders=of_fill.id,
        at=at,
        outline_stitch=(of_run.first + 1 + around / (2 * np.pi) * of_run.stitches).astype(np.int32),
        edge=at,
        edge_stitch=own[away.argmin(axis=1)].astype(np.int32),
        normal=normal,
        meant_mm=np.zeros(len(at)),
    )
    return design, Regions(tuple(items), np.array(region_of, dtype=np.int32), (pair,))


def orthotropic(ex, ey, nu_yx, shear):
    """Membrane stiffness N/m from kN/m; ``nu_yx`` is the contraction along x for unit extension along y."""
    nu_xy = nu_yx * ex / ey
    room = 1 - nu_yx * nu_xy
    return 1000.0 * np.array(
        [[ex / room, nu_yx * ex / room, 0], [nu_yx * ex / room, ey / room, 0], [0, 0, shear]]
    )


def isotropic(eh, nu=0.3):
    """Membrane stiffness N/m from kN/m."""
    return orthotropic(eh, eh, nu, eh / (2 * (1 + nu)))


JERSEY = orthotropic(0.3, 0.2, 0.4, 0.03)
TWILL = orthotropic(12.0, 7.0, 0.06, 0.25)


def stack(goods, *backings, pull_n=1.0):
    """A stack of ``goods`` (3, 3) and backings (kN/m, perforation mm2), with wide ranges on everything."""

    def layer(role, membrane, kappa, removal):
        return Layer(role, role, role, 100.0, 0.0, 0.3, membrane, 10.0, kappa, removal)

    layers = [layer("goods", goods, 0.0, "kept")]
    layers += [layer("backing", isotropic(eh), kappa, "trimmed") for eh, kappa in backings]
    blade = Value(0.75, 0.75, 0.75, "measured", "test")
    return Stack(
        layers=tuple(layers),
        holding="hooped",
        thread=ThreadType(
            "t", "t", "viscose", FACTOR, FACTOR, Value(80.0, 50.0, 100.0, "guess", "test"), "75/11", FACTOR
        ),
        needle=Needle("75/11", "75/11", blade, ("ball",)),
        hooping_n_per_m=Value(50.0, 10.0, 200.0, "guess", "test"),
        spreads={
            "goods_stiffness": FACTOR,
            "backing_stiffness": FACTOR,
            "pull_n": Value(pull_n, 0.7 * pull_n, 1.5 * pull_n, "guess", "test"),
            "lock_share": Value(1.0, 0.2, 1.0, "guess", "test"),
            "thread_stiffness_n": Value(80.0, 50.0, 100.0, "guess", "test"),
            "play_mm": Value(0.1, 0.05, 0.2, "guess", "test"),
            "perforation": FACTOR,
            "hooping_n_per_m": Value(50.0, 10.0, 200.0, "guess", "test"),
        },
    )


TEARAWAY, CUTAWAY = (4.0, 0.6), (12.0, 0.1)
