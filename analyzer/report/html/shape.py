"""A design as vectors for the page: few enough points, in whole tenths of a millimetre."""

from __future__ import annotations

import base64
import dataclasses
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, Ints
from analyzer.design import Design
from analyzer.goods.types import Hoop
from analyzer.pipeline import Checked
from analyzer.regions.types import Regions
from analyzer.report.thread_look import broken_lines, shadow, stretches, thread_colours, tones

PER_MM = 10  #: units of the drawing in a millimetre
_MANY = 40_000  # stitches above which points in the middle of straight rows are left out
_STRAIGHT_MM = 0.06  # how far such a point may lie off the line
_PASSES = 3  # each leaves out every second such point
_MARGIN = 0.12  # round the design, as a share of its longer side
_NEAR = 1.9  # a hoop up to so many times the design's longer side is drawn whole


@dataclass(frozen=True, slots=True)
class Sheet:
    """The part of the cloth that is shown: its middle and half its sides, mm."""

    middle: tuple[float, float]
    half: tuple[float, float]
    hoop: Hoop | None  #: None where it is too large to be drawn round the design

    @property
    def box(self) -> tuple[int, int, int, int]:
        """Left, top, width and height in units of the drawing."""
        width, height = (round(side * PER_MM) for side in self.half)
        return -width, -height, 2 * width, 2 * height

    def units(self, points: Floats) -> npt.NDArray[np.int64]:
        """Return places (p, 2) mm in whole units of the drawing, whose y counts downwards."""
        scaled = (np.asarray(points, dtype=np.float64) - self.middle) * (PER_MM, -PER_MM)
        result: npt.NDArray[np.int64] = np.round(scaled).astype(np.int64)
        return result

    def unit(self, at: tuple[float, float]) -> tuple[int, int]:
        """Return one place in units of the drawing."""
        x, y = self.units(np.array([at]))[0].tolist()
        return x, y


def sheet_of(checked: Checked, hoop: Hoop | None) -> Sheet:
    """Return what is shown of a check: the design with a margin, or the hoop where it is not much larger."""
    x0, y0, x1, y1 = checked.design.bounds_mm
    side = max(x1 - x0, y1 - y0, 5.0)
    half = (x1 - x0) / 2 + _MARGIN * side, (y1 - y0) / 2 + _MARGIN * side
    shown = None
    if hoop is not None and max(hoop.width_mm, hoop.height_mm) <= _NEAR * side:
        shown = hoop
        half = max(half[0], hoop.width_mm * 0.53), max(half[1], hoop.height_mm * 0.53)
    return Sheet(((x0 + x1) / 2, (y0 + y1) / 2), half, shown)


@dataclass(frozen=True, slots=True)
class Outline:
    """A design with as many points as are drawn; ``kept`` (k,) are the numbers of its penetrations.

    ``coarse``: it is so large that edges and tones of single threads do not show on a still drawing.
    """

    design: Design
    regions: Regions
    kept: Ints
    coarse: bool = False


def thinned(design: Design, regions: Regions) -> Outline:
    """Return a design of very many stitches without the points in the middle of straight rows."""
    kept = np.arange(len(design.penetrations), dtype=np.int32)
    for _ in range(_PASSES if design.stitches > _MANY else 0):
        kept = kept[~_needless(design, regions, kept)]
    joined, jumped = design.joined[kept], design.jumped[kept]
    fewer = dataclasses.replace(
        design,
        penetrations=design.penetrations[kept],
        joined=joined,
        jumped=jumped,
        colour=design.colour[kept],
    )
    held = Regions(regions.items, regions.region_of[kept], regions.pairs)
    return Outline(fewer, held, kept, coarse=design.stitches > _MANY)


def _needless(design: Design, regions: Regions, kept: Ints) -> Bools:
    """Return which of the points ``kept``, every second at most, lie on the line between their neighbours."""
    points, region, joined = design.penetrations[kept], regions.region_of[kept], design.joined[kept]
    needless = np.zeros(len(kept), dtype=np.bool_)
    before, at, after = points[:-2], points[1:-1], points[2:]
    chord = after - before
    length = np.maximum(np.hypot(*chord.T), 1e-9)
    step = at - before
    off = np.abs(chord[:, 0] * step[:, 1] - chord[:, 1] * step[:, 0]) / length
    along = np.einsum("ij,ij->i", chord, step) / length
    same = (region[:-2] == region[1:-1]) & (region[1:-1] == region[2:]) & joined[1:-1] & joined[2:]
    needless[1:-1] = same & (off < _STRAIGHT_MM) & (along > 0.0) & (along < length)
    needless[::2] = False
    return needless


def path(sheet: Sheet, lines: list[Floats]) -> str:
    """Return lines, each (k, 2) mm, as the data of one SVG path."""
    parts = []
    for line in lines:
        at = sheet.units(line)
        steps = np.diff(at, axis=0)
        steps = steps[np.any(steps != 0, axis=1)]
        moves = " ".join(map(str, steps.ravel().tolist())) or "0 0"
        parts.append(f"M{at[0, 0]} {at[0, 1]}l{moves}")
    return "".join(parts)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One path of the thread: ``shade`` is True for the edges of the threads, which lie under all else."""

    d: str
    colour: str
    shade: bool


@dataclass(frozen=True, slots=True)
class Patch:
    """The thread of one region and colour, as it is sewn at one go."""

    region: int
    strokes: tuple[Stroke, ...]


def thread(sheet: Sheet, outline: Outline, moved_mm: Floats | None = None) -> tuple[Patch, ...]:
    """Return the whole design as thread, in sewing order, its points moved by ``moved_mm`` (k, 2)."""
    design = outline.design
    points = design.penetrations if moved_mm is None else design.penetrations + moved_mm
    colours = thread_colours(design)
    if outline.coarse:
        return _coarse(sheet, outline, points, colours)
    looks = [(shadow(colour), tones(colour)) for colour in colours]
    patches = []
    for region, together in groupby(stretches(design, outline.regions), key=lambda part: part.region):
        parts = list(together)
        strokes = [
            Stroke(path(sheet, broken_lines(points, part.ends)), looks[part.colour][0], True)
            for part in parts
        ]
        for part in parts:
            strokes += [
                Stroke(
                    path(sheet, broken_lines(points, part.ends[part.tone == tone])),
                    looks[part.colour][1][int(tone)],
                    False,
                )
                for tone in np.unique(part.tone)
            ]
        patches.append(Patch(region, tuple(strokes)))
    return tuple(patches)


def _coarse(sheet: Sheet, outline: Outline, points: Floats, colours: tuple[str, ...]) -> tuple[Patch, ...]:
    """Return the thread as one path for all that is sewn in one colour at one go, without edges and tones."""
    patches = []
    for colour, together in groupby(stretches(outline.design, outline.regions), key=lambda part: part.colour):
        parts = list(together)
        lines = broken_lines(points, np.concatenate([part.ends for part in parts]))
        patches.append(Patch(parts[0].region, (Stroke(path(sheet, lines), colours[colour], False),)))
    return tuple(patches)


def packed(values: npt.NDArray[np.float64] | npt.NDArray[np.int64], scale: float = 1.0) -> str:
    """Return numbers times ``scale`` as base64 of little-endian 16-bit whole numbers, cut to their range."""
    whole = np.clip(np.round(np.asarray(values, dtype=np.float64) * scale), -32767, 32767).astype("<i2")
    return base64.b64encode(whole.tobytes()).decode("ascii")
