"""The design drawn onto paper as lines, sharp at any printer: in ink, or in its thread colours."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.colors import to_rgb

from analyzer.arrays import Floats
from analyzer.goods.types import Hoop
from analyzer.pipeline import Checked
from analyzer.regions.types import RegionKind
from analyzer.report.paper.letters import printable
from analyzer.report.paper.pages import FAMILY, INK, SOFT, Paper

#: tones of grey of the colour blocks on a sheet read in black and white, told apart by their numbers too
_INKS = (0, 120, 60, 165, 30, 90, 140)
_NO_COLOUR = (43, 90, 134, 169)
_FINEST_MM = 0.12  #: on paper; what is finer is left out of the drawing
_ROOMY = 4.0  #: a hoop so many times the design's area is not drawn round it
_BARS_MM = (1, 2, 5, 10, 20, 50, 100, 200)

Tone = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Mark:
    """A numbered place on the picture; ``at`` mm in the design's own coordinates."""

    label: str
    at: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Frame:
    """Where on the paper the design lies: ``paper = origin + scale * (design - middle)``, y down."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    middle: tuple[float, float]
    scale: float

    def on_paper(self, points: Floats) -> Floats:
        """Return places (n, 2) mm of the design as places on the paper, mm from its upper left corner."""
        centre = np.array([self.x_mm + self.width_mm / 2, self.y_mm + self.height_mm / 2])
        placed: Floats = centre + self.scale * (np.asarray(points) - np.array(self.middle)) * np.array(
            [1.0, -1.0]
        )
        return placed


def frame_of(
    checked: Checked, x_mm: float, y_mm: float, width_mm: float, height_mm: float, *, hoop: Hoop | None = None
) -> Frame:
    """Return the frame that shows the whole design, and the hoop round it where one is given and near."""
    x0, y0, x1, y1 = checked.design.bounds_mm
    wide, high = max(x1 - x0, 1.0), max(y1 - y0, 1.0)
    if hoop is not None and not _roomy(hoop, wide, high):
        wide, high = max(wide, hoop.width_mm), max(high, hoop.height_mm)
    scale = min((width_mm - 8.0) / wide, (height_mm - 8.0) / high)
    return Frame(x_mm, y_mm, width_mm, height_mm, ((x0 + x1) / 2, (y0 + y1) / 2), scale)


def _roomy(hoop: Hoop, width_mm: float, height_mm: float) -> bool:
    return hoop.width_mm * hoop.height_mm > _ROOMY * width_mm * height_mm


def tones_of(checked: Checked, *, ink: bool) -> list[Tone]:
    """Return the tone of each colour block: greys for ``ink``; else the file's, neutral where it has none."""
    tones: list[Tone] = []
    for number, thread in enumerate(checked.design.threads):
        grey = (_INKS if ink else _NO_COLOUR)[number % len(_INKS if ink else _NO_COLOUR)]
        if ink or thread.rgb is None:
            tones.append((grey, grey, grey))
        else:
            red, green, blue = (round(255 * part) for part in to_rgb(thread.rgb))
            tones.append((red, green, blue))
    return tones


def draw_ground(paper: Paper, frame: Frame, tone: Tone) -> None:
    """Fill the frame with the tone of the goods."""
    with paper.pdf.local_context(fill_color=tone):
        paper.pdf.rect(frame.x_mm, frame.y_mm, frame.width_mm, frame.height_mm, style="F")


def draw_stitches(
    paper: Paper, frame: Frame, checked: Checked, points: Floats, tones: Sequence[Tone], *, thread_mm: float
) -> None:
    """Draw the stitches through ``points`` (m, 2) mm, block by block in sewing order."""
    placed = frame.on_paper(points)
    line_mm = max(0.09, thread_mm * frame.scale)
    with paper.pdf.local_context(line_width=line_mm):
        _draw_blocks(paper, checked, placed, tones)


