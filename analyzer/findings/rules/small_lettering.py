"""small-lettering: satin letters are too low to stay legible.

Meaning: below some height the open insides of letters close up, and on pile the letters sink out of sight.
Unit: mm of height in the file, square to the line of text.
Limit: lettering_height_mm, lettering_height_pile_mm (common practice, no source), for thread 40; on smooth
cloth it goes with the width of the thread (derived: the open insides of letters are a few threads wide).
Known weakness: only satin letters are known as letters, three or more in a line; lower-case and capital
letters of one word are taken together, by the median.
Try: larger letters, or letters made of runs with thinner thread and a finer needle.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report the words whose letters are under the least height."""
    limit = _limit_mm(evidence)
    small = [word for word in evidence.regions.lettering if word.height_mm < limit]
    if not small:
        return None
    worst = min(small, key=lambda word: word.height_mm)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if evidence.has_pile or worst.height_mm < 0.8 * limit else Level.NOTE,
        regions=tuple(number for word in small for number in word.regions),
        at=middle(evidence.regions.items[worst.regions[0]]),
        measured=worst.height_mm,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"{count_of(len(small), 'line of letters is', 'lines of letters are')} lower than "
            f"{millimetres(limit)}; the lowest is {millimetres(worst.height_mm)}."
        ),
        advice="Enlarge the letters, or use runs with a thinner thread and a finer needle.",
    )


def _limit_mm(evidence: Evidence) -> float:
    """Return the least height of letters, mm."""
    if evidence.has_pile:
        return evidence.limit("lettering_height_pile_mm")
    limit = evidence.limit("lettering_height_mm")
    if evidence.setup is None:
        return limit
    usual = evidence.setup.tables.usual_thread().laid_width_mm.value
    return limit * evidence.setup.thread.laid_width_mm.value / usual


RULE = Rule("small-lettering", "file", "file", look, __doc__ or "")
