"""Taking the work out of the hoop, slip at the rim, sheets smaller than the hoop, layers that are stuck.

Closed forms are derived in each test's docstring, for a strip pulled along x with Poisson's ratio 0: there
the membrane is a chain of springs.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from disc_by_hand import CUTAWAY, HOOP, TEARAWAY, TWILL, disc, isotropic, orthotropic, stack
from scipy.optimize import minimize

from analyzer.errors import NotConverged
from analyzer.goods import BackingChoice, StackChoice, Value, build_stack, draw, resolve
from analyzer.goods.stack import grip
from analyzer.goods.types import Hoop, bending_unm
from analyzer.job import Job
from analyzer.laid import Grid
from analyzer.mechanics import prepare, respond
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.release import free, hooping_strain, relax, without_rigid_motion
from analyzer.mechanics.respond import make_variants
from analyzer.mechanics.rim import Sliding, _least_work, most_pull_n_per_m, rim_of, with_slip
from analyzer.mechanics.sequence import sew
from analyzer.mechanics.sheets import cover
from analyzer.mechanics.solvers import solve_direct

DRAWS = draw(40, 1)
NX, NY, CELL_MM = 30, 8, 2.0
PATCH = slice(10, 20)  # columns of the strip that are stitched: 20 of 60 mm


@pytest.fixture(scope="module")
def last():
    return prepare(*disc("last"), HOOP)


def whole_pull(last, one) -> float:
    """Largest movement at the end on the coarse grid, mm."""
    sewn = sew(last.spread, last.stitches, make_variants(one, {}, 1), tolerance=1e-6)
    return float(np.hypot(*sewn.states[0, -1].T).max())


def strip(outside: float, patch: float) -> np.ndarray:
    """Stiffness (cells, 3, 3) of a strip with another stiffness in its patch, N/m, no Poisson effect."""
    along = np.full((NY, NX), outside)
    along[:, PATCH] = patch
    unit = np.diag([1.0, 1.0, 0.5])
    return along.reshape(-1, 1, 1) * unit


def along_x(value: float, only_patch: bool = True) -> np.ndarray:
    """Resultants (cells, 3) of ``value`` N/m along x."""
    field = np.zeros((NY, NX, 3))
    field[:, PATCH if only_patch else slice(None), 0] = value
    return field.reshape(-1, 3)


def test_a_released_strip_comes_to_rest_without_force():
    """Derived: hooped, all of the strip carries N in its cloth, a patch (a of L) also T in its threads.

    Released, each part goes back by its own resultant over its own stiffness: the patch by (N + T)/(C + D),
    the rest by N/C, and the strip shortens by a (N + T)/(C + D) + (L - a) N/C.
    """
    lattice = Lattice(NX, NY, CELL_MM, CELL_MM)
    cloth, ties, tension, thread = 5000.0, 20000.0, 30.0, 400.0
    held = along_x(tension, only_patch=False) + along_x(thread)
    forces = np.zeros((1, NY + 1, NX + 1, 2))
    (moved,) = relax(lattice, strip(cloth, cloth + ties), held[None], forces)
    a, whole = 20.0, 60.0
    expected = a * (tension + thread) / (cloth + ties) + (whole - a) * tension / cloth
    assert moved[:, 0, 0] - moved[:, -1, 0] == pytest.approx(np.full(NY + 1, expected), rel=1e-9)
    left = held + np.einsum("cij,cj->ci", strip(cloth, cloth + ties), lattice.strain(moved))
    assert np.abs(left).max() < 1e-6 * thread


def test_threads_that_still_pull_are_forces_on_the_free_strip():
    """Derived: a pair of line forces T at the ends of the patch shortens it by a T/(C + D), the rest not."""
    lattice = Lattice(NX, NY, CELL_MM, CELL_MM)
    pull, stiff = 150.0, strip(5000.0, 25000.0)
    forces = -lattice.forces(along_x(pull))[None]
    (moved,) = relax(lattice, stiff, np.zeros((1, NX * NY, 3)), forces)
    shortening = moved[4, 0, 0] - moved[4, -1, 0]
    assert shortening == pytest.approx(20.0 * pull / 25000.0, rel=1e-9)


def test_a_sheet_in_two_pieces_is_no_answer():
    lattice = Lattice(NX, NY, CELL_MM, CELL_MM)
    stiff = strip(5000.0, 5000.0)
    stiff.reshape(NY, NX, 3, 3)[:, 15] = 0.0
    with pytest.raises(NotConverged):
        relax(lattice, stiff, along_x(1.0)[None], np.zeros((1, NY + 1, NX + 1, 2)))


def test_stretched_goods_spring_back_to_what_the_layers_share():
    """Derived: clamped together under N, goods and backing stretch by N/(C1 + C2), and spring back by it.

    Goods that lie on hooped backing carry the tension alone: N/C1.
    """
    together = dataclasses.replace(stack(isotropic(2.0, 0.0), CUTAWAY), holding="hooped")
    laid = dataclasses.replace(together, holding="floated")
    layers = np.stack([layer.membrane for layer in together.layers])
    layers[1] = isotropic(12.0, 0.0)
    assert hooping_strain(together, layers)[:2] == pytest.approx([1 / 14000.0] * 2)
    assert hooping_strain(laid, layers)[:2] == pytest.approx([1 / 2000.0] * 2)


def test_released_work_is_in_balance_and_moves_more_when_its_backing_is_torn_off(last):
    """The free sheet's resultants and the threads' pull balance, as far as cells keep one stress each."""
    size = {}
    for removal in ("trimmed", "torn", "rinsed"):
        one = stack(TWILL, TEARAWAY, pull_n=0.65)
        backing = dataclasses.replace(one.layers[1], removal=removal)
        one = dataclasses.replace(one, layers=(one.layers[0], backing))
        variants = make_variants(one, {}, 1)
        sewn = sew(last.spread, last.stitches, variants, tolerance=1e-8)
        freed = free(last.spread, one, sewn, variants.layers[0])
        left = last.spread.lattice.forces(freed.resultants[0]) - sewn.pull_forces
        assert np.linalg.norm(left) < 0.2 * np.linalg.norm(sewn.pull_forces)
        shape = freed.moved[0].reshape(-1, 2)
        nodes = np.unique(last.spread.lattice.corners[last.spread.cell])
        grid = last.spread.grid
        places = grid.cell_mm * np.stack([nodes % (grid.nx + 1), nodes // (grid.nx + 1)], axis=1)
        size[removal] = np.hypot(*without_rigid_motion(places, shape[nodes]).T).max()
    assert size["trimmed"] < size["torn"] < size["rinsed"]


def test_a_turn_and_a_shift_are_no_change_of_shape():
    places = np.random.default_rng(1).uniform(-20, 20, (50, 2))
    rigid = np.array([0.3, -0.2]) + 0.01 * np.stack([-places[:, 1], places[:, 0]], axis=1)
    assert without_rigid_motion(places, rigid) == pytest.approx(np.zeros((50, 2)), abs=1e-12)
    shrunk = rigid - 0.02 * (places - places.mean(axis=0))
    assert without_rigid_motion(places, shrunk) == pytest.approx(
        -0.02 * (places - places.mean(axis=0)), abs=1e-12
    )


def held_at_both_ends(last):
    """A layout like the spread one, held only along its left and right sides."""
    grid = last.spread.grid
    held = np.zeros((grid.ny + 1, grid.nx + 1, 2), dtype=bool)
    held[:, [0, -1]] = True
    return dataclasses.replace(last.spread, free=~held.reshape(-1))


def test_a_strip_slips_until_friction_carries_its_pull(last):
    """Derived: a patch a of L that wants to contract by e* pulls with N = C e* a/L while the ends hold.

    Where they hold only f < N, they come in until N = f, together by a e* - L f/C.
    """
    layout = held_at_both_ends(last)
    lattice, grid = layout.lattice, layout.grid
    stiff, strain = 4000.0, 0.05
    cells = np.broadcast_to(np.diag([stiff, stiff, 0.5 * stiff]), (grid.nx * grid.ny, 3, 3))
    field = np.zeros((grid.ny, grid.nx, 3))
    field[:, 8:17, 0] = stiff * strain
    loads = -lattice.forces(field.reshape(-1, 3)).reshape(-1)
    a, whole = 9 * grid.cell_mm, grid.nx * grid.cell_mm
    holding = stiff * strain * a / whole
    matrix = lattice.matrix(lattice.assemble(cells[None]))
    step = solve_direct(matrix, loads, layout.free)
    for share in (1.5, 0.6, 0.2):
        rim = Sliding(layout, grip_n_per_m=share * holding, hooping_n_per_m=0.0)
        moved = (step + rim(cells, step, loads)).reshape(grid.ny + 1, grid.nx + 1, 2)
        shortening = moved[:, 0, 0] - moved[:, -1, 0]
        expected = max(0.0, a * strain - whole * share * holding / stiff)
        assert shortening[3:-3] == pytest.approx(np.full(grid.ny - 5, expected), rel=0.04, abs=1e-9)
        pulled = np.hypot(*rim.force.T)
        assert (pulled <= 1.01 * rim.limit).all()
        assert rim.slid.all() == (share < 1.0)


@pytest.mark.parametrize("grip_n_per_m", [400.0, 150.0])
def test_what_slips_keeps_the_balance_and_its_limit(last, grip_n_per_m):
    """Nothing but the rim holds the cloth, so all forces along the rim add up to nothing, slipping or not."""
    one = stack(TWILL, pull_n=0.65)
    rim = Sliding(last.spread, grip_n_per_m=grip_n_per_m, hooping_n_per_m=20.0)
    sew(last.spread, last.stitches, make_variants(one, {}, 1), tolerance=1e-8, slide=rim)
    pulled = np.hypot(*rim.force.T)
    assert 0 < rim.slid.sum() < len(rim.slid)
    assert (pulled <= 1.01 * rim.limit).all()
    assert pulled[rim.slid].max() == pytest.approx((grip_n_per_m * rim.rim.length_mm).max(), rel=0.02)
    assert np.abs(rim.force.sum(axis=0)).max() < 2e-3 * pulled.sum()


@pytest.mark.parametrize("seed", range(6))
def test_slip_is_what_the_dual_problem_gives(seed):
    """SciPy's SLSQP on the dual: forces within their limits that are nearest, in energy, to the pull."""
    rng = np.random.default_rng(seed)
    count = 5
    root = rng.normal(size=(2 * count, 2 * count))
    stiffness, pull = root @ root.T + np.eye(2 * count), rng.normal(size=(count, 2)) * 3.0
    limit = rng.uniform(0.5, 4.0, count)
    give = np.linalg.inv(stiffness)

    def energy(force):
        return 0.5 * (force - pull.ravel()) @ give @ (force - pull.ravel())

    found = minimize(
        energy,
        np.zeros(2 * count),
        jac=lambda force: give @ (force - pull.ravel()),
        method="SLSQP",
        constraints={"type": "ineq", "fun": lambda force: limit**2 - (force.reshape(-1, 2) ** 2).sum(axis=1)},
        options={"maxiter": 500, "ftol": 1e-12},
    )
    slip = _least_work(stiffness, pull, limit)
    force = pull + (stiffness @ slip.ravel()).reshape(-1, 2)
    assert force == pytest.approx(found.x.reshape(-1, 2), abs=5e-3 * limit.max())
    assert (np.hypot(*pull.T) > limit).any()
    assert slip.any()


