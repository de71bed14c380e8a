"""How numbers are said on screens and paper: lengths to 0.1 mm, levels by word and shape."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from analyzer.design import Design
from analyzer.findings.types import Level
from analyzer.goods.types import Cloth, Layer
from analyzer.goods.units import MM_PER_INCH, oz_yd2_from_g_m2

_COARSE_FROM_MM = 5.0
SHAPES = {Level.FAULT: "■", Level.CAUTION: "▲", Level.NOTE: "·"}
PARAMETERS = {
    "goods_stiffness": "the stiffness of the goods",
    "backing_stiffness": "the stiffness of the backing",
    "pull_n": "the pull of a stitch",
    "lock_share": "how much of its pull a stitch keeps",
    "thread_stiffness_n": "the stiffness of the thread",
    "play_mm": "the play of thread in its hole",
    "perforation": "what the needle holes cost the backing",
    "hooping_n_per_m": "the tension of hooping",
}
OUTCOMES = {"hoop-it": "hoop it", "sample-first": "sample first", "rework": "rework"}
_NUMBER = r"([+-]?[0-9][0-9,]*(?:\.[0-9]+)?)"
#: lengths in a sentence: ``25 mm``, ``150 x 150 mm``, ``0.1 to 0.4 mm``; not ``mm2``, not ``mm of thread``
_SAID = re.compile(rf"{_NUMBER}(?: (x|to) {_NUMBER})? mm\b(?! of thread)")
_LENGTH = re.compile(r"\s*([0-9]*\.?[0-9]+)\s*(mm|in|inch|\")?\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Units:
    """Display units: ``mm`` to 0.1 mm, or ``in``: the same tenths of a millimetre, said in inches.

    ``middle`` is the middle of the design in its own coordinates, mm: places are shown from there.
    """

    name: str = "mm"
    middle: tuple[float, float] = (0.0, 0.0)

    @property
    def plural(self) -> str:
        """The unit as a word that cannot be taken for another."""
        return "inches" if self.name == "in" else self.name

    def length(self, mm: float, *, signed: bool = False) -> str:
        """Return a length with its unit, rounded to what it is worth."""
        return f"{self.bare(mm, signed=signed)} {self.name}"

    def bare(self, mm: float, *, signed: bool = False) -> str:
        """Return a length without its unit."""
        rounded, digits = round(mm, 1), 1
        if self.name == "in":
            rounded /= MM_PER_INCH
            digits = 3 if abs(rounded) < 1.0 else 2
            rounded = round(rounded, digits)
        rounded += 0.0  # turns a rounded -0.0 into 0.0
        return f"{rounded:+.{digits}f}" if signed and rounded else f"{rounded:.{digits}f}"

    def sentence(self, text: str) -> str:
        """Return a sentence with the lengths that it says in mm said in these units.

        Whole millimetres are coarse figures (a margin, a sheet) and become inches to 0.05; areas and
        densities stay metric.
        """
        if self.name == "mm":
            return text

        def said(found: re.Match[str]) -> str:
            first, between, second = found.groups()
            words = self._said(first) + (f" {between} {self._said(second)}" if between else "")
            return f"{words} {self.name}"

        return _SAID.sub(said, text)

    def _said(self, text: str) -> str:
        """Return one length of a sentence, as written there in mm, without its unit."""
        mm = float(text.replace(",", ""))
        if "." not in text and abs(mm) >= _COARSE_FROM_MM:
            return f"{round(mm / MM_PER_INCH / 0.05) * 0.05:.2f}"
        return self.bare(mm, signed=text[0] == "+")

    def pair(self, width_mm: float, height_mm: float) -> str:
        """Return a width and a height with their unit."""
        return f"{self.bare(width_mm)} x {self.bare(height_mm)} {self.name}"

    def point(self, at: tuple[float, float]) -> str:
        """Return a place, given in design coordinates, as (x, y) from the middle of the design."""
        return f"({self.bare(at[0] - self.middle[0])}, {self.bare(at[1] - self.middle[1])})"


def middle_of(design: Design) -> tuple[float, float]:
    """Return the middle of a design, mm, which lies in the middle of the hoop."""
    x0, y0, x1, y1 = design.bounds_mm
    return (x0 + x1) / 2, (y0 + y1) / 2


def goods_phrase(cloth: Cloth, *, short: bool = False) -> str:
    """Return ``on jersey``, or ``as free-standing lace`` where there are no goods."""
    if cloth.family == "none":
        return "as free-standing lace"
    return f"on {cloth.name if short else cloth.title}"


def measure(value: float, unit: str, units: Units) -> str:
    """Return a finding's measure in its own unit; lengths follow ``units``, shares become percent."""
    if unit == "mm":
        return units.length(value)
    if unit in ("", "1", "share"):
        return f"{value:.0%}" if unit == "share" else f"{value:.1f}"
    return f"{value:.1f} {unit}"


def ounces(g_m2: float) -> str:
    """Return an areal weight, metric first: ``85 g/m2 (2.5 oz/yd2)``."""
    return f"{g_m2:.0f} g/m2 ({oz_yd2_from_g_m2(g_m2):.1f} oz/yd2)"


def layers_in_words(layers: Iterable[Layer]) -> str:
    """Return backing layers in short, like ones together: ``2 x cutaway 85 g/m2``; ``nothing`` when none."""
    parts = []
    for (kind, g_m2), like in groupby(layers, key=lambda layer: (layer.kind, layer.g_m2)):
        count = len(list(like))
        parts.append((f"{count} x " if count > 1 else "") + f"{kind} {g_m2:.0f} g/m2")
    return ", ".join(parts) or "nothing"


def counted(count: int, one: str, many: str | None = None) -> str:
    """Return ``1 trim``, ``3 trims``, with thousands set off."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def level(value: Level) -> str:
    """Return a level as shape and word."""
    return f"{SHAPES[value]} {value.value}"


def parse_length_mm(text: str) -> float:
    """Return a length typed by a person (``0.5``, ``0.5mm``, ``4in``) in mm.

    Raises:
        ValueError: it is no positive length.

    """
    match = _LENGTH.fullmatch(text)
    if not match or float(match[1]) <= 0.0:
        raise ValueError(f"'{text}' is no length above zero; write for example 0.5, 0.5mm or 0.02in")
    return float(match[1]) * (1.0 if (match[2] or "mm").lower() == "mm" else MM_PER_INCH)
