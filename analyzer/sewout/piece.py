"""The test piece: a small design to sew and measure with a ruler.

Columns of satin, upright and lying, tell the play at their edges from the pull; a fill with an outline run
sewn last tells what shows of the pull; crosses drawn on the cloth before sewing tell the whole of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from analyzer.arrays import Floats
from analyzer.design import Command, Design, Thread

Kind = Literal["width", "sewn", "marks", "gap"]
#: width of a column; between two sewn places; between two marks drawn before sewing; edge to outline
KINDS: tuple[Kind, ...] = ("width", "sewn", "marks", "gap")

SIDE_MM = 30.0  #: of the fill, and between crosses
LONG_MM = 20.0  #: length of the columns
WIDTHS_MM = (2.0, 4.0, 8.0)
_UPRIGHT_AT = ((-21.0, -40.0), (-7.0, -40.0), (11.0, -40.0))
_LYING_AT = ((40.0, -12.0), (40.0, 0.0), (40.0, 14.0))
_CROSS_OFF_MM = 2.5  # of the crosses from the fill's edge
_ROW_MM, _STITCH_MM, _RUN_MM, _THREAD_TO_THREAD_MM = 0.4, 3.6, 2.5, 0.2
_STAGGER_MM = (0.0, 1.8, 0.9, 2.7)
_TIE = np.array([0.0, 0.8, 0.0, 0.8, 0.0])


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing to measure: ``start`` and ``end`` mm in the design's axes; a width or a gap has one place."""

    name: str
    kind: Kind
    start: tuple[float, float]
    end: tuple[float, float]
    meant_mm: float  #: as the file has it
    released: bool = False  #: measured out of the hoop


def crosses_mm() -> Floats:
    """Return where crosses are drawn on the cloth, (4, 2): lower left and right, upper left and right."""
    x, y = SIDE_MM / 2, SIDE_MM / 2 + _CROSS_OFF_MM
    return np.array([[-x, -y], [x, -y], [-x, y], [x, y]])


def measures() -> tuple[Measure, ...]:
    """Return everything that there is to measure on the test piece."""
    half = SIDE_MM / 2
    low_left, low_right, up_left, up_right = (tuple(map(float, one)) for one in crosses_mm())
    found = [
        Measure(f"{width:.0f} mm column, {way}", "width", at, at, width)
        for way, places in (("upright", _UPRIGHT_AT), ("lying", _LYING_AT))
        for width, at in zip(WIDTHS_MM, places, strict=True)
    ]
    return (
        *found,
        Measure("fill along its rows", "sewn", (-half, 0.0), (half, 0.0), SIDE_MM),
        Measure("gap at the left", "gap", (-half, 0.0), (-half, 0.0), 0.0),
        Measure("gap at the right", "gap", (half, 0.0), (half, 0.0), 0.0),
        Measure("crosses below", "marks", (low_left[0], low_left[1]), (low_right[0], low_right[1]), SIDE_MM),
        Measure("crosses above", "marks", (up_left[0], up_left[1]), (up_right[0], up_right[1]), SIDE_MM),
    )


def piece_design() -> Design:
    """Return the test piece: columns first, then the fill, its outline last."""
    parts = [_column(width, at, lying=False) for width, at in zip(WIDTHS_MM, _UPRIGHT_AT, strict=True)]
    parts += [_column(width, at, lying=True) for width, at in zip(WIDTHS_MM, _LYING_AT, strict=True)]
    parts += [_fill(), _outline()]
    points: list[Floats] = []
    kinds: list[int] = []
    for part in parts:
        tied = np.concatenate([_tie(part[:2]), part, _tie(part[-2:][::-1])])
        points += [part[:1], tied, tied[-1:]]
        kinds += [Command.JUMP, *[Command.STITCH] * len(tied), Command.TRIM]
    return Design.from_commands(
        np.round(np.concatenate(points), 1).astype(np.float64),
        np.array(kinds),
        name="test piece",
        threads=(Thread(rgb="#1f4e79"),),
        notes=("A test piece: sew it, measure it, and record it with prehoop sewout add.",),
    )


def is_test_piece(design: Design) -> bool:
    """Say whether a design is the test piece, wherever its file has its origin."""
    own = piece_design().penetrations
    if len(design.penetrations) != len(own):
        return False
    away = design.penetrations - own
    return bool(np.abs(away - away.mean(axis=0)).max() < 0.11)


def _column(width: float, at: tuple[float, float], *, lying: bool) -> Floats:
    """Return a column round ``at``; its stitches lie across it."""
    count = round(LONG_MM / _THREAD_TO_THREAD_MM) + 1
    along = np.linspace(-LONG_MM / 2, LONG_MM / 2, count)
    across = np.where(np.arange(count) % 2 == 0, -width / 2, width / 2)
    columns = (along, across) if lying else (across, along)
    result: Floats = np.column_stack(columns) + np.array(at)
    return result


def _fill() -> Floats:
    half = SIDE_MM / 2
    rows = []
    for number, y in enumerate(np.arange(-half, half + 1e-9, _ROW_MM)):
        inner = np.arange(-half + _STAGGER_MM[number % 4], half, _STITCH_MM)
        inner = inner[(inner > -half + 0.6) & (inner < half - 0.6)]
        xs = np.array([-half, *inner, half])[:: 1 if number % 2 == 0 else -1]
        rows.append(np.column_stack([xs, np.full(len(xs), y)]))
    return np.concatenate(rows)


def _outline() -> Floats:
    half, count = SIDE_MM / 2, round(SIDE_MM / _RUN_MM)
    corners = half * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]])
    steps = np.arange(count)[:, None] / count
    sides = [a + (b - a) * steps for a, b in pairwise(corners)]
    return np.concatenate([*sides, corners[-1:]])


def _tie(ends: Floats) -> Floats:
    """Return tiny stitches at the first of two points, towards the second."""
    way = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    result: Floats = ends[0] + _TIE[:-1, None] * way
    return result