def test_a_firm_rim_is_a_clamped_one_and_a_weak_one_lets_more_in(last):
    one = stack(TWILL, pull_n=0.65)
    variants = make_variants(one, {}, 1)
    coarse = sew(last.spread, last.stitches, variants, tolerance=1e-6)
    full = sew(last.screen, last.stitches, variants, tolerance=1e-4).states

    def slipped(grip_n_per_m: float) -> np.ndarray:
        return with_slip(
            last.screen, full, last.spread, last.stitches, variants,
            grip_n_per_m=grip_n_per_m, hooping_n_per_m=50.0,
        )  # fmt: skip

    most = most_pull_n_per_m(last.spread, coarse, 50.0)
    assert slipped(1.05 * most) is full
    moved = [np.abs(slipped(share * most)[0, -1]).max() for share in (1.05, 0.7, 0.4, 0.2)]
    assert moved == sorted(moved)
    assert moved[-1] > 1.05 * moved[0]


def test_the_rim_of_an_oval_is_as_long_as_an_ellipse(last):
    """Circumference of an ellipse by Ramanujan's second approximation (1914)."""
    for width, height in ((100.0, 100.0), (120.0, 80.0)):
        sewing = prepare(last.design, last.regions, Hoop("oval", width, height, "oval", "test"))
        a, b = width / 2, height / 2
        h = ((a - b) / (a + b)) ** 2
        around = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
        assert rim_of(sewing.full).length_mm.sum() == pytest.approx(around, rel=0.06)
    assert rim_of(last.full).length_mm.sum() == pytest.approx(400.0, rel=0.02)