def _draw_blocks(paper: Paper, checked: Checked, placed: Floats, tones: Sequence[Tone]) -> None:
    design = checked.design
    for number, tone in enumerate(tones):
        paper.pdf.set_draw_color(*tone)
        own = np.flatnonzero(design.colour == number)
        if not own.size:
            continue
        for run in np.split(own, np.flatnonzero(~design.joined[own][1:]) + 1):
            if len(run) > 1:
                paper.pdf.polyline([(x, y) for x, y in thinned(placed[run], _FINEST_MM).tolist()])


def thinned(path: Floats, step: float) -> Floats:
    """Return a path (k, 2) without the points that lie nearer than ``step`` to the one kept before."""
    if len(path) < 3:
        return path
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    kept = np.flatnonzero(np.diff(np.floor(way / step), prepend=-1.0) > 0)
    thin: Floats = path[np.union1d(kept, [len(path) - 1])]
    return thin


def draw_hoop(paper: Paper, frame: Frame, hoop: Hoop, size_mm: tuple[float, float]) -> bool:
    """Draw the sewing field where it is near the design; say whether it was drawn."""
    if _roomy(hoop, *size_mm):
        return False
    wide, high = hoop.width_mm * frame.scale, hoop.height_mm * frame.scale
    x, y = frame.x_mm + (frame.width_mm - wide) / 2, frame.y_mm + (frame.height_mm - high) / 2
    with paper.pdf.local_context(draw_color=SOFT, line_width=0.25):
        paper.pdf.set_dash_pattern(dash=2.0, gap=1.2)
        if hoop.shape == "oval":
            paper.pdf.ellipse(x, y, wide, high)
        else:
            paper.pdf.rect(x, y, wide, high, round_corners=True, corner_radius=min(wide, high) * 0.06)
        paper.pdf.set_dash_pattern()
    return True


def draw_centre(paper: Paper, frame: Frame) -> None:
    """Draw the centre mark with its axes, to lay the goods by, and which side is up."""
    pdf = paper.pdf
    x, y = frame.x_mm + frame.width_mm / 2, frame.y_mm + frame.height_mm / 2
    with pdf.local_context(draw_color=INK, line_width=0.18):
        pdf.set_dash_pattern(dash=1.0, gap=1.0)
        pdf.line(frame.x_mm + 1, y, frame.x_mm + frame.width_mm - 1, y)
        pdf.line(x, frame.y_mm + 1, x, frame.y_mm + frame.height_mm - 1)
        pdf.set_dash_pattern()
    with pdf.local_context(draw_color=(255, 255, 255), line_width=1.1):
        pdf.line(x - 3, y, x + 3, y)
        pdf.line(x, y - 3, x, y + 3)
    with pdf.local_context(draw_color=INK, line_width=0.45):
        pdf.line(x - 3, y, x + 3, y)
        pdf.line(x, y - 3, x, y + 3)
        pdf.circle(x, y, 1.6)
    pdf.set_font(FAMILY, "B", 7)
    left = frame.x_mm + 3.0
    with pdf.local_context(draw_color=INK, line_width=0.4):
        pdf.line(left, frame.y_mm + 2.0, left, frame.y_mm + 7.0)
        pdf.polyline(
            [(left - 1.0, frame.y_mm + 3.4), (left, frame.y_mm + 2.0), (left + 1.0, frame.y_mm + 3.4)]
        )
    pdf.text(left + 1.8, frame.y_mm + 5.4, "up")
    pdf.set_font(FAMILY, "", 7)


