"""Pull-in: how far the stitched cloth is drawn together, nominally."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from analyzer.arrays import Bools, Floats
from analyzer.goods.constants import constants
from analyzer.mechanics.drift import drift_and_whole
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.types import PullIn

_TAIL = 0.02  # share of the stitches that make up each end of the stitched extent


def principal_strains(strain: Floats) -> tuple[Floats, Floats]:
    """Smallest and largest principal strain of ``strain`` (..., 3) with engineering shear."""
    middle = 0.5 * (strain[..., 0] + strain[..., 1])
    radius = np.hypot(0.5 * (strain[..., 0] - strain[..., 1]), 0.5 * strain[..., 2])
    return middle - radius, middle + radius


def stitched(layout: Layout) -> Bools:
    """Cells (cells,) through which thread runs."""
    result = np.zeros(layout.grid.nx * layout.grid.ny, dtype=np.bool_)
    result[layout.cell] = layout.ties[:, 0, 0] + layout.ties[:, 1, 1] > 0
    return result


def pull_in(
    layout: Layout,
    states: Floats,
    penetrations: Floats,
    loaded: Bools,
    visible: Bools,
    weight: Floats,
    forming: Floats | None = None,
) -> tuple[PullIn, Floats]:
    """Measure variant 0 of ``states`` (v, blocks + 1, nodes, 2) and of ``forming`` (v, blocks).

    ``loaded`` (m,) marks the penetrations of stitches that pull, ``visible`` (m,) those not hidden under
    others; ``weight`` (n, 3) are the pulling stitches' length times their direction (1, cos 2a, sin 2a). Also
    returns the drift (m, 2) mm of every penetration.
    """
    one = states[:1]
    numbers = np.arange(len(penetrations), dtype=np.int32)
    moved, whole = (
        each[0]
        for each in drift_and_whole(
            layout, one, penetrations, numbers, None if forming is None else forming[:1]
        )
    )
    used = np.flatnonzero(loaded)
    seen = np.flatnonzero(visible & loaded) if (visible & loaded).any() else used
    largest = seen[np.hypot(*moved[seen].T).argmax()]
    angle = 0.5 * np.arctan2(weight[:, 2].sum(), weight[:, 1].sum())
    along, across = (
        _shortening(penetrations[seen], moved[seen], np.array(direction))
        for direction in ((np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle)))
    )
    max_mm = float(np.hypot(*whole[used].T).max())
    strain = strain_p95(layout, one[0, -1])
    result = PullIn(
        max_mm=max_mm,
        visible_mm=float(np.hypot(*moved[largest])),
        at=(float(penetrations[largest, 0]), float(penetrations[largest, 1])),
        along_mm=along,
        across_mm=across,
        reach_mm=_reach(layout, one[0, -1], max_mm),
        strain_p95=strain,
        beyond_range=strain > constants("limits")["strain_p95"].value,
    )
    return result, moved


def strain_p95(layout: Layout, u: Floats) -> float:
    """95th percentile over stitched cells of the largest averaged strain under ``u`` (nodes, 2) mm."""
    low, high = principal_strains(_averaged_strain(layout, u))
    return float(np.percentile(np.maximum(np.abs(low), np.abs(high))[stitched(layout)], 95))


def _averaged_strain(layout: Layout, u: Floats) -> Floats:
    """Strain (cells, 3) averaged over the window of the mechanics' table.

    The cell that holds a single line of stitching strains the more the smaller it is; averaged over more
    than a stitch length, the strain belongs to the stitching and not to the grid.
    """
    strain = layout.lattice.strain(_nodal(layout, u)).reshape(*layout.grid.shape, 3)
    window = max(1, round(constants("mechanics")["strain_window_mm"].value / layout.grid.cell_mm))
    averaged: Floats = ndimage.uniform_filter(strain, size=(window, window, 1), mode="nearest")
    return averaged.reshape(-1, 3)


def _nodal(layout: Layout, flat: Floats) -> Floats:
    """Nodal values (ny+1, nx+1, 2) from (nodes, 2)."""
    return flat.reshape(layout.grid.ny + 1, layout.grid.nx + 1, 2)


def _shortening(points: Floats, moved: Floats, direction: Floats) -> float:
    """Loss of the extent along ``direction`` by the drift of its two ends, mm."""
    place, shift = points @ direction, moved @ direction
    low, high = np.quantile(place, (_TAIL, 1.0 - _TAIL))
    return float(shift[place <= low].mean() - shift[place >= high].mean())


def _reach(layout: Layout, u: Floats, max_mm: float) -> float:
    """Largest distance from stitched cells at which the cloth still moves by a tenth of ``max_mm``."""
    if max_mm <= 0:
        return 0.0
    corners = u[layout.lattice.corners]
    moves = np.hypot(*corners.mean(axis=1).T).reshape(layout.grid.shape) > 0.1 * max_mm
    away = ndimage.distance_transform_edt(~stitched(layout).reshape(layout.grid.shape)) * layout.grid.cell_mm
    return float(away[moves].max(initial=0.0))
