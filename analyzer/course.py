"""How the cloth of a check moves while the design is sewn: computed only when a picture asks for it."""

from __future__ import annotations

from analyzer import goods, mechanics
from analyzer.arrays import Bools
from analyzer.errors import BadJob
from analyzer.goods import StackChoice
from analyzer.mechanics import Course
from analyzer.mechanics.answer import visible
from analyzer.mechanics.sewing import loading
from analyzer.pipeline import Checked


def course(checked: Checked, *, bare: bool = False) -> Course:
    """Return the course of the sewing on the goods and the stack that a check was judged on.

    ``bare``: with nothing behind the goods instead, and no finer than stacks are screened.

    Raises:
        BadJob: the check names no goods, so there is no stack to sew on.
        NotConverged: a solve missed its tolerance.

    """
    judged = checked.judged
    if judged is None:
        raise BadJob("how the cloth moves is computed for one cloth: name the goods (--goods)")
    sewing = mechanics.prepare(
        checked.design, checked.regions, judged.setup.hoop, detail="screen" if bare else "full"
    )
    if not bare:
        return mechanics.course(sewing, judged.stack)
    choice = checked.plan.choice if checked.plan else StackChoice((), None)
    nothing = StackChoice((), choice.topping, choice.piece)
    return mechanics.course(sewing, goods.build_stack(judged.setup, nothing, checked.job.calibration))


def seen(checked: Checked) -> Bools:
    """Return which penetrations (m,) belong to stitching that shows and pulls, whose drift is spoken of."""
    pulls = loading(checked.design)
    both: Bools = pulls & visible(checked.regions)
    return both if both.any() else pulls
