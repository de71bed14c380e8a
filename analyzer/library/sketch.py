"""A sketch of a design by which it is known again: in another size, turned, mirrored, in other colours.

The thread is spread over a polar raster about its own centre of gravity, in units of its own radius of
gyration, so that place and size no longer matter. Of every ring the magnitudes of the angular harmonics are
kept: a turn changes only their phases, and a mirror image has the same magnitudes (derived: the Fourier shift
and conjugation rules).
"""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Bytes, Floats, frozen
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
    centre = (length[:, None] * middle).sum(axis=0) / total
    # of a straight piece about its middle: its own second moment is length^2 / 12
    radius = np.sqrt((length * (((middle - centre) ** 2).sum(axis=1) + length**2 / 12.0)).sum() / total)
    if radius <= 0.0:
        return frozen(np.zeros(SIZE))
    a, b, length = (a - centre) / radius, (b - centre) / radius, length / radius
    kept = length < _LONGEST
    points, weights = _spread(a[kept], b[kept], length[kept])
    return frozen(_harmonics(points, weights))


def _spread(a: Floats, b: Floats, length: Floats) -> tuple[Floats, Floats]:
    """Return points (n, 2) along the stitches and how much thread each stands for (n,)."""
    parts = np.maximum(1, np.ceil(length / _STEP)).astype(np.int64)
    stitch = np.repeat(np.arange(len(parts)), parts)
    within = np.arange(len(stitch)) - np.repeat(np.cumsum(parts) - parts, parts)
    share = (within + 0.5) / parts[stitch]
    return a[stitch] + share[:, None] * (b - a)[stitch], (length / parts)[stitch]


def _harmonics(points: Floats, weights: Floats) -> Floats:
    """Return the magnitudes of the angular harmonics of each ring, of unit length in all."""
    place = np.minimum(np.hypot(*points.T) / _REACH, 1.0) * (RINGS - 1)
    low = np.minimum(place.astype(np.int64), RINGS - 2)
    upper = place - low
    turn = (points[:, 0] + 1j * points[:, 1]) / np.maximum(np.hypot(*points.T), 1e-12)
    out = np.empty((RINGS, HARMONICS))
    wave = np.ones(len(points), dtype=np.complex128)
    for order in range(HARMONICS):
        ring = np.zeros(RINGS, dtype=np.complex128)
        for part, share in ((low, 1.0 - upper), (low + 1, upper)):
            weight = weights * share
            ring += np.bincount(part, weights=weight * wave.real, minlength=RINGS)
            ring += 1j * np.bincount(part, weights=weight * wave.imag, minlength=RINGS)
        out[:, order] = np.abs(ring)
        wave = wave * turn
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
