"""Lettering: satin columns that stand together as letters, and letters that stand in line as a word."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats
from analyzer.goods.constants import constants
from analyzer.regions.types import Lettering, Region, RegionKind

_LEAST_LETTERS = 3


def find_lettering(items: list[Region]) -> tuple[Lettering, ...]:
    """Return the words of a design in sewing order: three letters or more, alike in height, side by side."""
    words: list[list[list[Region]]] = []
    for letter in _letters(items):
        if words and _goes_on(words[-1], letter):
            words[-1].append(letter)
        else:
            words.append([letter])
    found = []
    for word in words:
        heights = _heights(word)
        if len(word) < _LEAST_LETTERS or not _like_letters(word, heights):
            continue
        numbers = tuple(region.id for letter in word for region in letter)
        found.append(Lettering(numbers, float(np.median(heights)), len(word)))
    return tuple(found)


def _letters(items: list[Region]) -> list[list[Region]]:
    """Gather columns of one colour, sewn one after the other, whose boxes touch."""
    letters: list[list[Region]] = []
    for item in items:
        if item.kind is not RegionKind.SATIN or item.width_mm is None:
            continue
        if letters and _touches(letters[-1], item):
            letters[-1].append(item)
        else:
            letters.append([item])
    return letters


def _touches(letter: list[Region], column: Region) -> bool:
    if letter[0].colour != column.colour:
        return False
    slack = 0.6 * min(column.width_mm or 0.0, *(part.width_mm or 0.0 for part in letter))
    x0, y0, x1, y1 = column.bbox_mm
    return any(
        x0 < part.bbox_mm[2] + slack
        and part.bbox_mm[0] < x1 + slack
        and y0 < part.bbox_mm[3] + slack
        and part.bbox_mm[1] < y1 + slack
        for part in letter
    )


def _box(letter: list[Region]) -> Floats:
    """Return the box around a letter, (2, 2): its low and its high corner."""
    boxes = np.array([part.bbox_mm for part in letter])
    return np.stack([boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)])


def _goes_on(word: list[list[Region]], letter: list[Region]) -> bool:
    """Whether a letter stands near the last one of a word and is of like size and weight."""
    last = word[-1]
    if last[0].colour != letter[0].colour:
        return False
    sizes = [float(np.ptp(_box(each), axis=0).max()) for each in (last, letter)]
    apart = float(np.hypot(*(_box(last).mean(axis=0) - _box(letter).mean(axis=0))))
    widths = [float(np.median([part.width_mm or 0.0 for part in each])) for each in (last, letter)]
    table = constants("regions")
    return (
        max(sizes) < table["letters_alike"].value * min(sizes)
        and max(widths) < table["letters_alike"].value * min(widths)
        and apart < table["letters_apart"].value * max(sizes)
    )


def _heights(word: list[list[Region]]) -> Floats:
    """Heights of letters square to the line in which they stand, mm."""
    boxes = np.array([_box(letter) for letter in word])
    middles = boxes.mean(axis=1)
    if len(word) < 2:
        return np.array([boxes[0, 1, 1] - boxes[0, 0, 1]])
    _, _, ways = np.linalg.svd(middles - middles.mean(axis=0))
    across = np.abs(np.array([-ways[0][1], ways[0][0]]))
    sizes = boxes[:, 1] - boxes[:, 0]
    upright = float(across.max()) > 0.95
    heights: Floats = sizes @ across if upright else sizes.max(axis=1)
    return heights


def _like_letters(word: list[list[Region]], heights: Floats) -> bool:
    """Whether columns are as thin as strokes of letters, and letters mostly of one height."""
    table = constants("regions")
    height = float(np.median(heights))
    widths = np.array([part.width_mm or 0.0 for letter in word for part in letter])
    thin = bool(np.median(widths) < table["stroke_part"].value * height)
    even = float((np.abs(heights / height - 1.0) < 0.35).mean()) > 0.6
    return thin and even
