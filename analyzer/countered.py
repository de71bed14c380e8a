"""The countered copy of what was checked: the design moved so that, sewn, it comes out where it is meant."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analyzer import goods, mechanics, plan
from analyzer.design import Design
from analyzer.errors import BadJob
from analyzer.goods import Stack
from analyzer.mechanics import Miss
from analyzer.pipeline import Checked, OnGoods, Progress


@dataclass(frozen=True, slots=True)
class Countered:
    """A countered copy: the design moved so that, sewn, it comes out where the file means it.

    All predicted, at nominal values. ``after`` is for the copy's exact places, ``rounded`` for places in the
    steps of 0.1 mm that stitch files have.
    """

    design: Design | None  #: None where the cloth strains further than can be computed
    passes: int
    before: Miss
    after: Miss
    rounded: Miss
    largest_move_mm: float
    held: int  #: stitches that kept their length, since machines would not sew the changed one
    reason: mechanics.Reason  #: why it is not where it should be; empty when it is
    says: tuple[str, ...]  #: what there is to say about it, one sentence each


def countered(checked: Checked, progress: Progress | None = None) -> Countered:
    """Return the countered copy of a design on the goods and the stack that it was judged on.

    Raises:
        BadJob: the check names no goods, so there is no stack; or the goods are held on a cap frame.
        NotConverged: a solve missed its tolerance.

    """
    judged = checked.judged
    if judged is None:
        raise BadJob("a countered copy is made for one cloth: name the goods (--goods)")
    if judged.setup.holding == "cap-frame":
        raise BadJob("what the cloth does is computed flat, and a cap is curved: it gets no countered copy")
    tell = progress if progress is not None else _silent
    tell("countering", 0.0)
    sewing = mechanics.prepare(checked.design, checked.regions, judged.setup.hoop)
    moves = mechanics.counter(sewing, judged.stack, lambda share: tell("countering", share))
    copy = None
    if moves.reason != "beyond-range":
        behind = plan.named(checked.plan.choice) if checked.plan else "nothing behind it"
        note = f"Countered copy of {checked.design.name} for {judged.setup.cloth.name} on {behind}."
        copy = mechanics.moved_design(checked.design, moves.shift_mm)
        copy = replace(copy, notes=(*copy.notes, note))
    return Countered(
        design=copy,
        passes=moves.passes,
        before=moves.before,
        after=moves.after,
        rounded=moves.rounded,
        largest_move_mm=moves.largest_mm,
        held=moves.held,
        reason=moves.reason,
        says=_said_of_copy(checked, judged, moves),
    )


def _said_of_copy(checked: Checked, judged: OnGoods, moves: mechanics.Moves) -> tuple[str, ...]:
    """Return what a user must know of a countered copy, one sentence each."""
    if moves.reason == "beyond-range":
        return (
            "The cloth strains further than can be computed, so no copy is made: put a backing behind it, or "
            "a stronger one.",
        )
    said = []
    limits = goods.constants("mechanics")
    if moves.reason == "did-not-settle":
        said.append(f"It did not settle in {mechanics.PASSES} passes: the best of them is kept.")
    if moves.held:
        said.append(
            f"{moves.held:,} stitches keep their length, since machines do not sew shorter than "
            f"{limits['counter_shortest_mm'].value:.1f} mm or longer than "
            f"{limits['longest_stitch_mm'].value:.1f} mm."
        )
    said.append(_sew_out_first(judged.stack, calibrated=checked.sureness.calibrated))
    moves_again = judged.response.unhooped
    shows = goods.constants("mechanics")["counter_step_mm"].value
    if moves_again is not None and moves_again.moved_mm >= shows:
        when = "rinsed" if judged.setup.cloth.family == "none" else "taken out of the hoop and finished"
        said.append(
            f"It counters what happens in the hoop; {when}, places still shift by up to "
            f"{moves_again.moved_mm:.1f} mm against each other."
        )
    said.append("The copy holds for these goods, this backing and this hoop only.")
    return tuple(said)


def _sew_out_first(stack: Stack, *, calibrated: bool) -> str:
    """Return what the unknown pull leaves: of a gap the share by which the true pull differs from it."""
    pull = stack.spreads["pull_n"]
    left = max(abs(1.0 - end / pull.value) for end in (pull.low, pull.high))
    known = "from your sew-outs" if calibrated else "only as a range"
    return (
        f"Sew the original first and measure it: how hard the thread pulls is known {known}, and up to "
        f"{left:.0%} of each gap may be left or turned round."
    )


def _silent(what: str, share: float) -> None:
    """Tell nobody."""
