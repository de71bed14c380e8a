"""lace-comes-apart: free-standing lace is not one piece once its backing is rinsed away.

Meaning: some stitching does not touch the rest; nothing holds it.
Unit: share of the thread that hangs together.
Limit: lace_largest_share (guess: what is left are thread ends).
Known weakness: where threads cross they may hold each other; a crossing is no proof that they do.
Try: a net of underlay that joins all parts, or overlaps where parts meet.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report lace in parts; only free-standing lace is asked."""
    if not evidence.is_lace:
        return None
    lace = evidence.cover.lace
    if lace.pieces <= 1:
        return None
    limit = evidence.limit("lace_largest_share")
    return Finding(
        name=RULE.name,
        level=Level.FAULT if lace.largest_share < limit else Level.CAUTION,
        regions=(),
        at=lace.loose_at[0] if lace.loose_at else None,
        measured=lace.largest_share,
        limit=limit,
        unit="share",
        chance=None,
        because=(
            f"Once rinsed it falls into {lace.pieces} pieces; "
            f"the largest holds {lace.largest_share:.0%} of the thread."
            f"{'' if lace.largest_share >= limit else ' How it moves when rinsed is not computed.'}"
        ),
        advice="Join the parts by a net of underlay, or let them overlap where they meet.",
    )


RULE = Rule("lace-comes-apart", "file", "file", look, __doc__ or "")
