"""The law of one stitch, and the share that forming ties take part with."""

import numpy as np
import pytest
from disc_by_hand import TWILL, disc, isotropic

from analyzer.goods.constants import constants
from analyzer.mechanics.blocks import cut_blocks
from analyzer.mechanics.drift import share_of_way
from analyzer.mechanics.law import Pull, StitchClass, Stitches, compliance, tension
from analyzer.mechanics.sequence import locking_share

LAW = {name: entry.value for name, entry in constants("stitch_law").items()}


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
    near = LAW["fill_reach"] * (3.5 / 0.375) * (y / 0.4) ** LAW["fill_spacing_exponent"]
    amp = 1 + LAW["fill_gain"] * (y / 3.5) ** LAW["fill_power"] * np.log(1 + near)
    assert 1.5 < amp < 2.5
    assert tension(stitches([3.5], StitchClass.FILL), pull(), 2.0)[0, 0] == pytest.approx(amp)


@pytest.mark.parametrize(("degrees", "askew"), [(0, 0.0), (45, 1.0), (90, 0.0), (112.5, 0.5)])
def test_satin_amplification_worked_by_hand(degrees, askew):
    """Width 2, Eh 12, nu 0.3, EA0 80, cells of 2 mm; the cell's part by how the threads lie across it."""
    y = 80.0 * 1.3 * 2.7 / (4 * np.pi * 12.0)
    held = LAW["satin_cell"] * 2.0 / 2.0 * (1 - LAW["satin_askew"] * askew)
    gain = LAW["satin_gain"] * (y / 2.0) ** LAW["satin_power"] * np.log(1 + 2.0 / 0.375)
    direction = (np.cos(np.radians(degrees)), np.sin(np.radians(degrees)))
    found = tension(stitches([2.0], StitchClass.SATIN, direction=direction), pull(), 2.0)[0, 0]
    assert found == pytest.approx((1 + held) * (1 + gain))


def test_within_a_block_most_of_the_way_comes_early_and_all_of_it_by_the_end():
    """ln(1 + rho m)/ln(1 + rho): the way gone under even pull while ties form evenly, integrated here."""
    rho, m = 9.0, 0.4
    steps = np.linspace(0.0, 1.0, 200_001)
    rate = 1.0 / (1.0 + rho * steps)
    soft = rate[: round(m * 200_000)].sum() / rate[:-1].sum()
    mixed = LAW["forming_share"] * soft + (1 - LAW["forming_share"]) * m
    found = share_of_way(np.array([rho, 0.0, 50.0, 50.0]), np.array([m, m, 0.0, 1.0]))
    assert found == pytest.approx([mixed, m, 0.0, 1.0], abs=1e-4)
    assert found[0] > m


def test_the_blocks_of_a_stretch_begin_short():
    """Share (i/n)^2 of the way at the end of block i."""
    design, regions = disc("last")
    progress = np.where(regions.region_of == 0, 1.0, 0.0)
    blocks = cut_blocks(progress, regions, progress.sum() / 8, 100)
    sizes = np.bincount(blocks.block[regions.region_of == 0])
    assert len(sizes) == 8
    assert np.cumsum(sizes) / sizes.sum() == pytest.approx((np.arange(1, 9) / 8) ** 2, abs=0.01)
    assert (np.diff(blocks.block) >= 0).all()
    inside = np.diff(blocks.block) == 0
    assert (np.diff(blocks.moment)[inside] >= 0).all()
    assert blocks.moment.min() >= 0.0
    assert blocks.moment.max() <= 1.0
    assert design.stitches > 1000


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
