"""Pull compensation: what an outline borders reaches further under it."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from analyzer.design import Command, Design
from analyzer.goods.constants import constants
from analyzer.regions.types import OutlinePair, Region


def widened(design: Design, pair: OutlinePair, border: Region, amount_mm: float) -> Design | None:
    """Return the design with ``border`` reaching ``amount_mm`` further out along ``pair``.

    Penetrations on the edge move by the whole amount square to it, those inside by less, down to nothing a
    few rows in; so rows that end at the edge get longer and rows along it spread a little. None where no
    penetration lies near the edge.
    """
    table = constants("changes")
    own = np.arange(border.first, border.last + 1)
    points = design.penetrations[own]
    away, station = cKDTree(pair.edge).query(points)
    normal = pair.normal[station]
    depth = np.maximum(0.0, -np.einsum("ij,ij->i", points - pair.edge[station], normal))
    aside = np.sqrt(np.maximum(0.0, away**2 - depth**2))
    band = max(table["band_mm"].value, table["band_rows"].value * (border.row_spacing_mm or 0.0))
    share = np.clip(1.0 - depth / band, 0.0, 1.0) * np.clip(2.0 - aside / table["along_mm"].value, 0.0, 1.0)
    if not (share > 0.5).any():
        return None
    shift = np.zeros_like(design.penetrations)
    shift[own] = amount_mm * share[:, None] * normal
    points = design.points.copy()
    points[design.kinds == Command.STITCH] += shift
    return Design.from_commands(
        points,
        design.kinds,
        name=design.name,
        format=design.format,
        threads=design.threads,
        notes=design.notes,
    )
