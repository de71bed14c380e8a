"""Plane-stress membrane stiffness of orthotropic layers, and its rotation.

Matrices are (3, 3) in Voigt order x, y, xy with engineering shear strain, N/m. Direction 1 (warp, wale,
machine direction) lies along y at turn 0, direction 2 along x.
"""

from __future__ import annotations

import math

import numpy as np

from analyzer.arrays import Floats, frozen
from analyzer.errors import BadTable


def membrane(e1: float, e2: float, nu12: float, g: float) -> Floats:
    """Return the membrane stiffness of an orthotropic sheet.

    Args:
        e1: tensile stiffness along direction 1 (y), N/m.
        e2: tensile stiffness along direction 2 (x), N/m.
        nu12: contraction along 2 for unit extension along 1; nu21 = nu12 e2/e1 follows from symmetry.
        g: shear stiffness, N/m per radian.

    Returns:
        (3, 3) N/m, positive definite. Source: plane-stress reduced stiffness of an orthotropic lamina
        (R. M. Jones, Mechanics of Composite Materials, 2nd ed., section 2.5).

    Raises:
        BadTable: a stiffness is not positive, or nu12 * nu21 >= 1.
    """
    if not (e1 > 0 and e2 > 0 and g > 0):
        raise BadTable(f"membrane stiffness must be positive: e1 {e1:g}, e2 {e2:g}, g {g:g} N/m")
    nu21 = nu12 * e2 / e1
    room = 1.0 - nu12 * nu21
    if room <= 0:
        raise BadTable(f"nu12 * nu21 < 1 does not hold for nu12 {nu12:g}, e1 {e1:g}, e2 {e2:g} N/m")
    cross = nu12 * e2 / room
    return frozen(np.array([[e2 / room, cross, 0.0], [cross, e1 / room, 0.0], [0.0, 0.0, g]]))


def turn(stiffness: Floats, degrees: float) -> Floats:
    """Return the stiffness of a layer that is turned counter-clockwise on the cloth.

    The strain energy of a strain given in the cloth's axes equals that of the same strain expressed in the
    layer's own axes: C' = T^T C T, T the matrix that takes Voigt strain from the cloth's axes to the layer's
    (Jones, Mechanics of Composite Materials, 2nd ed., section 2.6).

    Args:
        stiffness: (3, 3) N/m, in the layer's own axes.
        degrees: turn of the layer, counter-clockwise.
    """
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    T = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
    turned = T.T @ stiffness @ T
    return frozen(0.5 * (turned + turned.T))
