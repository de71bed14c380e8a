"""Fills of curved rows: spirals, contours, waves, whose rows are stretches of one unbroken line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import ndimage

from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, main_direction
from analyzer.regions.sewn import Sewn
from analyzer.regions.strokes import Strokes

_CELL_MM = 0.5
_STEP_MM = 0.25
_INNER_CELLS = 5  #: a place is inside a fill where a square of so many cells around it is laid


def curved_rows(sewn: Sewn, strokes: Strokes, piece: Piece) -> Piece:
    """Return a line as a band of curved rows where it lays an area, else as it is.

    The line is laid into cells, and slits up to a millimetre between its turns are closed. Inside a fill
    everything around is laid; along a line, sewn however often, it is not. The spacing is the area inside
    for each millimetre of thread there.
    """
    table = constants("regions")
    if piece.shape != "line" or piece.path_mm(sewn) < table["curves_mm"].value:
        return piece
    points, stitch = sewn.finely(piece.first, piece.last, _STEP_MM)
    index = np.floor((points - points.min(axis=0)) / _CELL_MM + 3.37).astype(np.int64)
    nx, ny = (index.max(axis=0) + 5).tolist()
    cell = index[:, 1] * nx + index[:, 0]
    laid = np.zeros(ny * nx, dtype=np.bool_)
    laid[cell] = True
    closed = ndimage.maximum_filter(laid.reshape(ny, nx), 3)
    inner = ndimage.minimum_filter(closed, _INNER_CELLS + 2).ravel()
    inside = inner[cell]
    if inside.mean() < table["curves_share"].value:
        return piece
    length = sewn.lengths_mm[piece.first : piece.last + 1]
    count = np.bincount(stitch - piece.first)
    each = length / np.maximum(count, 1)
    spacing = float(inner.sum() * _CELL_MM**2 / each[stitch - piece.first][inside].sum())
    if spacing < table["retrace_mm"].value:
        return piece
    first, stop = np.searchsorted(strokes.first, [piece.first - 1, piece.last])
    rows = np.arange(first, stop, dtype=np.int32)
    return replace(
        piece, shape="curves", strokes=rows, spacing_mm=spacing, direction_deg=main_direction(strokes, rows)
    )
