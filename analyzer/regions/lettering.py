"""Lettering: satin columns that stand together as letters, and letters that stand in line as a word."""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from analyzer.arrays import Floats
from analyzer.goods.constants import constants
from analyzer.regions.types import Lettering, Region, RegionKind

_LEAST_LETTERS = 3

_Box: TypeAlias = tuple[float, float, float, float]  # x0, y0, x1, y1


@dataclass(frozen=True, slots=True)
class _Letter:
    """Columns that make one letter, its box and the median of their widths."""

    columns: list[Region]
    box: _Box
    width_mm: float

    @classmethod
    def of(cls, columns: list[Region]) -> _Letter:
        x0, y0, x1, y1 = zip(*(column.bbox_mm for column in columns), strict=True)
        width = statistics.median(column.width_mm or 0.0 for column in columns)
        return cls(columns, (min(x0), min(y0), max(x1), max(y1)), width)

    @property
    def size_mm(self) -> float:
        """The longer side of its box."""
        return max(self.box[2] - self.box[0], self.box[3] - self.box[1])

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of its box, mm."""
        return (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2


def find_lettering(items: list[Region]) -> tuple[Lettering, ...]:
    """Return the words of a design in sewing order: three letters or more, alike in height, side by side."""
    words: list[list[_Letter]] = []
    for columns in _letters(items):
        letter = _Letter.of(columns)
        if words and _goes_on(words[-1][-1], letter):
            words[-1].append(letter)
        else:
            words.append([letter])
    found = []
    for word in words:
        if len(word) < _LEAST_LETTERS:
            continue
        heights = _heights(word)
        if _like_letters(word, heights):
            numbers = tuple(region.id for letter in word for region in letter.columns)
            found.append(Lettering(numbers, float(np.median(heights)), len(word)))
    return tuple(found)


def _letters(items: list[Region]) -> list[list[Region]]:
    """Gather columns of one colour, sewn one after the other, whose boxes touch."""
    letters: list[list[Region]] = []
    thinnest = 0.0
    whole = (0.0, 0.0, 0.0, 0.0)
    for item in items:
        if item.kind is not RegionKind.SATIN or item.width_mm is None:
            continue
        slack = 0.6 * min(item.width_mm, thinnest)
        # Most of what does not touch the letter does not touch its box either.
        if letters and _meet(whole, item.bbox_mm, slack) and _touches(letters[-1], item, slack):
            letters[-1].append(item)
            thinnest = min(item.width_mm, thinnest)
            whole = _around(whole, item.bbox_mm)
        else:
            letters.append([item])
            thinnest = item.width_mm
            whole = item.bbox_mm
    return letters


def _touches(letter: list[Region], column: Region, slack: float) -> bool:
    """Whether the box of a column comes within ``slack`` mm of one of a letter's."""
    if letter[0].colour != column.colour:
        return False
    return any(_meet(part.bbox_mm, column.bbox_mm, slack) for part in reversed(letter))


def _around(a: _Box, b: _Box) -> _Box:
    """Return the box around two boxes."""
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def _meet(a: _Box, b: _Box, slack: float) -> bool:
    """Whether two boxes come within ``slack`` mm of each other."""
    return b[0] < a[2] + slack and a[0] < b[2] + slack and b[1] < a[3] + slack and a[1] < b[3] + slack


def _goes_on(last: _Letter, letter: _Letter) -> bool:
    """Whether a letter stands near the last one of a word and is of like size and weight."""
    if last.columns[0].colour != letter.columns[0].colour:
        return False
    sizes, widths = (last.size_mm, letter.size_mm), (last.width_mm, letter.width_mm)
    table = constants("regions")
    return (
        max(sizes) < table["letters_alike"].value * min(sizes)
        and max(widths) < table["letters_alike"].value * min(widths)
        and math.dist(last.middle, letter.middle) < table["letters_apart"].value * max(sizes)
    )


def _heights(word: list[_Letter]) -> Floats:
    """Heights of letters square to the line in which they stand, mm."""
    boxes = np.array([letter.box for letter in word]).reshape(-1, 2, 2)
    middles = boxes.mean(axis=1)
    _, _, ways = np.linalg.svd(middles - middles.mean(axis=0), full_matrices=False)
    across = np.abs(np.array([-ways[0][1], ways[0][0]]))
    sizes = boxes[:, 1] - boxes[:, 0]
    upright = float(across.max()) > 0.95
    heights: Floats = sizes @ across if upright else sizes.max(axis=1)
    return heights


def _like_letters(word: list[_Letter], heights: Floats) -> bool:
    """Whether columns are as thin as strokes of letters, and letters mostly of one height."""
    table = constants("regions")
    height = float(np.median(heights))
    widths = np.array([part.width_mm or 0.0 for letter in word for part in letter.columns])
    thin = bool(np.median(widths) < table["stroke_part"].value * height)
    even = float((np.abs(heights / height - 1.0) < 0.35).mean()) > 0.6
    return thin and even
