"""Displacement of an unbounded sheet around one penetration that is pulled in its plane.

The load is spread evenly over a circle of the penetration's radius r0 and the displacement averaged over
such a circle, which multiplies the sheet's Green's function by ``J0(k r0)^2`` in Fourier space: finite at the
penetration itself, never negative, and for an isotropic sheet in closed form. From the distance 2 r0 on the
logarithm is that of a point force.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from scipy.special import eval_jacobi, spence

from analyzer.arrays import Floats

#: from offsets dx, dy (mm) to the components xx, xy, yy of the displacement, mm/N
Kernel: TypeAlias = Callable[[Floats, Floats], tuple[Floats, Floats, Floats]]

_ANGLES = 2048  # of the acoustic tensor, for its angular Fourier series
_LEAST_HARMONIC = 1e-7  # of the mean, below which the series is cut
_MOST_HARMONICS = 64
_TABLE_RADII, _TABLE_ANGLES = 384, 512
_QUADRATURE = 64


def kernel(membrane: Floats, radius_mm: float) -> Kernel:
    """Return the kernel of a sheet of ``membrane`` (3, 3) N/m with penetrations of ``radius_mm``."""
    young, poisson = _isotropic_constants(membrane)
    alike = (
        young / (1.0 - poisson**2) * np.array([[1, poisson, 0], [poisson, 1, 0], [0, 0, (1 - poisson) / 2]])
    )
    if np.abs(alike - membrane).max() <= 1e-9 * np.abs(membrane).max():
        return isotropic_kernel(young / 1000.0, poisson, radius_mm)
    return orthotropic_kernel(membrane, radius_mm)


def _isotropic_constants(membrane: Floats) -> tuple[float, float]:
    """Young's modulus times thickness (N/m) and Poisson's ratio that an isotropic ``membrane`` would have."""
    poisson = float(membrane[0, 1] / membrane[0, 0])
    return float(membrane[0, 0] * (1.0 - poisson**2)), poisson


def logarithm(distance: Floats, radius_mm: float) -> Floats:
    """Mean of ``ln`` between points of two circles whose middles lie ``distance`` apart.

    ``ln`` is harmonic, so the mean over one circle is ``ln max(distance, chord)``; over the chords ``2 r0 sin
    psi`` between two points of one circle that leaves Clausen's function, ``Cl2(x) = Im Li2(exp(ix))``
    (derived).
    """
    result: Floats = np.log(np.maximum(distance, 2.0 * radius_mm))
    near = np.flatnonzero(distance.ravel() < 2.0 * radius_mm)
    close = np.maximum(distance.ravel()[near], 1e-12 * radius_mm)
    psi = np.arcsin(close / (2.0 * radius_mm))
    clausen = np.imag(spence(1.0 - np.exp(2j * psi)))
    share = 2.0 * psi / np.pi
    result.ravel()[near] = share * np.log(close) + (1.0 - share) * np.log(radius_mm) + clausen / np.pi
    return result


def isotropic_kernel(eh_kn_per_m: float, poisson: float, radius_mm: float) -> Kernel:
    """Kelvin's solution in plane stress (Love, Mathematical Theory of Elasticity, art. 148), so averaged.

    ``1/(4 pi Eh) [-(1+nu)(3-nu) ln r I + (1+nu)^2 r(x)r/r^2]``. The traceless part of the second term is
    biharmonic: averaging over a circle of radius c makes it ``1 - c^2/r^2`` times itself outside and nothing
    inside (derived), which is then averaged over the chords.
    """
    scale = 1.0 / (4.0 * np.pi * eh_kn_per_m)
    of_log = scale * (1.0 + poisson) * (3.0 - poisson)
    of_direction = scale * (1.0 + poisson) ** 2

    def displacement(dx: Floats, dy: Floats) -> tuple[Floats, Floats, Floats]:
        squared = dx * dx + dy * dy
        distance = np.sqrt(squared)
        ratio = 4.0 * radius_mm**2 / np.maximum(squared, 1e-24 * radius_mm**2)
        turning = 1.0 - 0.5 * ratio
        near = distance < 2.0 * radius_mm
        psi = np.arcsin(np.minimum(1.0, distance[near] / (2.0 * radius_mm)))
        turning[near] = (2.0 * psi - ratio[near] * (psi - 0.5 * np.sin(2.0 * psi))) / np.pi
        turning[distance <= 1e-6 * radius_mm] = 0.0
        turning *= of_direction / np.maximum(squared, 1e-24 * radius_mm**2)
        mean = -of_log * logarithm(distance, radius_mm)
        half = 0.5 * turning * (dx * dx - dy * dy)
        return mean + half, turning * dx * dy, mean - half

    return displacement


def acoustic_inverse(membrane: Floats, angles: Floats) -> Floats:
    """Inverse (a, 2, 2) in mm/N of the acoustic tensor ``k.C.k`` for unit wave vectors at ``angles`` (a,)."""
    c, s, zero = np.cos(angles), np.sin(angles), np.zeros_like(angles)
    strain = np.array([[c, zero], [zero, s], [s, c]]).transpose(2, 0, 1)
    inverse: Floats = np.linalg.inv(np.einsum("tia,ij,tjb->tab", strain, membrane / 1000.0, strain))
    return inverse


def orthotropic_kernel(membrane: Floats, radius_mm: float) -> Kernel:
    """Any sheet: the inverse acoustic tensor's angular Fourier series (by FFT), each term in closed form.

    With ``Gamma^-1(phi) = sum_m c_m exp(2 i m phi)`` the kernel is ``1/(2 pi) sum_m (-1)^m c_m exp(2 i m
    theta) H_m(r)`` and ``H_m`` the integral of ``J0(k r0)^2 J_2m(kr)/k``, for m > 0 the mean over the chords
    of ``P_m^(0,-1)(1 - 2 chord^2/r^2)/(2m)``, a Jacobi polynomial (derived from Weber and Schafheitlin's
    integral, Abramowitz & Stegun 11.4.34). All but the logarithm is tabulated over ``r/(r + 2 r0)`` and the
    angle and read off linearly.
    """
    mean, table = _angular_table(membrane, radius_mm)

    def displacement(dx: Floats, dy: Floats) -> tuple[Floats, Floats, Floats]:
        distance = np.hypot(dx, dy)
        across = distance / (distance + 2.0 * radius_mm) * (_TABLE_RADII - 1)
        around = (np.arctan2(dy, dx) % np.pi) * (_TABLE_ANGLES / np.pi)
        row = np.minimum(across.astype(np.intp), _TABLE_RADII - 2)
        column = np.minimum(around.astype(np.intp), _TABLE_ANGLES - 1)
        x, y = across - row, around - column
        first = row * (_TABLE_ANGLES + 1) + column
        log = logarithm(distance, radius_mm)
        parts = []
        for middle, part in zip(mean, table, strict=True):
            value = (1 - x) * ((1 - y) * part[first] + y * part[first + 1])
            below = first + _TABLE_ANGLES + 1
            value += x * ((1 - y) * part[below] + y * part[below + 1])
            parts.append(value - middle * log)
        return parts[0], parts[1], parts[2]

    return displacement


def _angular_table(membrane: Floats, radius_mm: float) -> tuple[Floats, Floats]:
    """Factors (3,) of the logarithm, and the rest (3, radii * (angles + 1)) over radius and angle, mm/N."""
    inverse = acoustic_inverse(membrane, np.linspace(0.0, np.pi, _ANGLES, endpoint=False))
    series = np.fft.rfft(inverse[:, [0, 0, 1], [0, 1, 1]], axis=0) / _ANGLES
    size = np.abs(series).max(axis=1)
    count = min(_MOST_HARMONICS, int(np.flatnonzero(size > _LEAST_HARMONIC * size[0]).max()))
    harmonic = np.arange(1, count + 1)
    share = np.arange(_TABLE_RADII) / (_TABLE_RADII - 1)
    share[-1] = 1.0 - 1e-12
    distance = 2.0 * radius_mm * share / (1.0 - share)
    radial = np.stack([_radial(int(m), distance, radius_mm) for m in harmonic])
    angle = np.arange(_TABLE_ANGLES + 1) * (np.pi / _TABLE_ANGLES)
    turning = ((-1.0) ** harmonic)[:, None] * np.exp(2j * harmonic[:, None] * angle)
    table = np.einsum("mr,mc,ma->cra", radial, series[1 : count + 1], turning).real / np.pi
    return series[0].real / (2.0 * np.pi), table.reshape(3, -1)


def _radial(harmonic: int, distance: Floats, radius_mm: float) -> Floats:
    """Integral over k of ``J0(k r0)^2 J_2m(kr)/k`` at each ``distance`` r (n,), for m = ``harmonic`` > 0."""
    nodes, weights = np.polynomial.legendre.leggauss(_QUADRATURE)
    far = np.maximum(distance, 1e-9 * radius_mm)
    most = np.arcsin(np.minimum(1.0, far / (2.0 * radius_mm)))
    chord = 2.0 * radius_mm * np.sin(0.5 * most[:, None] * (1.0 + nodes))
    values = eval_jacobi(harmonic, 0.0, -1.0, 1.0 - 2.0 * (chord / far[:, None]) ** 2)
    result: Floats = (values @ weights) * most / np.pi / (2.0 * harmonic)
    return result
