"""The law of one stitch, and the share that forming ties take part with."""

import numpy as np
import pytest
from disc_by_hand import TWILL, isotropic

from analyzer.mechanics.law import Pull, StitchClass, Stitches, compliance, tension
from analyzer.mechanics.sequence import locking_share


def stitches(length, kind, spacing=0.4, direction=(1.0, 0.0)):
    n = len(length)
    return Stitches(
        length_mm=np.asarray(length, dtype=float),
        direction=np.broadcast_to(np.array(direction), (n, 2)),
        kind=np.full(n, kind, dtype=np.uint8),
        spacing_mm=np.full(n, spacing),
    )


def pull(eh=12.0, share=1.0, force=1.0):
    return Pull(isotropic(eh)[None], np.array([80.0]), np.array([share]), force, 0.375)


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45])
def test_compliance_of_an_isotropic_sheet(nu):
    """(1+nu)(3-nu)/(4 pi Eh): angular mean of Kelvin's plane-stress solution (Love, Elasticity, art. 148)."""
    M = compliance(isotropic(10.0, nu)[None])[0]
    assert np.eye(2) * (1 + nu) * (3 - nu) / (4 * np.pi * 10.0) == pytest.approx(M, abs=1e-12)


def test_an_orthotropic_sheet_gives_more_across_its_stiff_direction():
    M = compliance(TWILL[None])[0]
    assert M[1, 1] > 1.1 * M[0, 0]
    assert M[0, 1] == pytest.approx(0.0, abs=1e-12)


def test_fill_amplification_worked_by_hand():
    """The formula evaluated step by step for L 3.5, s 0.4, Eh 12, nu 0.3, EA0 80."""
    y = 80.0 * 1.3 * 2.7 / (4 * np.pi * 12.0)
    amp = 1 + 1.42 * (y / 3.5) * np.log(1 + 0.264 * (3.5 / 0.375) * (y / (0.2793 * 0.4)) ** -0.34)
    assert tension(stitches([3.5], StitchClass.FILL), pull(), 2.0)[0, 0] == pytest.approx(amp)


def test_a_lone_line_takes_the_cell_for_its_spacing_and_short_stitches_pull_plainly():
    lone = tension(stitches([3.0], StitchClass.FILL, np.nan), pull(), 2.0)
    assert lone == pytest.approx(tension(stitches([3.0], StitchClass.FILL, 2.0), pull(), 2.0))
    assert tension(stitches([0.5], StitchClass.SHORT), pull(force=0.65), 2.0)[0, 0] == pytest.approx(0.65)


def test_pull_is_affine_in_the_share_left_at_locking_and_linear_in_the_force():
    some = stitches([1.5, 3.0, 6.0], StitchClass.SATIN)
    none, half, all_ = (tension(some, pull(share=s), 2.0) for s in (0.0, 0.5, 1.0))
    assert half == pytest.approx(0.5 * (none + all_))
    assert (none < all_).all()
    assert tension(some, pull(force=3.0), 2.0) == pytest.approx(3.0 * all_)


def test_locking_share_gives_the_exact_end_of_continuous_sewing_in_one_dimension():
    """Strain rate -S/(C + D t) over 0 < t < 1 gives -(S/D) ln(1 + D/C); so must one step with alpha D."""
    for rho in (1e-6, 1e-3, 0.1, 1.0, 30.0):
        one_step = 1.0 / (1.0 + float(locking_share(np.array(rho))) * rho)
        assert one_step == pytest.approx(np.log1p(rho) / rho, rel=1e-6)
