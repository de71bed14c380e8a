"""missing-stop: an applique is sewn on where the machine should wait.

Meaning: after the placement line the piece of cloth is laid, after the tack-down it is cut; the machine
must wait for both.
Unit: number of halts missing.
Limit: a stop or a change of thread after the placement line and after the tack-down (common practice).
Known weakness: an applique without any halt cannot be told from a column on its underlay and is not
reported; a piece cut beforehand needs no halt after the tack-down.
Try: a stop or a change of thread after each of the two.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of


def look(evidence: Evidence) -> Finding | None:
    """Report the appliques during which the machine does not halt twice."""
    unlaid = [each for each in evidence.regions.appliques if not each.stop_after_placement]
    uncut = [each for each in evidence.regions.appliques if not each.stop_after_tack_down]
    if not unlaid and not uncut:
        return None
    affected = [each for each in evidence.regions.appliques if each in unlaid or each in uncut]
    place = "placement line" if unlaid else "tack-down"
    return Finding(
        name=RULE.name,
        level=Level.FAULT if unlaid else Level.CAUTION,
        regions=tuple(
            number for each in affected for number in (each.placement, *each.tack_down, each.cover)
        ),
        at=middle(evidence.regions.items[affected[0].cover]),
        measured=float(len(unlaid) + len(uncut)),
        limit=0.0,
        unit="stops",
        chance=None,
        because=(
            f"{count_of(len(affected), 'applique goes', 'appliques go')} on after the {place} without a "
            f"stop, so the piece cannot be {'laid' if unlaid else 'cut'}."
        ),
        advice=f"Put a stop or a change of thread after the {place}.",
    )


RULE = Rule("missing-stop", "file", "file", look, __doc__ or "")
