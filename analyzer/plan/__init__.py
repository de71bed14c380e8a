"""The plan: what to put behind the goods, how to hold and sew them, and what it comes to.

Rules of the trade say which kinds of backing may be used; a search finds the lightest stack that
holds, through a callable that judges one stack. This room knows nothing of the mechanics behind
that callable.
"""

from analyzer.plan.alternatives import named
from analyzer.plan.candidates import candidates, piece_box_mm, piece_of
from analyzer.plan.choose import OUTCOMES, choose, outcome_of, trial_of
from analyzer.plan.facts import Facts
from analyzer.plan.rework import Outlook, Proposal, best_first, outlook, proposals, weighed
from analyzer.plan.rules import allowed
from analyzer.plan.topping import choose_topping
from analyzer.plan.types import Alternative, Plan, Rework, Steps, ToppingChoice, Trial
from analyzer.plan.usual import usual_stack, usual_stacks

__all__ = [
    "OUTCOMES",
    "Alternative",
    "Facts",
    "Outlook",
    "Plan",
    "Proposal",
    "Rework",
    "Steps",
    "ToppingChoice",
    "Trial",
    "allowed",
    "best_first",
    "candidates",
    "choose",
    "choose_topping",
    "named",
    "outcome_of",
    "outlook",
    "piece_box_mm",
    "piece_of",
    "proposals",
    "trial_of",
    "usual_stack",
    "usual_stacks",
    "weighed",
]
