"""How a design lies in a hoop's sewing field, for hoop-too-small and near-hoop-edge."""

from __future__ import annotations

import numpy as np

from analyzer.design import Design
from analyzer.goods.types import Hoop


def clearance_mm(design: Design, hoop: Hoop) -> tuple[float, tuple[float, float]]:
    """Return the least distance from a penetration to the edge of the field, and where.

    It is negative for a penetration outside. The design lies in the middle of the hoop. In an oval the
    distance is taken along the ray from the middle.
    """
    x0, y0, x1, y1 = design.bounds_mm
    centred = design.penetrations - ((x0 + x1) / 2, (y0 + y1) / 2)
    half = np.array([hoop.width_mm / 2, hoop.height_mm / 2])
    if hoop.shape == "oval":
        radius = np.hypot(*centred.T)
        relative = np.hypot(*(centred / half).T)
        # on the ray through a point the edge lies at radius / relative
        clear = np.where(relative > 0, radius / np.maximum(relative, 1e-12) - radius, half.min())
    else:
        clear = np.minimum(*(half - np.abs(centred)).T)
    worst = int(np.argmin(clear))
    at = design.penetrations[worst]
    return float(clear[worst]), (float(at[0]), float(at[1]))
