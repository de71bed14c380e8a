"""Colour scales of the cloth maps: even to the eye, and told apart without red and green.

Amounts go by matplotlib's viridis and cividis. Signed amounts go by two arms of equal steps in CIELAB from a
pale middle at zero: amber for more, violet for less. Both arms darken alike, so a map must tell the sign by
shape as well.
"""

from __future__ import annotations

from functools import cache

import matplotlib
import numpy as np
from matplotlib.colors import LinearSegmentedColormap, to_hex

from analyzer.arrays import Floats

_ZERO_L, _END_L, _CHROMA = 90.0, 36.0, 42.0
_MORE_DEG, _LESS_DEG = 68.0, 296.0  # hue angles in CIELAB
_WHITE = np.array([0.95047, 1.0, 1.08883])  # D65, CIE 15
_TO_RGB = np.array(  # XYZ to linear sRGB, IEC 61966-2-1
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)


def lab_to_rgb(lab: Floats) -> Floats:
    """Return sRGB (n, 3), 0-1, of CIELAB (n, 3) under D65 (CIE 15; IEC 61966-2-1), clipped."""
    fy = (lab[:, 0] + 16.0) / 116.0
    f = np.stack([fy + lab[:, 1] / 500.0, fy, fy - lab[:, 2] / 200.0], axis=1)
    xyz = _WHITE * np.where(f > 6.0 / 29.0, f**3, 3.0 * (6.0 / 29.0) ** 2 * (f - 4.0 / 29.0))
    linear = np.clip(xyz @ _TO_RGB.T, 0.0, 1.0)
    rgb: Floats = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1.0 / 2.4) - 0.055)
    return np.clip(rgb, 0.0, 1.0)


def signed_lab(count: int = 257) -> Floats:
    """Return the signed scale in CIELAB (count, 3), from most negative to most positive."""
    share = np.linspace(-1.0, 1.0, count)
    hue = np.radians(np.where(share < 0.0, _LESS_DEG, _MORE_DEG))
    chroma = _CHROMA * np.abs(share)
    lightness = _ZERO_L + (_END_L - _ZERO_L) * np.abs(share)
    return np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)], axis=1)


@cache
def signed() -> LinearSegmentedColormap:
    """Return the scale for signed amounts, its middle at zero."""
    return LinearSegmentedColormap.from_list("prehoop-signed", lab_to_rgb(signed_lab()).tolist(), N=257)


@cache
def amounts() -> LinearSegmentedColormap:
    """Return a scale for amounts that fade into the cloth: pale to deep violet in equal steps."""
    share = np.linspace(0.0, 1.0, 257)
    hue = np.radians(_LESS_DEG)
    lab = np.stack([96.0 - 68.0 * share, 46.0 * share * np.cos(hue), 46.0 * share * np.sin(hue)], axis=1)
    return LinearSegmentedColormap.from_list("prehoop-amounts", lab_to_rgb(lab).tolist(), N=257)


def sampled(name: str, count: int, first: float = 0.85, last: float = 0.1) -> list[str]:
    """Return ``count`` tones of one of matplotlib's scales, by default light to dark."""
    return [to_hex(colour) for colour in matplotlib.colormaps[name](np.linspace(first, last, count))]
