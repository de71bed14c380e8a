"""Units of the textile trade, and handbook formulas from what is measured to what is computed with."""

from __future__ import annotations

import math

GRAMS_PER_OUNCE = 28.349523125  #: avoirdupois, exact by definition
METRES_PER_YARD = 0.9144  #: exact by definition
MM_PER_INCH = 25.4  #: exact by definition
STANDARD_GRAVITY = 9.80665  #: m/s2, exact by definition
_YARDS_PER_HANK = 840.0  #: of the cotton count
_GRAMS_PER_POUND = 453.59237


def tex_from_denier(denier: float) -> float:
    """Return tex (g/km) from denier (g per 9 km), the number of plies multiplied in by the caller."""
    return denier / 9.0


def tex_from_dtex(dtex: float) -> float:
    """Return tex from decitex (g per 10 km)."""
    return dtex / 10.0


def tex_from_metric_number(metric_number: float) -> float:
    """Return tex from the metric number Nm (m/g)."""
    return 1000.0 / metric_number


def tex_from_cotton_count(cotton_count: float) -> float:
    """Return tex from the cotton count Ne (hanks of 840 yd to the pound): 590.541 / Ne."""
    return 1000.0 * _GRAMS_PER_POUND / (_YARDS_PER_HANK * METRES_PER_YARD) / cotton_count


def denier_from_tex(tex: float) -> float:
    """Return denier from tex."""
    return 9.0 * tex


def cotton_count_from_tex(tex: float) -> float:
    """Return the cotton count Ne from tex (the relation is its own inverse)."""
    return tex_from_cotton_count(tex)


def metric_ticket_from_tex(tex: float) -> float:
    """Return the metric ticket number of a sewing thread from its resultant tex: 3000 / tex."""
    return 3000.0 / tex


def g_m2_from_oz_yd2(ounces: float) -> float:
    """Return g/m2 from oz/yd2."""
    return ounces * GRAMS_PER_OUNCE / METRES_PER_YARD**2


def oz_yd2_from_g_m2(grams: float) -> float:
    """Return oz/yd2 from g/m2."""
    return grams * METRES_PER_YARD**2 / GRAMS_PER_OUNCE


def yarn_diameter_mm(tex: float, specific_volume_cm3_g: float) -> float:
    """Return the diameter of a round yarn, mm, from its tex and specific volume.

    Volume of unit length over pi/4: d = sqrt(4 tex v / (pi 1000)); with v = 1.1 cm3/g it is 0.0374 sqrt(tex),
    as in F. T. Peirce, The geometry of cloth structure, Journal of the Textile Institute 28:T45, 1937.
    """
    return math.sqrt(4.0 * tex * specific_volume_cm3_g / (math.pi * 1000.0))


def thread_diameter_mm(tex: float, fibre_density_g_cm3: float, packing: float) -> float:
    """Return the diameter of a round thread, mm, from fibre density and packing (share of fibre)."""
    return yarn_diameter_mm(tex, 1.0 / (fibre_density_g_cm3 * packing))


def cover_factor(tex: float, threads_per_cm: float) -> float:
    """Return the cover factor K of one set of yarns: threads per cm times sqrt(tex) / 10 (SI form)."""
    return threads_per_cm * math.sqrt(tex) / 10.0


def cloth_cover_factor(warp: float, weft: float) -> float:
    """Return the cover factor of cloth from those of warp and weft: K1 + K2 - K1 K2 / 28 (Peirce 1937)."""
    return warp + weft - warp * weft / 28.0


def covered_fraction(cover: float) -> float:
    """Return the share of the ground that a cover factor covers: K / 28 (yarns just touch at 28)."""
    return cover / 28.0


def bending_unm_from_cantilever(
    g_m2: float, bending_length_mm: float, gravity: float = STANDARD_GRAVITY
) -> float:
    """Return bending stiffness, uN.m, from weight and bending length: B = w g c^3 (Peirce 1930, ASTM D1388).

    Args:
        g_m2: weight, g/m2.
        bending_length_mm: bending length c, half the overhang at an angle of 41.5 degrees, mm.
        gravity: m/s2; the FAST manual rounds it to 9.81.
    """
    return g_m2 * gravity * bending_length_mm**3 * 1e-6


def shear_n_per_m_from_bias_extension(percent: float) -> float:
    """Return shear stiffness, N/m, from the extension on the bias at 5 gf/cm (EB5 of FAST): G = 123 / EB5."""
    return 123.0 / percent


def bending_unm_from_kes(gf_cm2_per_cm: float) -> float:
    """Return bending stiffness, uN.m, from gf.cm2/cm: the unit of the KES bending tester."""
    return gf_cm2_per_cm * STANDARD_GRAVITY * 10.0


def shear_n_per_m_from_kes(gf_per_cm_degree: float) -> float:
    """Return shear stiffness, N/m per radian, from gf/(cm.degree): the unit of the KES shear tester."""
    return gf_per_cm_degree * STANDARD_GRAVITY * 0.1 * 180.0 / math.pi
