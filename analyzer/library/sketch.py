"""A sketch of a design by which it is known again: in another size, turned, mirrored, in other colours.

The thread is spread over a polar raster about its own centre of gravity, in units of its own radius of
gyration, so that place and size no longer matter. Of every ring the magnitudes of the angular harmonics are
kept: a turn changes only their phases, and a mirror image has the same magnitudes (derived: the Fourier shift
and conjugation rules).
"""

from __future__ import annotations

import numpy as np
from scipy import sparse

from analyzer.arrays import Bytes, Floats, Ints, frozen
from analyzer.design import Design

RINGS, HARMONICS = 12, 10
_REACH = 2.4  #: outermost ring, radii of gyration
_STEP = 0.04  #: longest piece of thread that is spread as one point, radii of gyration
_LONGEST = 3.0  #: stitches longer than so many radii are no drawing
SIZE = RINGS * HARMONICS
_CHUNK = 8192  #: sketches compared at a time, so that they stay in the cache


def sketch(design: Design) -> Floats:
    """Return the sketch of a design, (SIZE,) float64 of unit length; zeros where there is nothing to see."""
    ends = np.flatnonzero(design.joined & ~design.jumped)  # thread carried over by a jump is no drawing
    if not ends.size:
        return frozen(np.zeros(SIZE))
    a, b = design.penetrations[ends - 1], design.penetrations[ends]
    length = np.hypot(*(b - a).T)
    middle = (a + b) / 2
    total = length.sum()
    if total <= 0.0:
        return frozen(np.zeros(SIZE))
    centre = length @ middle / total
    # of a straight piece about its middle: its own second moment is length^2 / 12
    arm = middle - centre
    radius = np.sqrt(length @ (np.einsum("ij,ij->i", arm, arm) + length**2 / 12.0) / total)
    if radius <= 0.0:
        return frozen(np.zeros(SIZE))
    a, b, length = (a - centre) / radius, (b - centre) / radius, length / radius
    kept = length < _LONGEST
    length = length[kept]
    parts = np.maximum(1, np.ceil(length / _STEP)).astype(np.int64)
    x, y = spread_along(a[kept], b[kept], parts)
    return frozen(_harmonics(x, y, np.repeat(length / parts, parts)))


def spread_along(a: Floats, b: Floats, parts: Ints) -> tuple[Floats, Floats]:
    """Return x and y (n,) of the middles of ``parts`` (k,) equal parts of the stitches from a to b (k, 2)."""
    first = np.repeat(np.cumsum(parts) - parts, parts)
    share = (np.arange(len(first)) - first + 0.5) * np.repeat(1.0 / parts, parts)
    x, y = (
        np.repeat(begin, parts) + share * np.repeat(step, parts)
        for begin, step in zip(a.T, (b - a).T, strict=True)
    )
    return x, y


def _harmonics(x: Floats, y: Floats, weights: Floats) -> Floats:
    """Return the magnitudes of the angular harmonics of each ring, of unit length in all."""
    away = np.sqrt(x * x + y * y)
    place = np.minimum(away / _REACH, 1.0) * (RINGS - 1)
    low = np.minimum(place.astype(np.int64), RINGS - 2)
    upper = place - low
    turn = (x + 1j * y) / np.maximum(away, 1e-12)
    waves = np.ones((len(x), HARMONICS), dtype=np.complex128)
    for order in range(1, HARMONICS):
        np.multiply(waves[:, order - 1], turn, out=waves[:, order])
    # each point goes to the two rings that it lies between
    shares = (weights[:, None] * np.stack([1.0 - upper, upper], axis=1)).ravel()
    ends = np.arange(0, 2 * len(x) + 1, 2)
    rings = sparse.csc_array((shares, np.stack([low, low + 1], axis=1).ravel(), ends), (RINGS, len(x)))
    out = np.abs(np.asarray(rings @ waves))
    # the root evens out how much a few heavy rings weigh
    flat = np.sqrt(out.ravel() / max(out[:, 0].sum(), 1e-12))
    unit: Floats = flat / max(float(np.linalg.norm(flat)), 1e-12)
    return unit


def packed(values: Floats) -> bytes:
    """Return a sketch in one byte a number, as the design book keeps it."""
    return np.round(np.clip(values, 0.0, 1.0) * 255.0).astype(np.uint8).tobytes()


def distances(one: Floats, many: Bytes) -> Floats:
    """Return how far (n,) a sketch (SIZE,) is from each of ``many`` (n, SIZE) uint8, as the book keeps them.

    0 is the same, the square root of 2 nothing in common: the distance of both as vectors of unit length.
    """
    own = np.round(np.clip(one, 0.0, 1.0) * 255.0).astype(np.float32)
    apart = np.empty(len(many))
    for begin in range(0, len(many), _CHUNK):
        part = many[begin : begin + _CHUNK].astype(np.float32)
        lengths = np.sqrt(np.einsum("ij,ij->i", part, part)) * max(float(np.linalg.norm(own)), 1e-6)
        apart[begin : begin + _CHUNK] = 2.0 - 2.0 * (part @ own) / np.maximum(lengths, 1e-6)
    return np.sqrt(np.maximum(apart, 0.0))
