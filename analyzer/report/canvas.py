"""The sheet that every cloth map is drawn on: one design, its hoop, a scale bar, a title.

A sheet comes out as PNG or SVG, with its title and its description inside the file. The same picture gives
the same bytes.
"""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal, TypeAlias
from xml.sax.saxutils import escape

import matplotlib
import matplotlib.style
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure, SubFigure
from matplotlib.patches import Ellipse, FancyBboxPatch, Rectangle
from matplotlib.ticker import MaxNLocator

from analyzer.arrays import Floats
from analyzer.goods.types import Hoop
from analyzer.pipeline import Checked
from analyzer.report.numbers import sound_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Form: TypeAlias = Literal["png", "svg"]
Tone: TypeAlias = Literal["colour", "ink"]

_DPI = 150
_SIZE_IN = (8.0, 7.2)
_BOX = (0.08, 0.10, 0.74, 0.745)
_MANY = 40_000  #: stitches above which a drawing holds them as a picture, not to grow without end
_INK = "#202020"
_HOOP = "#606060"
_PAPER = "#ffffff"
_ROOMY = 4.0  #: a hoop so many times the design's area is drawn beside the picture
_BARS_MM = (1, 2, 5, 10, 20, 50, 100, 200)


@contextmanager
def own_style() -> Iterator[None]:
    """Draw with matplotlib's defaults whatever the user's own settings are."""
    own: dict[Any, Any] = {"font.family": ["DejaVu Sans"], "svg.hashsalt": "prehoop", "hatch.linewidth": 0.7}
    with matplotlib.style.context("default"), matplotlib.rc_context(own), warnings.catch_warnings():
        # a name in a script that the font lacks is drawn as boxes
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


