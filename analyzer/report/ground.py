"""The cloth that a design is drawn on: a faint likeness of its surface, in its colour or in grey."""

from __future__ import annotations

import numpy as np
from matplotlib.colors import to_rgb
from scipy.ndimage import gaussian_filter

from analyzer.arrays import Bytes, Floats
from analyzer.goods.types import Cloth
from analyzer.pipeline import Checked

UNKNOWN = "#dedede"  #: a cloth whose colour is not known
_DEPTH = 0.045  # of the likeness, as a share of the lightness
_LEVELS = 6  # of grey: few, so that pictures stay small
_PITCH_MM = {"knit": 0.9, "woven": 0.6, "net": 1.2}
_BLOB_MM = {"pile-knit": 0.7, "pile-woven": 0.9, "nonwoven": 0.5, "leather": 0.4}


def ground_colour(checked: Checked) -> str:
    """Return the colour of the goods, grey where it is not known."""
    return checked.job.colour or UNKNOWN


def surface(cloth: Cloth | None, colour: str, view: tuple[float, float, float, float], pixels: int) -> Bytes:
    """Return the cloth over ``view`` (x0, x1, y0, y1 mm) as an image (ny, nx, 3), lowest row first.

    Loops, a weave or a pile are told by the family of the cloth; where there is none it is plain.
    """
    x0, x1, y0, y1 = view
    step = max(x1 - x0, y1 - y0) / pixels
    x, y = np.arange(x0, x1, step), np.arange(y0, y1, step)
    relief = _relief(cloth, x, y, step)
    level = np.round((relief + 1.0) / 2.0 * (_LEVELS - 1)) / (_LEVELS - 1) * 2.0 - 1.0
    base = np.array(to_rgb(colour))
    shaded = np.clip(base * (1.0 + _DEPTH * level[:, :, None]) + 0.012 * level[:, :, None], 0.0, 1.0)
    return np.round(shaded * 255.0).astype(np.uint8)


def _relief(cloth: Cloth | None, x: Floats, y: Floats, step: float) -> Floats:
    """Return the height of the surface (ny, nx), -1 to 1; flat where it would be finer than pixels."""
    flat = np.zeros((len(y), len(x)))
    if cloth is None:
        return flat
    pitch, blob = _PITCH_MM.get(cloth.family, 0.0), _BLOB_MM.get(cloth.family, 0.0)
    if pitch > 4.0 * step:
        across = x[None, :] / pitch
        if cloth.family == "knit":  # wales: columns of small v
            slant = np.abs(across % 1.0 - 0.5)
            return 0.6 * np.cos(2.0 * np.pi * (y[:, None] / (0.8 * pitch) + slant)) - 0.4 * np.cos(
                2.0 * np.pi * across
            ) * np.ones((len(y), 1))
        return np.sin(np.pi * across * 2.0) * np.sin(np.pi * y[:, None] / pitch * 2.0)
    if blob > 3.0 * step:
        noise = np.random.default_rng(0).standard_normal(flat.shape)
        soft = gaussian_filter(noise, blob / step / 2.5)
        clipped: Floats = np.clip(soft / (2.0 * soft.std()), -1.0, 1.0)
        return clipped
    return flat