def test_a_magnetic_frame_holds_less_than_a_screwed_hoop(last):
    assert grip("magnetic").value < grip("clamped").value < grip("hooped").value
    assert grip("floated").value == grip("hooped").value  # there the backing is hooped
    one = stack(TWILL, pull_n=0.65)
    moved = {
        name: respond(
            last,
            dataclasses.replace(one, grip_n_per_m=grip(name)),
            DRAWS,
            detail="screen",
        ).pull_in.max_mm
        for name in ("hooped", "magnetic")
    }
    assert moved["hooped"] < moved["magnetic"]


def test_a_sheet_covers_what_lies_inside_it():
    grid = Grid(0.0, 0.0, 4.0, 10, 6)
    assert (cover(grid, None) == 1.0).all()
    assert (cover(grid, (100.0, 100.0)) == 1.0).all()
    share = cover(grid, (10.0, 7.0)).reshape(grid.shape)
    assert share.sum() * 16.0 == pytest.approx(70.0)
    assert share[2, 4] == pytest.approx(3.5 / 4.0)
    assert share[2, 3] == pytest.approx(0.25 * 3.5 / 4.0)
    assert share[:, :3].sum() == 0.0


def test_a_strip_half_covered_stretches_like_springs_in_series():
    """Derived: under N per width, lengths L1, L2 of stiffness C1, C2 stretch by N (L1/C1 + L2/C2)."""
    lattice = Lattice(NX, NY, CELL_MM, CELL_MM)
    goods, sheet = 2000.0, 6000.0
    there = cover(Grid(0.0, 0.0, CELL_MM, NX, NY), (25.0, 1000.0)).reshape(-1, 1, 1)
    unit = np.diag([1.0, 1.0, 0.5])
    stiff = goods * unit + sheet * there * unit
    tension = along_x(40.0, only_patch=False)
    (moved,) = relax(lattice, stiff, tension[None], np.zeros((1, NY + 1, NX + 1, 2)))
    # 60 mm: 24 mm whole cells under the sheet, 1 mm more in two half-covered cells of 2 mm
    expected = 40.0 * (32.0 / 2000.0 + 24.0 / 8000.0 + 4.0 / (2000.0 + 6000.0 * 0.25))
    assert moved[4, 0, 0] - moved[4, -1, 0] == pytest.approx(expected, rel=1e-9)


