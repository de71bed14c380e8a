"""How thread looks on cloth: in sewing order, each stitch in a tone of its colour that goes by its direction.

A thread shines along its fibres, so the same thread looks lighter where it lies across the light than along
it; that is what tells neighbouring fills apart on a sewn piece. The tones are a look and measure nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.colors import to_hex, to_rgb

from analyzer.arrays import Floats, Ints
from analyzer.design import Design
from analyzer.regions.types import Regions

TONES = 5  #: tones of one thread, from along the light to across it
FLUFF = 1.45  #: how much wider than taken for coverage a thread is drawn: its fibres stand off
NEUTRALS = ("#2b2b2b", "#5a5a5a", "#868686", "#a9a9a9")
_LIGHT_DEG = 62.0  # from where the light comes; off the usual directions of rows
_STRETCH = 400  # stitches drawn at a time: what is sewn later lies over what was sewn earlier


@dataclass(frozen=True, slots=True)
class Stretch:
    """Stitches of one region that are drawn together: ``ends`` (k,) the penetrations at which they end."""

    region: int
    colour: int
    ends: Ints
    tone: Ints  #: (k,) number of the tone of each


def thread_colours(design: Design) -> tuple[str, ...]:
    """Return a colour for each colour block: the file's own, or a neutral where it holds none."""
    return tuple(
        thread.rgb or NEUTRALS[number % len(NEUTRALS)] for number, thread in enumerate(design.threads)
    )


def stretches(design: Design, regions: Regions) -> Iterator[Stretch]:
    """Return the stitches in sewing order, cut where region or colour changes and where it gets long."""
    ends = np.flatnonzero(design.joined)
    if not ends.size:
        return
    steps = design.penetrations[ends] - design.penetrations[ends - 1]
    tone = _tones_of(steps)
    region, colour = regions.region_of[ends], design.colour[ends]
    cut = np.flatnonzero((np.diff(region) != 0) | (np.diff(colour) != 0)) + 1
    for first, last in zip((0, *cut.tolist()), (*cut.tolist(), ends.size), strict=True):
        for at in range(first, last, _STRETCH):
            part = slice(at, min(at + _STRETCH, last))
            yield Stretch(
                int(region[at]), int(colour[at]), ends[part].astype(np.int32), tone[part].astype(np.int32)
            )


def _tones_of(steps: Floats) -> Ints:
    """Return the tone of each step (k, 2): 0 along the light, the last one across it."""
    angle = np.arctan2(steps[:, 1], steps[:, 0]) - np.radians(_LIGHT_DEG)
    across = np.abs(np.sin(angle))
    tone: Ints = np.minimum((across * TONES).astype(np.int32), TONES - 1)
    return tone


def tones(colour: str) -> tuple[str, ...]:
    """Return the :data:`TONES` tones of a thread, darkest first."""
    base = np.array(to_rgb(colour))
    return tuple(_mixed(base, share) for share in np.linspace(-0.20, 0.16, TONES))


def shadow(colour: str) -> str:
    """Return the tone at the edge of a thread, where it turns away from the light."""
    return _mixed(np.array(to_rgb(colour)), -0.32)


def glint(colour: str) -> str:
    """Return the tone along the middle of a thread."""
    return _mixed(np.array(to_rgb(colour)), 0.30)


def _mixed(base: Floats, share: float) -> str:
    """Return ``base`` mixed with white (``share`` above 0) or darkened (below)."""
    red, green, blue = (base * (1.0 + share) if share < 0.0 else base + share * (1.0 - base)).tolist()
    return to_hex((red, green, blue))


def broken_lines(points: Floats, ends: Ints) -> list[Floats]:
    """Return the stitches that end at ``ends`` as few lines: each (k + 1, 2) of ``points``."""
    cuts = np.flatnonzero(np.diff(ends) != 1) + 1
    return [points[part[0] - 1 : part[-1] + 1] for part in np.split(ends, cuts)]
