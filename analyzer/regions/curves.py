"""Fills of curved rows: spirals and contours, whose neighbouring rows are turns of one unbroken line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from analyzer.design import Design
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, path_mm, samples
from analyzer.regions.strokes import Strokes

_STEP_MM = 0.5
_NEIGHBOURS = 10  #: nearest samples looked at: four of the same turn, the rest of the turns to either side
_SAME_TURN_MM = 2.5  #: samples nearer than this along the line are of the same turn
_PARALLEL = 0.85


def curved_rows(design: Design, strokes: Strokes, piece: Piece) -> Piece:
    """Return a line as a band of curved rows where its turns lie side by side, else as it is."""
    table = constants("regions")
    if piece.shape != "line" or path_mm(design, piece) < table["curves_mm"].value:
        return piece
    points, _ = samples(design, piece.first, piece.last, _STEP_MM)
    tangent = np.gradient(points, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    limit = table["dense_fill_mm"].value
    found = cKDTree(points).query(points, k=min(_NEIGHBOURS, len(points)), distance_upper_bound=limit)
    other = np.asarray(found[1])
    here = np.arange(len(points))[:, None]
    known = other < len(points)
    other = np.where(known, other, here)
    alongside = np.abs(np.einsum("ik,ijk->ij", tangent, tangent[other])) > _PARALLEL
    good = known & alongside & (np.abs(other - here) > _SAME_TURN_MM / _STEP_MM)
    gap = points[other] - points[here]
    across = np.abs(gap[..., 0] * tangent[:, None, 1] - gap[..., 1] * tangent[:, None, 0])
    nearest = np.where(good, across, np.inf).min(axis=1)
    beside = np.isfinite(nearest)
    if beside.mean() < table["curves_share"].value:
        return piece
    spacing = float(np.median(nearest[beside]))
    if spacing < table["retrace_mm"].value:
        return piece
    inside = (strokes.first >= piece.first - 1) & (strokes.last <= piece.last)
    return replace(piece, shape="curves", strokes=np.flatnonzero(inside).astype(np.int32), spacing_mm=spacing)