def test_a_floated_sheet_helps_less_than_a_hooped_one_and_more_than_none(last):
    def most(*backings, sheet=None) -> float:
        one = stack(TWILL, *backings, pull_n=0.65)
        layers = tuple(
            dataclasses.replace(layer, sheet_mm=sheet if layer.role == "backing" else None)
            for layer in one.layers
        )
        return whole_pull(last, dataclasses.replace(one, layers=layers))

    assert most(CUTAWAY, sheet=(200.0, 200.0)) == most(CUTAWAY)
    assert most(CUTAWAY) < most(CUTAWAY, sheet=(60.0, 60.0)) < most()


def test_the_sheet_of_a_choice_reaches_its_layers():
    setup = resolve(Job(), "cotton-twill", (40.0, 40.0))
    choice = StackChoice((BackingChoice("cutaway", 85.0, 2, (0.0, 90.0), sheet_mm=(80.0, 60.0)),), None)
    made = build_stack(setup, choice)
    assert [layer.sheet_mm for layer in made.layers] == [None, (80.0, 60.0), (80.0, 60.0)]


def test_equal_layers_bend_eight_times_as_hard_stuck_as_one():
    """Derived: a homogeneous sheet has B = K t2/12; two of them slipping 2 B, bonded (2K)(2t)2/12 = 8 B."""
    layer = stack(orthotropic(12.0, 12.0, 0.0, 6.0)).layers[0]
    stiff = float(layer.membrane[0, 0])
    layer = dataclasses.replace(layer, thickness_mm=0.4, bending_unm=stiff * 0.4**2 / 12.0)
    bonded = dataclasses.replace(layer, bonded=True)
    assert bending_unm((layer, layer)) == pytest.approx(2.0 * layer.bending_unm)
    assert bending_unm((layer, bonded)) == pytest.approx(8.0 * layer.bending_unm)
    assert bending_unm((layer, bonded, bonded)) == pytest.approx(27.0 * layer.bending_unm)
    assert bending_unm((layer, bonded, layer)) == pytest.approx(9.0 * layer.bending_unm)


def test_what_is_stuck_and_what_lies_loose():
    """A fused backing is bonded, and the nearest layer under goods that an adhesive holds; others slip."""

    def bonds(holding: str, *kinds: str) -> list[bool]:
        setup = resolve(Job(holding=holding), "jersey", (40.0, 40.0))
        choices = tuple(BackingChoice(kind, 68.0, 1, (0.0,)) for kind in kinds)
        return [layer.bonded for layer in build_stack(setup, StackChoice(choices, None)).layers]

    assert bonds("hooped", "cutaway", "tearaway") == [False, False, False]
    assert bonds("hooped", "fusible-cutaway", "tearaway") == [False, True, False]
    assert bonds("adhesive", "cutaway", "tearaway") == [False, True, False]


def test_a_bond_keeps_cloth_truer_than_loose_layers(last):
    """Shares of the materials table: what is stuck takes part with 0.9, hooped 0.6, laid 0.4 (guesses)."""
    moved = []
    for holding in ("adhesive", "hooped", "floated"):
        setup = resolve(Job(holding=holding), "cotton-twill", (40.0, 40.0))
        choice = StackChoice((BackingChoice("cutaway", 68.0, 1, (0.0,)),), None)
        moved.append(whole_pull(last, build_stack(setup, choice)))
    assert moved == sorted(moved)


def test_values_of_grip_are_marked_as_guesses():
    for holding in ("hooped", "clamped", "magnetic", "cap-frame"):
        value: Value = grip(holding)
        assert value.known == "guess"
        assert value.low < value.value < value.high
