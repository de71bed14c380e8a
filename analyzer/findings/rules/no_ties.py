"""no-ties: nothing in the file locks the thread ends.

Meaning: without tie-in and tie-off the first and last stitches of each thread come undone in the
wash.
Unit: number of ties found.
Limit: none found in a design of ties_from_stitches or more (guess).
Known weakness: many machines tie by themselves at every trim; the file does not show that.
Try: switch the machine's own ties on, or have ties added.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.regions.types import RegionKind


def look(evidence: Evidence) -> Finding | None:
    """Report a design in which no tie was found."""
    if evidence.design.stitches < evidence.limit("ties_from_stitches") or evidence.of_kind(RegionKind.TIE):
        return None
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if evidence.washed_often else Level.NOTE,
        regions=(),
        at=None,
        measured=0.0,
        limit=1.0,
        unit="ties",
        chance=None,
        because="No tie-in or tie-off was found; thread ends can come undone.",
        advice="Switch on the machine's own ties, or have ties added to the file.",
    )


RULE = Rule("no-ties", "file", "file", look, __doc__ or "")
