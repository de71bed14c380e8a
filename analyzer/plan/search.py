"""Finding the lightest stack that holds, with few trials.

Along one kind of backing the chance of missing falls with weight, so each kind is searched by
halving: the kind with the most steps first, the others only among what is lighter than the best so
far. Then the lighter steps that just failed are tried with their sheet turned. A trial costs a computation;
none is made twice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from analyzer.goods.constants import constants
from analyzer.goods.types import StackChoice
from analyzer.plan.candidates import TURNS_DEG, turned
from analyzer.plan.types import Trial

MOST_STEPS = 6  # stacks judged anew before the best of them is taken
LIGHTER_STEPS = 2  # lighter stacks that just failed, judged anew once one holds


def holds(trial: Trial, accepted: float | None = None) -> bool:
    """Whether a stack is good enough: misses less often than ``accepted`` (default: the table's chance)."""
    most = constants("limits")["chance_accepted"].value if accepted is None else accepted
    return trial.chance_of_missing < most and not trial.faults and not trial.beyond_range


def badness(trial: Trial) -> tuple[bool, int, float]:
    """Return a key by which the better of two trials sorts first."""
    return trial.beyond_range, len(trial.faults), trial.chance_of_missing


@dataclass(slots=True)
class Search:
    """One search over ``candidates``, lightest first; ``trials`` holds what was tried.

    A turned sheet is no candidate of its own; it ranks with the candidate that it is a turn of.
    """

    candidates: tuple[StackChoice, ...]
    judge: Callable[[StackChoice], Trial]
    accepted: float | None = None
    trials: dict[StackChoice, Trial] = field(default_factory=dict)

    def trial(self, choice: StackChoice) -> Trial:
        """Return the trial of one stack, made at most once."""
        if choice not in self.trials:
            self.trials[choice] = self.judge(choice)
        return self.trials[choice]

    def good(self, trial: Trial) -> bool:
        """Whether a trial holds at the chance that this search accepts."""
        return holds(trial, self.accepted)

    def rank(self, choice: StackChoice) -> int:
        """Return the place of a stack among the candidates, lightest first."""
        if choice in self.candidates:
            return self.candidates.index(choice)
        return next(
            i
            for i, other in enumerate(self.candidates)
            if any(turned(other, turn) == choice for turn in TURNS_DEG)
        )

    def _first(self, steps: Sequence[StackChoice], good: Callable[[Trial], bool]) -> StackChoice | None:
        """Return the first of ``steps`` whose trial is good, given that all after it are good too."""
        low, high = 0, len(steps)
        while low < high:
            middle = (low + high) // 2
            if good(self.trial(steps[middle])):
                high = middle
            else:
                low = middle + 1
        return steps[low] if low < len(steps) else None

    def ladder(self, choice: StackChoice) -> list[StackChoice]:
        """Return the candidates of the kind of a stack, lightest first."""
        return [other for other in self.candidates if _kind(other) == _kind(choice)]

    def _ladders(self) -> list[list[StackChoice]]:
        """Return the steps of each kind of backing, the kind with the most steps first."""
        ladders: dict[str, list[StackChoice]] = {}
        for choice in self.candidates:
            ladders.setdefault(_kind(choice), []).append(choice)
        return sorted(ladders.values(), key=len, reverse=True)

    def lightest(self) -> StackChoice | None:
        """Return the lightest candidate that holds, None where none does."""
        best: StackChoice | None = None
        for number, steps in enumerate(self._ladders()):
            most = len(self.candidates) if best is None else self.rank(best)
            lighter = [step for step in steps if self.rank(step) < most]
            if number and lighter and not self.good(self.trial(lighter[-1])):
                continue  # what is lighter yet fails too
            found = self._first(lighter, self.good)
            best = best if found is None else found
        return self._turned(best)

    def _turned(self, best: StackChoice | None) -> StackChoice | None:
        """Return the lightest step that just failed and holds with its sheet turned, or ``best``."""
        near = constants("plan")["turn_worth_trying"].value
        below = len(self.candidates) if best is None else self.rank(best)
        failed = [
            choice
            for choice, trial in self.trials.items()
            if self.rank(choice) < below
            and choice.layers == 1
            and not trial.beyond_range
            and trial.chance_of_missing <= near
        ]
        heaviest: dict[str, StackChoice] = {}
        for choice in sorted(failed, key=self.rank):
            heaviest[_kind(choice)] = choice
        for choice in sorted(heaviest.values(), key=self.rank):
            for turn in TURNS_DEG:
                if self.good(self.trial(turned(choice, turn))):
                    return turned(choice, turn)
        return best

    def confirmed(self, choice: StackChoice, confirm: Callable[[StackChoice], Trial]) -> StackChoice:
        """Judge a stack anew with ``confirm``; return it or a stronger one.

        Where the search said that it holds and it does not after all, the search goes on with what was
        confirmed.
        """
        expected = self.good(self.trial(choice))
        seen: list[StackChoice] = []
        following: StackChoice | None = choice
        while following is not None and following not in seen and len(seen) < MOST_STEPS:
            seen.append(following)
            self.trials[following] = confirm(following)
            if not expected:
                return following
            if self.good(self.trials[following]):
                return self._lighter_yet(following, confirm)
            following = self.lightest()
        return min(seen, key=lambda step: (badness(self.trials[step]), self.rank(step)))

    def _lighter_yet(self, choice: StackChoice, confirm: Callable[[StackChoice], Trial]) -> StackChoice:
        """Return a lighter stack that holds when judged anew, though the search said that it just fails.

        The search judges on a coarser grid, which overstates gaps at the ends of outlines; so the lighter
        stacks that it found nearest to holding are confirmed too, the heaviest of them first. They must hold
        with room to spare, or the plan would change with every small change of the design.
        """
        near = constants("plan")["turn_worth_trying"].value
        accepted = constants("limits")["chance_accepted"].value if self.accepted is None else self.accepted
        sure = accepted * constants("plan")["lighter_sureness"].value
        below = self.rank(choice)
        failed = [
            step
            for step, trial in self.trials.items()
            if self.rank(step) < below
            and not trial.beyond_range
            and not trial.faults
            and trial.chance_of_missing <= near
        ]
        for step in sorted(failed, key=self.rank, reverse=True)[:LIGHTER_STEPS]:
            self.trials[step] = confirm(step)
            if not self.good(self.trials[step]) or self.trials[step].chance_of_missing > sure:
                break
            choice = step
        return choice

    def best(self) -> StackChoice:
        """Return the stack to fall back on where none holds.

        That is the lightest of its kind whose chance of missing is not worse than the least one found by more
        than the margin of the plan's table: beyond that, more backing buys little. Where the least one misses
        only just, the margin is as narrow, so that a little more stitching does not lead to a weaker stack.
        """
        strongest = min(self.trials, key=lambda choice: (badness(self.trials[choice]), self.rank(choice)))
        *flaws, least = badness(self.trials[strongest])
        accepted = constants("limits")["chance_accepted"].value if self.accepted is None else self.accepted
        margin = min(constants("plan")["chance_margin"].value, max(0.0, least - accepted))

        def is_near(trial: Trial) -> bool:
            *own, chance = badness(trial)
            return own == flaws and chance <= least + margin

        lighter = [step for step in self.ladder(strongest) if self.rank(step) <= self.rank(strongest)]
        found = self._first(lighter, is_near)
        return strongest if found is None else found


def _kind(choice: StackChoice) -> str:
    return "+".join(dict.fromkeys(backing.kind for backing in choice.backings))
