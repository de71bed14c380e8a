"""no-ties: nothing in the file locks the thread ends, or most of them.

Meaning: without tie-in and tie-off the first and last stitches of each thread come undone in the
wash.
Unit: share of the thread ends (two for each thread between cuts) without a tie.
Limit: ties_missing_share, in a design of ties_from_stitches or more (guesses).
Known weakness: many machines tie by themselves at every trim; the file does not show that. An end
is tied where one of its stitches of about a millimetre goes back over another.
Try: switch the machine's own ties on, or have ties added.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.regions.types import RegionKind


def look(evidence: Evidence) -> Finding | None:
    """Report a design most of whose threads are not tied."""
    if evidence.design.stitches < evidence.limit("ties_from_stitches"):
        return None
    ends, untied = evidence.cover.needling.thread_ends, evidence.cover.needling.ends_untied
    if ends == 0:  # no thread long enough to have ends of its own
        ends, untied = 1, int(not evidence.of_kind(RegionKind.TIE))
    limit = evidence.limit("ties_missing_share")
    if untied / ends <= limit:
        return None
    if untied == ends:
        because = "No tie-in or tie-off was found; thread ends can come undone."
    else:
        because = f"{untied} of {ends} thread ends have no tie-in or tie-off; those can come undone."
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if evidence.washed_often else Level.NOTE,
        regions=(),
        at=None,
        measured=untied / ends,
        limit=limit,
        unit="share",
        chance=None,
        because=because,
        advice="Switch on the machine's own ties, or have ties added to the file.",
    )


RULE = Rule("no-ties", "file", "file", look, __doc__ or "")
