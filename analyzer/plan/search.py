"""Finding the lightest stack that holds, with few trials.

Along one kind of backing the chance of missing falls with weight, so each kind is searched by
halving: the kind with the most steps first, the others only among what is lighter than the best so
far. A trial costs a computation; none is made twice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from analyzer.goods.constants import constants
from analyzer.goods.types import StackChoice
from analyzer.plan.types import Trial


def holds(trial: Trial) -> bool:
    """Whether a stack is good enough."""
    return (
        trial.chance_of_missing < constants("plan")["chance_accepted"].value
        and not trial.faults
        and not trial.beyond_range
    )


def badness(trial: Trial) -> tuple[bool, int, float]:
    """Return a key by which the better of two trials sorts first."""
    return trial.beyond_range, len(trial.faults), trial.chance_of_missing


@dataclass(slots=True)
class Search:
    """One search over ``candidates``, lightest first; ``trials`` holds what was tried, by place."""

    candidates: tuple[StackChoice, ...]
    judge: Callable[[StackChoice], Trial]
    trials: dict[int, Trial] = field(default_factory=dict)

    def trial(self, place: int) -> Trial:
        """Return the trial of one candidate, made at most once."""
        if place not in self.trials:
            self.trials[place] = self.judge(self.candidates[place])
        return self.trials[place]

    def _first_that_holds(self, places: Sequence[int]) -> int | None:
        """Return the first of ``places`` that holds, given that all after it hold too."""
        low, high = 0, len(places)
        while low < high:
            middle = (low + high) // 2
            if holds(self.trial(places[middle])):
                high = middle
            else:
                low = middle + 1
        return places[low] if low < len(places) else None

    def lightest(self) -> int | None:
        """Return the place of the lightest candidate that holds, None where none does."""
        ladders: dict[str, list[int]] = {}
        for place, choice in enumerate(self.candidates):
            ladders.setdefault(choice.backings[0].kind if choice.backings else "", []).append(place)
        best: int | None = None
        for places in sorted(ladders.values(), key=len, reverse=True):
            found = self._first_that_holds([p for p in places if best is None or p < best])
            best = best if found is None else found
        return best

    def best(self) -> int:
        """Return the place of the best candidate tried, where none holds.

        Among stacks whose chances are alike it is the lightest, or the heaviest once most pieces miss.
        """
        table = constants("plan")
        least = min(badness(trial) for trial in self.trials.values())
        alike = [
            place
            for place, trial in self.trials.items()
            if badness(trial)[:2] == least[:2]
            and trial.chance_of_missing <= least[2] + table["chance_alike"].value
        ]
        return max(alike) if least[0] or least[2] > table["chance_rework"].value else min(alike)