def draw_marks(paper: Paper, frame: Frame, marks: Iterable[Mark], *, square: bool = False) -> None:
    """Draw numbered marks, black on white with an edge, so that they are read on any ground."""
    pdf = paper.pdf
    pdf.set_font(FAMILY, "B", 6.5)
    placed: list[tuple[str, float, tuple[float, float], tuple[float, float]]] = []
    for mark in marks:
        x, y = (float(part) for part in frame.on_paper(np.array([mark.at]))[0])
        label = printable(mark.label)
        wide = max(4.0, float(pdf.get_string_width(label)) + 1.6)
        placed.append((label, wide, (x, y), _free(x, y, wide, [spot for *_, spot in placed], frame)))
    with pdf.local_context(draw_color=INK, fill_color=(255, 255, 255), line_width=0.3):
        for _, _, at, spot in placed:
            if spot != at:
                pdf.line(*at, *spot)
                pdf.circle(*at, 0.5, style="F")
        for _, wide, _, spot in placed:
            corner = spot[0] - wide / 2, spot[1] - 2.0
            if square:
                pdf.rect(*corner, wide, 4.0, style="DF")
            else:
                pdf.ellipse(*corner, wide, 4.0, style="DF")
    for label, _, _, spot in placed:
        pdf.text(spot[0] - float(pdf.get_string_width(label)) / 2, spot[1] + 0.85, label)
    pdf.set_font(FAMILY, "", 8)


def _free(
    x: float, y: float, wide: float, taken: Sequence[tuple[float, float]], frame: Frame
) -> tuple[float, float]:
    """Return a place at or near (x, y) mm on paper where a mark hides no other."""
    for reach in (0.0, 5.0, 9.0, 13.0, 17.0):
        for turn in np.arange(12) * np.pi / 6:
            at = float(x + reach * np.cos(turn)), float(y + reach * np.sin(turn))
            inside = (
                frame.x_mm + 2 <= at[0] <= frame.x_mm + frame.width_mm - 2
                and frame.y_mm + 2 <= at[1] <= frame.y_mm + frame.height_mm - 2
            )
            apart = all(
                abs(at[0] - other[0]) >= wide + 0.4 or abs(at[1] - other[1]) >= 4.4 for other in taken
            )
            if apart and (inside or reach == 0.0):
                return at
    return x, y


def draw_scale(paper: Paper, frame: Frame) -> None:
    """Draw a scale bar at the frame's lower left."""
    length = max((bar for bar in _BARS_MM if bar * frame.scale <= frame.width_mm / 3), default=_BARS_MM[0])
    x, y = frame.x_mm + 2.0, frame.y_mm + frame.height_mm - 1.8
    pdf = paper.pdf
    with pdf.local_context(fill_color=(255, 255, 255)):
        pdf.rect(x - 1.0, y - 2.6, length * frame.scale + 14.0, 4.0, style="F")
    with pdf.local_context(draw_color=INK, line_width=0.7):
        pdf.line(x, y, x + length * frame.scale, y)
    pdf.set_font(FAMILY, "", 6.5)
    pdf.text(x + length * frame.scale + 1.2, y + 0.8, f"{length} mm")


def draw_edge(paper: Paper, frame: Frame) -> None:
    """Draw a thin line round the frame."""
    with paper.pdf.local_context(draw_color=SOFT, line_width=0.15):
        paper.pdf.rect(frame.x_mm, frame.y_mm, frame.width_mm, frame.height_mm)


def block_marks(checked: Checked, labels: Sequence[str]) -> list[Mark]:
    """Return a mark for each colour block, on the stitching of its largest region."""
    design = checked.design
    marks = []
    for number, label in enumerate(labels):
        own = [
            region
            for region in checked.regions.items
            if region.colour == number and region.kind not in (RegionKind.TRAVEL, RegionKind.TIE)
        ]
        if not own:
            continue
        largest = max(own, key=lambda region: (region.kind != RegionKind.UNDERLAY, region.stitches))
        points = design.penetrations[largest.first : largest.last + 1]
        at = points[len(points) // 2]
        if largest.kind == RegionKind.FILL:
            at = points[int(np.argmin(np.hypot(*(points - points.mean(axis=0)).T)))]
        marks.append(Mark(label, (float(at[0]), float(at[1]))))
    return marks
