"""Sewing a design block by block on a batch of variants of one stack.

Before block k the cloth carries the ties of all blocks before it. While block k is sewn its own ties form,
so they take part with the share ``alpha = 1/ln(1+rho) - 1/rho``, rho their stiffness over what is there
already, along the thread. In one dimension this is exact: sewing continuously gives eps = -(S/D) ln(1 +
D/C), and one step with alpha D gives the same. Needle holes weaken each layer as they come.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Floats
from analyzer.at_rest import threads_at_rest
from analyzer.goods.constants import constants
from analyzer.mechanics.lattice import Index
from analyzer.mechanics.law import Pull, Stitches, tension
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.sheet import Sheet
from analyzer.mechanics.sheets import cover
from analyzer.mechanics.solvers import SINGLE_TOLERANCE, UniformInverse
from analyzer.mechanics.surely import solve_surely

# share of the tolerance where solves begin near the solution: what is left there comes in slowly, and the
# last two steps tell less of it; errors are then about those of solves that begin with nothing
_BEGUN_NEAR = 0.3


@dataclass(frozen=True, slots=True)
class Variants:
    """v variants of a stack of l layers.

    ``layers`` (v, l, 3, 3) N/m; ``perforation_mm2`` (v, l); the law's parameters in ``pull``, whose
    membrane is the sum of the layers; ``sheets_mm``, where given, the size of each layer, None where it
    reaches past the hoop, and ``sheets_at_mm`` where its middle lies from the hoop's.
    """

    layers: Floats
    perforation_mm2: Floats
    pull: Pull
    sheets_mm: tuple[tuple[float, float] | None, ...] | None = None
    sheets_at_mm: tuple[tuple[float, float], ...] | None = None


@dataclass(frozen=True, slots=True)
class Sewn:
    """What sewing leaves.

    ``states`` (v, blocks + 1, nodes, 2) mm: displacement before the first block and after each.
    ``forming`` (v, blocks): the ties that form in a block over what is there already, along the thread.
    The rest is of variant 0 only: ``layer_resultants`` (l, cells, 3) and ``tie_resultants`` (cells, 3) N/m,
    the stress that straining has put into each layer and into the ties; ``kept`` (l, cells) the share of
    stiffness that is there and that the needle has left of each layer; ``ties`` (cells, 3, 3) N/m;
    ``pull_forces`` (ny+1, nx+1, 2) mN, the threads' pull.
    """

    states: Floats
    forming: Floats
    layer_resultants: Floats
    tie_resultants: Floats
    kept: Floats
    ties: Floats
    pull_forces: Floats
    iterations: int

    def step(self, block: int, variants: int) -> Floats:
        """Return what ``block`` moves, mm, of each of ``variants``; of variant 0 if there are fewer."""
        own = slice(None) if len(self.states) == variants else slice(1)
        result: Floats = self.states[own, block + 1] - self.states[own, block]
        return result


def locking_share(rho: Floats) -> Floats:
    """``1/ln(1+rho) - 1/rho``, from 1/2 (few ties) falling towards 0 (ties much stiffer than the cloth)."""
    small = rho < 1e-4
    safe = np.where(small, 1.0, rho)
    result: Floats = np.where(small, 0.5 - rho / 12.0, 1.0 / np.log1p(safe) - 1.0 / safe)
    return result


def _layered(shares: Floats, layers: Floats) -> Floats:
    """Stiffness (v, c, 3, 3) of ``shares`` (v, l, c) of ``layers`` (v, l, 3, 3)."""
    v, count = layers.shape[:2]
    result: Floats = (shares.swapaxes(1, 2) @ layers.reshape(v, count, 9)).reshape(v, -1, 3, 3)
    return result


def sew(
    layout: Layout,
    stitches: Stitches,
    variants: Variants,
    *,
    tolerance: float,
    progress: Callable[[float], None] | None = None,
    slide: Callable[[Floats, Floats, Floats], Floats] | None = None,
    starts: Sequence[Sewn] = (),
    pulls: Floats | None = None,
) -> Sewn:
    """Sew all blocks.

    ``slide`` lets the rim of variant 0 slip: it is given a block's stiffness (cells, 3, 3) N/m, step (dofs,)
    mm and loads (dofs,) mN, and returns what slip adds to the step. ``starts`` are sewings like this one, of
    other stacks or of nearly the same design, from whose steps the solves begin; those with other numbers of
    blocks or nodes are left out. ``pulls`` (v, n) N is :func:`tension` where it is known already.

    Raises:
        NotConverged: a solve missed ``tolerance``.

    """
    if pulls is None:
        pulls = tension(stitches, variants.pull, layout.grid.cell_mm)
    (sewn,) = sew_each(
        layout, (variants,), pulls, tolerance=tolerance, progress=progress, slide=slide, starts=starts
    )
    return sewn


@threads_at_rest()
def sew_each(
    layout: Layout,
    stacks: Sequence[Variants],
    pulls: Floats,
    *,
    tolerance: float,
    progress: Callable[[float], None] | None = None,
    slide: Callable[[Floats, Floats, Floats], Floats] | None = None,
    starts: Sequence[Sewn] = (),
) -> tuple[Sewn, ...]:
    """Sew all blocks on the variants of several stacks at once; ``pulls`` (v, n) N are of all in their order.

    The rest is as in :func:`sew`; ``slide`` and ``starts`` belong to the first stack's variant 0 and to all.

    Raises:
        NotConverged: a solve missed ``tolerance``.

    """
    lattice, count = layout.lattice, layout.blocks.count
    batch = _Batch.of(stacks, layout)
    v, dofs, cells = len(batch.layers), 2 * lattice.nodes, lattice.nx * lattice.ny
    starts = [other for other in starts if other.states.shape[1:] == (count + 1, lattice.nodes, 2)]
    if starts:
        tolerance *= _BEGUN_NEAR
    shape = (lattice.ny + 1, lattice.nx + 1, 2)
    floor = constants("mechanics")["perforation_floor"].value
    loads = np.asarray(layout.loads @ pulls.T).reshape(count, dofs, v).transpose(2, 0, 1)

    lead, there = batch.lead, batch.there
    kept = there.copy()
    stiffness = _layered(kept, batch.layers)
    holes = np.zeros(cells)
    ties, tied = np.zeros((len(lead), cells, 3, 3)), np.zeros(cells, dtype=np.bool_)
    strained = np.zeros((len(lead), batch.layers.shape[1] + 1, cells, 3))
    sheet = Sheet(lattice, stiffness, np.float32 if tolerance >= SINGLE_TOLERANCE else np.float64)
    precondition = UniformInverse(sheet, clamped=True)
    free = layout.free.reshape(shape)
    states = np.zeros((v, count + 1, *shape))
    owed = np.zeros((v, *shape))
    forming = np.zeros((v, count))
    iterations = 0
    for k in range(count):
        rows = slice(int(layout.start[k]), int(layout.start[k + 1]))
        at = layout.cell[rows].astype(np.intp)
        holes[at] += layout.holes[rows]
        left = np.maximum(floor, 1.0 - batch.perforation_mm2[:, :, None] * holes[at]) * there[:, :, at]
        here = stiffness[:, at]
        here += _layered(left - kept[:, :, at], batch.layers)
        kept[:, :, at] = left
        new = 1000.0 * batch.thread_stiffness_n[:, None, None, None] * layout.ties[rows]
        e = layout.along[rows]
        twice = (e[:, :, None] * e[:, None, :]).reshape(-1, 9, 1)
        along = (new.reshape(v, -1, 1, 9) @ twice)[:, :, 0, 0]
        rho = along / (here.reshape(v, -1, 1, 9) @ twice)[:, :, 0, 0]
        forming[:, k] = (along * rho).sum(axis=1) / np.maximum(along.sum(axis=1), 1e-12)
        share = locking_share(rho)[:, :, None, None] * new
        here += share
        stiffness[:, at] = here
        sheet.change(at, here)
        precondition.update(sheet.mean_diagonal())
        last = k == count - 1
        solved = solve_surely(
            sheet,
            lattice,
            stiffness,
            loads[:, k].reshape(v, *shape) + owed,
            free,
            precondition,
            tolerance=0.1 * tolerance if last else tolerance,
            starts=[other.step(k, v).reshape(-1, *shape) for other in starts],
        )
        step, owed = solved.u, solved.residual
        iterations += solved.steps
        if slide is not None:
            step[0] += slide(stiffness[0], step[0].reshape(-1), loads[0, k]).reshape(shape)
        states[:, k + 1] = states[:, k] + step
        strain = lattice.strain(step[lead])
        strained[:, :-1] += kept[lead][..., None] * (strain[:, None] @ batch.layers[lead])
        ties[:, at] += share[lead]
        tied[at] = True
        strained[:, -1, tied] += np.einsum("scij,scj->sci", ties[:, tied], strain[:, tied])
        rest = new - share
        here += rest
        stiffness[:, at] = here
        sheet.change(at, here)
        ties[:, at] += rest[lead]
        if progress is not None:
            progress((k + 1) / count)
    flat = states.reshape(v, count + 1, lattice.nodes, 2)
    return tuple(
        Sewn(
            states=flat[first : first + len(one.layers)],
            forming=forming[first : first + len(one.layers)],
            layer_resultants=strained[i, : one.layers.shape[1]],
            tie_resultants=strained[i, -1],
            kept=kept[first, : one.layers.shape[1]],
            ties=ties[i],
            pull_forces=loads[first].sum(axis=0).reshape(shape),
            iterations=iterations,
        )
        for i, (one, first) in enumerate(zip(stacks, lead.tolist(), strict=True))
    )


@dataclass(frozen=True, slots=True)
class _Batch:
    """The v variants of s stacks, one after the other; a stack of few layers has some of no stiffness.

    ``lead`` (s,) are the first variants; ``there`` (v, l, cells) tells where each layer lies.
    """

    lead: Index
    layers: Floats
    perforation_mm2: Floats
    thread_stiffness_n: Floats
    there: Floats

    @classmethod
    def of(cls, stacks: Sequence[Variants], layout: Layout) -> _Batch:
        """Gather the variants."""
        most = max(one.layers.shape[1] for one in stacks)

        def filled(values: Floats) -> Floats:
            return np.concatenate(
                [values, np.zeros((len(values), most - values.shape[1], *values.shape[2:]))], 1
            )

        there = []
        for one in stacks:
            sheets = one.sheets_mm or (None,) * one.layers.shape[1]
            places = one.sheets_at_mm or ((0.0, 0.0),) * len(sheets)
            covers = [cover(layout.grid, sheet, at) for sheet, at in zip(sheets, places, strict=True)]
            there.append(np.repeat(np.stack(covers)[None], len(one.layers), axis=0))
        counts = [len(one.layers) for one in stacks]
        return cls(
            lead=np.cumsum(counts, dtype=np.intp) - counts,
            layers=np.concatenate([filled(one.layers) for one in stacks]),
            perforation_mm2=np.concatenate([filled(one.perforation_mm2) for one in stacks]),
            thread_stiffness_n=np.concatenate([one.pull.thread_stiffness_n for one in stacks]),
            there=np.concatenate([filled(each) for each in there]),
        )
