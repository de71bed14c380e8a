"""The law of one stitch: how hard it pulls on the smeared cloth, by kind of stitch and by stack.

While a stitch is drawn tight the take-up holds a constant force F; the cloth gives, the stitch locks as a
stiff tie. Smeared over a grid, the neighbours that lock before it and the cell's own size change what it
must pull to bring the penetrations as close as they really come: ``amp``. The coefficients stand in
``stitch_law.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from analyzer.arrays import Bytes, Floats
from analyzer.goods.constants import constants


class StitchClass(IntEnum):
    """Which form of the law a stitch follows."""

    FILL = 0  #: rows and running stitch
    SATIN = 1  #: the thread turns back at both ends
    SHORT = 2  #: too short for the law


@dataclass(frozen=True, slots=True)
class Stitches:
    """What the law needs to know of n stitches; ``spacing_mm`` is NaN for a lone line."""

    length_mm: Floats
    direction: Floats  #: (n, 2) unit vectors
    kind: Bytes  #: StitchClass
    spacing_mm: Floats


@dataclass(frozen=True, slots=True)
class Pull:
    """The parameters of the law, one entry for each of v variants of a stack."""

    membrane: Floats  #: (v, 3, 3) N/m of the whole stack, unperforated
    thread_stiffness_n: Floats  #: (v,)
    lock_share: Floats  #: (v,)
    pull_n: float
    radius_mm: float  #: of the penetration: half the needle's blade


def compliance(membrane: Floats) -> Floats:
    """Matrix M (v, 2, 2) in mm/N such that n.M.n is the give of the sheet to a pair of opposite point forces.

    ``M = 1/(4 pi^2) * integral over 0..2 pi of Gamma(theta)^-1``, Gamma the acoustic tensor ``k.C.k`` of
    the sheet: the angular part of the plane Green's function (Kelvin's problem; isotropic: (1+nu)(3-nu)/(4
    pi Eh) n.n). The rule of equal weights converges exponentially for a smooth periodic integrand.
    """
    theta = np.arange(128) * (np.pi / 128)  # Gamma has period pi
    c, s, zero = np.cos(theta), np.sin(theta), np.zeros(128)
    B = np.array([[c, zero], [zero, s], [s, c]]).transpose(2, 0, 1)
    gamma = np.einsum("tia,vij,tjb->vtab", B, membrane / 1000.0, B)
    mean: Floats = np.linalg.inv(gamma).mean(axis=1) / (2.0 * np.pi)
    return mean


def tension(stitches: Stitches, pull: Pull, cell_mm: float) -> Floats:
    """Pull (v, n) in N that each stitch puts on a grid of ``cell_mm``, for each variant of the stack."""
    whole, slipping = tension_parts(stitches, pull, cell_mm)
    result: Floats = whole - slipping * (1.0 - pull.lock_share[:, None])
    return result


def tension_parts(stitches: Stitches, pull: Pull, cell_mm: float) -> tuple[Floats, Floats]:
    """Pull (v, n) in N with nothing lost at locking, and the part of it that goes with what is left then."""
    whole = np.full((len(pull.membrane), len(stitches.length_mm)), pull.pull_n)
    slipping = whole.copy()
    M, n = compliance(pull.membrane), stitches.direction
    squares = np.stack([n[:, 0] ** 2, n[:, 1] ** 2, 2.0 * n[:, 0] * n[:, 1]])
    y = pull.thread_stiffness_n[:, None] * (np.stack([M[:, 0, 0], M[:, 1, 1], M[:, 0, 1]], axis=1) @ squares)
    for kind, parts in ((StitchClass.FILL, _fill), (StitchClass.SATIN, _satin)):
        own = np.flatnonzero(stitches.kind == kind)
        amp, rigid = parts(_some(stitches, own), y[:, own], pull.radius_mm, cell_mm)
        amp *= pull.pull_n
        whole[:, own], slipping[:, own] = amp, amp * (1.0 - rigid)
    return whole, slipping


def _some(stitches: Stitches, own: np.ndarray[tuple[int], np.dtype[np.intp]]) -> Stitches:
    """Return some of the stitches."""
    return Stitches(
        length_mm=stitches.length_mm[own],
        direction=stitches.direction[own],
        kind=stitches.kind[own],
        spacing_mm=stitches.spacing_mm[own],
    )


def _law() -> dict[str, float]:
    return {name: entry.value for name, entry in constants("stitch_law").items()}


def _fill(some: Stitches, y: Floats, radius_mm: float, cell_mm: float) -> tuple[Floats, Floats]:
    """``amp`` and its rigid share, both (v, n), of rows and runs; ``y`` (v, n) mm is EA0 times give."""
    law, length = _law(), np.maximum(some.length_mm, 1e-6)
    spacing = np.where(np.isnan(some.spacing_mm), cell_mm, some.spacing_mm)
    reach = law["fill_reach"] * length / radius_mm * (y / spacing) ** law["fill_spacing_exponent"]
    amp = 1.0 + law["fill_gain"] * (y / length) ** law["fill_power"] * np.log1p(reach)
    return amp, np.minimum(law["fill_rigid_most"], law["fill_rigid"] * (amp - 1.0) / amp)


def _satin(some: Stitches, y: Floats, radius_mm: float, cell_mm: float) -> tuple[Floats, Floats]:
    """Return the same for satin."""
    law, length = _law(), np.maximum(some.length_mm, 1e-6)
    # sin^2 of twice the angle to the grid: cells hold a narrow column the less, the more it crosses them
    askew = 4.0 * (some.direction[:, 0] * some.direction[:, 1]) ** 2
    held = law["satin_cell"] * cell_mm / length * (1.0 - law["satin_askew"] * askew)
    gain = law["satin_gain"] * (y / length) ** law["satin_power"] * np.log1p(length / radius_mm)
    amp = (1.0 + held) * (1.0 + gain)
    return amp, law["satin_rigid"] * (amp - 1.0) / amp
