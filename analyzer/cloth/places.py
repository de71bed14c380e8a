"""Bare places on a fine raster: found as runs of pixels, labelled, and grown back to the threads round them.

Most of a raster is either stitched or lies outside, so nothing here looks at every pixel more than once: a
place is a list of runs along the raster's rows, and only the pixels of places are ever numbered.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, distinct, parts
from analyzer.cloth.nearby import expanded

_Longs = npt.NDArray[np.int64]
_Labels = npt.NDArray[np.int32]

_MOST_PIXELS = 300_000  #: of runs that are spelled out at a time
_ROW_PIXELS = 1_000_000  #: of a mask looked at at a time


@dataclass(frozen=True, slots=True)
class Runs:
    """Stretches of pixels along the rows of a raster, in rising order: flat pixels ``start`` .. ``stop - 1``.

    ``label`` (n,) tells which place each belongs to, from 0; there are ``count``.
    """

    start: _Longs
    stop: _Longs
    label: _Longs
    count: int

    @classmethod
    def of(cls, mask: Bools) -> Runs:
        """Find the runs of ``mask`` (ny, nx); places are what hangs together along rows and columns.

        They are numbered in the order in which their first pixels come. The first column is not looked at.
        """
        nx = mask.shape[1]
        starts, stops = [], []
        rows = max(1, _ROW_PIXELS // nx)
        for first in range(0, len(mask), rows):
            part = mask[first : first + rows].copy()
            part[:, 0] = False
            flat = part.ravel()
            change = np.flatnonzero(flat[1:] != flat[:-1]) + (1 + first * nx)
            # A run that ends with its row is followed by the next row's bare first column, but for the last.
            if flat[-1]:
                change = np.append(change, (first + len(part)) * nx)
            starts.append(change[::2])
            stops.append(change[1::2])
        start, stop = np.concatenate(starts), np.concatenate(stops)
        count, label = _joined(start, stop, nx)
        return cls(start, stop, label, count)

    def touching(self, shape: tuple[int, int]) -> Bools:
        """Return which places reach the border of the raster (ny, nx), or its second column; (count,)."""
        ny, nx = shape
        at_side = (self.start % nx == 1) | (self.stop % nx == 0)
        found = np.zeros(self.count, dtype=np.bool_)
        found[self.label[at_side | (self.start < nx) | (self.stop > (ny - 1) * nx)]] = True
        return found

    def renumbered(self, kept: Bools) -> Runs:
        """Return the places that are ``kept`` (count,), numbered anew."""
        number = np.cumsum(kept) - 1
        chosen = kept[self.label]
        return Runs(
            self.start[chosen], self.stop[chosen], number[self.label[chosen]], int(np.count_nonzero(kept))
        )

    def labels_at(self, pixel: _Longs) -> _Longs:
        """Return the places that flat pixels (n,) belong to, -1 where to none."""
        run = np.searchsorted(self.start, pixel, side="right") - 1
        found: _Longs = np.where((run >= 0) & (pixel < self.stop[run]), self.label[run], -1)
        return found

    def pixels(self) -> Iterator[tuple[_Longs, _Longs]]:
        """Yield flat pixels, rising, and the places that they belong to, some at a time."""
        length = self.stop - self.start
        total = np.cumsum(length)
        begin = 0
        while begin < length.size:
            done = int(total[begin - 1]) if begin else 0
            end = max(begin + 1, int(np.searchsorted(total, done + _MOST_PIXELS)))
            of, rank = expanded(length[begin:end])
            yield self.start[begin:end][of] + rank, self.label[begin:end][of]
            begin = end


def _joined(start: _Longs, stop: _Longs, nx: int) -> tuple[int, _Longs]:
    """Join runs that lie over one another in neighbouring rows; return how many places, and whose each is."""
    first = np.searchsorted(stop, start + nx, side="right")
    last = np.searchsorted(start, stop + nx, side="left")
    run, rank = expanded(np.maximum(last - first, 0))
    return parts(run, first[run] + rank, start.size)


@dataclass(frozen=True, slots=True)
class Places:
    """Bare places on a raster: ``labels`` (ny, nx) holds their numbers from 1, 0 elsewhere.

    ``box`` (count, 4) are first row and column of each and those after its last, ``area_px`` (count,) its
    pixels, ``rim`` (n,) flat pixels of places with something else beside them, rising.
    """

    labels: _Labels
    box: _Longs
    area_px: Floats
    rim: _Longs

    @classmethod
    def of(cls, shape: tuple[int, int], *found: Runs) -> Places:
        """Number the places of all ``found``, one after another; of two that overlap the later one counts."""
        labels = np.zeros(shape, dtype=np.int32)
        flat, nx = labels.ravel(), shape[1]
        count = sum(runs.count for runs in found)
        box = np.zeros((count, 4), dtype=np.int64)
        box[:, :2] = max(shape)
        done = 0
        for runs in found:
            for pixel, label in runs.pixels():
                flat[pixel] = label + (done + 1)
            row, column = np.divmod(runs.start, nx)
            whose = runs.label + done
            for low, value in ((0, row), (1, column)):
                np.minimum.at(box[:, low], whose, value)
            for high, value in ((2, row + 1), (3, column + (runs.stop - runs.start))):
                np.maximum.at(box[:, high], whose, value)
            done += runs.count
        area = np.zeros(count + 1)
        edges = []
        for runs in found:
            for pixel, _ in runs.pixels():
                area += np.bincount(flat[pixel], minlength=count + 1)
                inner = flat[pixel + 1] > 0
                for step in (-1, nx, -nx):
                    inner &= flat[pixel + step] > 0
                edges.append(pixel[~inner])
        rim = np.concatenate(edges) if edges else np.zeros(0, dtype=np.int64)
        return cls(labels, box, area[1:], distinct(rim))

    def grown(self, covered: Bools, times: int) -> Places:
        """Grow the places back over bare pixels, ``times`` pixels far; the labels are changed in place.

        ``rim`` then holds the pixels of every step: all that may have covered ones beside them.
        """
        labels, count = self.labels, len(self.box)
        flat, cover = labels.ravel(), covered.ravel()
        nx = labels.shape[1]
        around = np.array([dy * nx + dx for dy in (-1, 0, 1) for dx in (-1, 0, 1) if dy or dx])
        area = np.append(0.0, self.area_px)
        edge = self.rim
        found = [edge]
        for _ in range(times):
            beside = edge[:, None] + around
            bare = (flat[beside] == 0) & ~cover[beside]
            whose = np.broadcast_to(flat[edge][:, None], beside.shape)[bare]
            beside = beside[bare]
            np.maximum.at(flat, beside, whose)
            edge = distinct(beside)
            area += np.bincount(flat[edge], minlength=count + 1)
            found.append(edge)
        return Places(labels, self.box, area[1:], np.sort(np.concatenate(found)))
