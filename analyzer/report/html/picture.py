"""Small PNG pictures of fields, to be laid over the drawing."""

from __future__ import annotations

import base64
import io

import matplotlib
import numpy as np
import numpy.typing as npt
from matplotlib.colors import Colormap
from PIL import Image

from analyzer.arrays import Floats
from analyzer.laid import Grid
from analyzer.report.html.shape import PER_MM, Sheet

_MOST_PIXELS = 480  # along the longer side


def coloured(sheet: Sheet, grid: Grid, rgba: npt.NDArray[np.uint8]) -> dict[str, str | int]:
    """Return an image (ny, nx, 4) over ``grid``, lowest row first, as a data URI with its place."""
    step = max(1, -(-max(grid.shape) // _MOST_PIXELS))
    shown = np.ascontiguousarray(rgba[::step, ::step][::-1])
    out = io.BytesIO()
    Image.fromarray(shown, "RGBA").save(out, format="png", optimize=True)
    rows, columns = shown.shape[:2]
    cell = grid.cell_mm * step
    left, top = sheet.unit((grid.x0_mm, grid.y0_mm + rows * cell))
    return {
        "href": "data:image/png;base64," + base64.b64encode(out.getvalue()).decode("ascii"),
        "x": left,
        "y": top,
        "width": round(columns * cell * PER_MM),
        "height": round(rows * cell * PER_MM),
    }


def by_scale(values: Floats, scale: str | Colormap, top: float) -> npt.NDArray[np.uint8]:
    """Return ``values`` (ny, nx) from 0 to ``top`` as colours of a scale (ny, nx, 4); nan is clear."""
    colours = matplotlib.colormaps[scale] if isinstance(scale, str) else scale
    share = np.clip(np.nan_to_num(values) / max(top, 1e-9), 0.0, 1.0)
    rgba: npt.NDArray[np.uint8] = np.round(255.0 * np.asarray(colours(share))).astype(np.uint8)
    rgba[np.isnan(values)] = 0
    return rgba