class Sheet:
    """One cloth map in the making."""

    def __init__(
        self,
        checked: Checked,
        title: str,
        remark: str,
        *,
        beside_in: float = 0.0,
        size_in: tuple[float, float] = _SIZE_IN,
        box: tuple[float, float, float, float] = _BOX,
    ) -> None:
        """Begin a sheet; its picture fills ``box`` (left, bottom, width, height as shares).

        ``beside_in`` inches more at its right side are :attr:`beside`.
        """
        self.checked = checked
        self.title, self.remark = sound_text(title), sound_text(remark)
        width, height = size_in
        self.whole = Figure(figsize=(width + beside_in, height), dpi=_DPI, facecolor=_PAPER)
        self.figure: Figure | SubFigure = self.whole
        self.beside: Figure | SubFigure = self.whole
        if beside_in:
            columns = self.whole.add_gridspec(1, 2, width_ratios=[width, beside_in])
            self.figure = self.whole.add_subfigure(columns[0, 0])
            self.beside = self.whole.add_subfigure(columns[0, 1])
        self.width_in = width
        self.many = checked.design.stitches > _MANY  #: so many stitches that they are pixels in drawings too
        self.view = (0.0, 1.0, 0.0, 1.0)  # x0, x1, y0, y1, mm
        self.canvas = FigureCanvasAgg(self.whole)
        self.axes: Axes = self.figure.add_axes(box)
        self._box = box
        self.axes.set_aspect("equal")
        left, top = 0.24 / width, 1.0 - 0.36 / height
        self.figure.text(left, top, _short(title), fontsize=13, weight="bold", color=_INK, va="center")
        lines = textwrap.fill(_printable(remark), round(14 * (width + beside_in)))
        top -= 0.18 / height
        self.figure.text(left, top, lines, fontsize=9, color=_INK, va="top", linespacing=1.3)

    def frame(self, hoop: Hoop | None, ground: str = _PAPER) -> None:
        """Show the design with a margin, the hoop's sewing field as far as it fits, and a scale bar."""
        self.axes.set_facecolor(ground)
        x0, y0, x1, y1 = self.checked.design.bounds_mm
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        side = max(x1 - x0, y1 - y0, 5.0)
        half = (x1 - x0) / 2 + 0.12 * side, (y1 - y0) / 2 + 0.12 * side
        if hoop is not None:
            roomy = hoop.width_mm * hoop.height_mm > _ROOMY * (x1 - x0) * (y1 - y0)
            fits = not roomy and hoop.width_mm <= 1.9 * side and hoop.height_mm <= 1.9 * side
            if fits:
                self._hoop(self.axes, hoop, middle)
                half = max(half[0], hoop.width_mm * 0.53), max(half[1], hoop.height_mm * 0.53)
            else:
                self._inset(hoop)
        self.view = middle[0] - half[0], middle[0] + half[0], middle[1] - half[1], middle[1] + half[1]
        self.look()
        self.axes.set_xlabel("x, mm from the middle", fontsize=8)
        self.axes.set_ylabel("y, mm from the middle", fontsize=8)
        self.axes.tick_params(labelsize=8)
        # the design may lie off its own origin; what matters is its middle, which is the middle of the hoop
        for axis, centre, reach in zip((self.axes.xaxis, self.axes.yaxis), middle, half, strict=True):
            places = np.asarray(MaxNLocator(7, steps=[1, 2, 5, 10]).tick_values(-reach, reach))
            places = places[np.abs(places) <= reach]
            axis.set_ticks(places + centre, [f"{place:g}" for place in places])
        self._scale_bar(2 * half[0])

    def look(self) -> None:
        """Show the framed view; drawing an image changes it."""
        self.axes.set_xlim(*self.view[:2])
        self.axes.set_ylim(*self.view[2:])

    def head(self, x: float, y: float, text: str, **style: Any) -> None:
        """Write over one of several pictures, at shares ``x`` and ``y`` of the whole sheet."""
        lines = textwrap.fill(_printable(text), 64)
        self.whole.text(x, y, lines, color=_INK, linespacing=1.25, **{"va": "top", **style})

    def write(self, x: float, y: float, text: str, **style: Any) -> None:
        """Write a line, which may come out of the file, at shares ``x`` and ``y`` of the sheet."""
        self.figure.text(x, y, _printable(text), color=style.pop("color", _INK), **style)

    def swatch(self, x: float, y: float, colour: str) -> None:
        """Show a thread's colour in a legend, edged so that pale threads show on white."""
        patch = Rectangle((x, y - 0.006), 0.018, 0.012, facecolor=colour, edgecolor=_HOOP, linewidth=0.6)
        patch.set_transform(self.figure.transSubfigure)
        self.figure.add_artist(patch)

    def foot(self, text: str, tone: str, x: float, *, ha: str = "left", row: int = 0) -> None:
        """Write a line of the legend under the picture, beginning (or ending) at share ``x`` of the width."""
        self.figure.text(x, 0.035 - 0.022 * row, text, color=tone, fontsize=8, va="center", ha=ha)

    def _inset(self, hoop: Hoop) -> None:
        """Draw the hoop small beside the picture, with the design's extent in its middle."""
        inset = self.figure.add_axes((0.845, 0.07, 0.135, 0.15))
        inset.set_aspect("equal")
        inset.set_axis_off()
        inset.set_xlim(-0.53 * hoop.width_mm, 0.53 * hoop.width_mm)
        inset.set_ylim(-0.53 * hoop.height_mm, 0.62 * hoop.height_mm)
        self._hoop(inset, hoop, (0.0, 0.0))
        width, height = self.checked.design.size_mm
        inset.add_patch(
            Rectangle((-width / 2, -height / 2), width, height, facecolor="#d8d8d8", edgecolor=_INK)
        )

    def _hoop(self, axes: Axes, hoop: Hoop, middle: tuple[float, float]) -> None:
        style: dict[str, Any] = {
            "fill": False,
            "edgecolor": self._tone(axes),
            "linewidth": 1.2,
            "linestyle": (0, (6, 3)),
        }
        if hoop.shape == "oval":
            axes.add_patch(Ellipse(middle, hoop.width_mm, hoop.height_mm, **style))
        else:
            corner = middle[0] - hoop.width_mm / 2, middle[1] - hoop.height_mm / 2
            rounding = f"round,pad=0,rounding_size={min(hoop.width_mm, hoop.height_mm) * 0.06}"
            axes.add_patch(FancyBboxPatch(corner, hoop.width_mm, hoop.height_mm, boxstyle=rounding, **style))
        axes.annotate(
            f"hoop {_hoop_name(hoop)}",
            (middle[0], middle[1] + hoop.height_mm / 2),
            xytext=(0, 2.5),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=7,
            color=self._tone(axes),
        )

    @staticmethod
    def _tone(axes: Axes) -> str:
        """Return a grey that shows on the ground of ``axes``."""
        return _HOOP if sum(to_rgb(axes.get_facecolor())) > 1.2 else "#c8c8c8"

    def _scale_bar(self, width_mm: float) -> None:
        length = max((bar for bar in _BARS_MM if bar <= width_mm / 4), default=_BARS_MM[0])
        self.axes.apply_aspect()
        left, drawn = self._box[0], float(self.axes.get_position().width)
        end = left + drawn * length / width_mm
        self.figure.add_artist(_bar_line((left, end), 0.035))
        self.figure.text(end + 0.012, 0.035, f"{length} mm", fontsize=9, va="center", color=_INK)

    def stitches(self, segments: Floats, **style: Any) -> LineCollection:
        """Draw ``segments`` (n, 2, 2) mm."""
        lines = LineCollection(list(segments), capstyle="round", **style, rasterized=self.many)
        self.axes.add_collection(lines)
        return lines

    def segments(self) -> Floats:
        """Return the stitches of the design as :func:`segments` does."""
        return segments(self.checked)

    def points_per_mm(self) -> float:
        """Return how many points a millimetre of cloth takes, for line widths; after :meth:`frame`."""
        self.axes.apply_aspect()
        box = self.axes.get_position()
        low, high = self.axes.get_xlim()
        return float(box.width * self.width_in * 72.0 / (high - low))

    def scale(
        self, drawn: Any, label: str, *, over: bool = False, mark: tuple[float, str] | None = None
    ) -> None:
        """Put the labelled scale of ``drawn`` beside the picture, with ticks to a tenth, never finer.

        ``over``: some lies above its end. ``mark``: a value on it and what it means.
        """
        place = self.figure.add_axes((0.86, 0.30, 0.025, 0.545))
        bar = self.figure.colorbar(drawn, cax=place, extend="max" if over else "neither")
        bar.set_label(label, fontsize=9)
        step = tick_step(float(drawn.norm.vmax))
        bar.set_ticks([step * i for i in range(int(float(drawn.norm.vmax) / step + 1e-6) + 1)])
        bar.ax.yaxis.set_major_formatter("{x:.1f}" if step < 1.0 else "{x:.0f}")
        bar.ax.tick_params(labelsize=8)
        if mark is not None:
            bar.ax.axhline(mark[0], color=_INK, linewidth=3.0)
            bar.ax.axhline(mark[0], color=_PAPER, linewidth=1.2)
            bar.ax.annotate(
                mark[1], (0.0, mark[0]), xycoords=("axes fraction", "data"), xytext=(-4, 0),
                textcoords="offset points", ha="right", va="center", fontsize=7, color=_INK,
            )  # fmt: skip

    def signed_scale(self, drawn: Any, label: str, limits: tuple[tuple[float, str], ...]) -> None:
        """Put the scale of a signed quantity beside the picture, zero labelled, with its ``limits``."""
        place = self.figure.add_axes((0.86, 0.30, 0.025, 0.545))
        bar = self.figure.colorbar(drawn, cax=place)
        bar.set_label(label, fontsize=9)
        top = float(drawn.norm.vmax)
        step = tick_step(2.0 * top)
        reach = int(top / step + 1e-6)
        ticks = [step * i for i in range(-reach, reach + 1)]
        digits = 1 if step < 1.0 else 0
        bar.set_ticks(ticks, labels=[f"{tick:+.{digits}f}" if tick else "0" for tick in ticks])
        bar.ax.tick_params(labelsize=8)
        for value, word in limits:
            if abs(value) <= top:
                bar.ax.axhline(value, color=_INK, linewidth=1.4)
                bar.ax.annotate(
                    word, (0.0, value), xycoords=("axes fraction", "data"), xytext=(-4, 0),
                    textcoords="offset points", ha="right", va="center", fontsize=7, color=_INK,
                )  # fmt: skip

    def render(self, form: Form) -> bytes:
        """Return the picture with title and description inside; the same picture gives the same bytes."""
        out = io.BytesIO()
        if form == "png":
            told = {"Software": None, "Title": self.title, "Description": self.remark}
            self.canvas.print_png(out, metadata=told)  # type: ignore[no-untyped-call]
            return out.getvalue()
        self.whole.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None})
        return _told_svg(out.getvalue().decode("utf-8"), self.title, self.remark)


