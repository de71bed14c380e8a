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

MOST_STEPS = 3  # judged anew before the best of them is taken


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

    def _first(self, places: Sequence[int], good: Callable[[Trial], bool]) -> int | None:
        """Return the first of ``places`` whose trial is good, given that all after it are good too."""
        low, high = 0, len(places)
        while low < high:
            middle = (low + high) // 2
            if good(self.trial(places[middle])):
                high = middle
            else:
                low = middle + 1
        return places[low] if low < len(places) else None

    def _ladders(self) -> dict[str, list[int]]:
        """Return the places of each kind of backing, lightest first."""
        ladders: dict[str, list[int]] = {}
        for place, choice in enumerate(self.candidates):
            ladders.setdefault(choice.backings[0].kind if choice.backings else "", []).append(place)
        return ladders

    def lightest(self) -> int | None:
        """Return the place of the lightest candidate that holds, None where none does."""
        best: int | None = None
        for places in sorted(self._ladders().values(), key=len, reverse=True):
            found = self._first([p for p in places if best is None or p < best], holds)
            best = best if found is None else found
        return best

    def confirmed(self, place: int, confirm: Callable[[StackChoice], Trial]) -> int:
        """Judge a candidate anew with ``confirm``; return its place or that of a stronger one.

        Where the search said that it holds and it does not after all, the next steps of its kind are judged.
        """
        expected = holds(self.trial(place))
        ladder = next(places for places in self._ladders().values() if place in places)
        steps = [step for step in ladder if step >= place][:MOST_STEPS]
        for step in steps:
            self.trials[step] = confirm(self.candidates[step])
            if not expected or holds(self.trials[step]):
                return step
        return min(steps, key=lambda step: (badness(self.trials[step]), step))

    def best(self) -> int:
        """Return the place to fall back on where none holds.

        That is the lightest of its kind whose chance of missing is not worse than the least one found by more
        than the margin of the plan's table: beyond that, more backing buys little.
        """
        strongest = min(self.trials, key=lambda place: (badness(self.trials[place]), place))
        *flaws, least = badness(self.trials[strongest])
        margin = constants("plan")["chance_margin"].value

        def is_near(trial: Trial) -> bool:
            *own, chance = badness(trial)
            return own == flaws and chance <= least + margin

        ladder = next(places for places in self._ladders().values() if strongest in places)
        found = self._first([place for place in ladder if place <= strongest], is_near)
        return strongest if found is None else found