def _told_svg(svg: str, title: str, description: str) -> bytes:
    """Return ``svg`` with a title and a description that screen readers find."""
    start = svg.index("<svg")
    end = svg.index(">", start) + 1
    opening = svg[start : end - 1] + ' role="img" aria-labelledby="title desc">'
    told = f'\n <title id="title">{_xml(title)}</title>\n <desc id="desc">{_xml(description)}</desc>'
    head = '<?xml version="1.0" encoding="utf-8"?>\n'
    return (head + opening + told + svg[end:]).encode("utf-8")


def _xml(text: str) -> str:
    """Return ``text`` escaped, without the control characters that XML 1.0 (section 2.2) does not allow."""
    return escape("".join(mark for mark in text if mark >= " " and mark not in "\ufffe\uffff"))


def tick_step(top: float) -> float:
    """Return the distance of a scale's ticks: 1, 2 or 5 tenths, ones, tens ... that give at most eight."""
    steps = (digit * 10.0**power for power in range(-1, 4) for digit in (1, 2, 5))
    return next((step for step in steps if top / step <= 8.0), top)


def file_title(checked: Checked) -> str:
    """Return what a map of the file alone is called: its name, size and stitches."""
    width, height = checked.design.size_mm
    return f"{checked.design.name} · {width:.1f} x {height:.1f} mm · {checked.design.stitches:,} stitches"


def segments(checked: Checked) -> Floats:
    """Return the stitches as (m, 2, 2) mm: from penetration i-1 to i, for every joined penetration i."""
    points, joined = checked.design.penetrations, checked.design.joined
    ends = np.flatnonzero(joined)
    return np.stack((points[ends - 1], points[ends]), axis=1)


def _bar_line(xs: tuple[float, float], y: float) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(xs, (y, y), color=_INK, linewidth=3, solid_capstyle="butt")


def _hoop_name(hoop: Hoop) -> str:
    return f"{hoop.width_mm:.0f} x {hoop.height_mm:.0f} mm" + (", oval" if hoop.shape == "oval" else "")


def _printable(text: str) -> str:
    """Return ``text`` fit for a picture: sound Unicode, no mark-up, no control characters."""
    seen = "".join(mark if mark.isprintable() else "�" for mark in sound_text(text))
    return seen.replace("$", r"\$")


def _short(text: str, most: int = 72) -> str:
    """Return a title that fits the sheet."""
    return _printable(text if len(text) <= most else text[: most - 1] + "…")
