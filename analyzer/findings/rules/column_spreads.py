"""column-spreads: the stitching pushes out across its rows.

Meaning: cloth that is drawn together along the stitches gives way across them, and the ends of columns and
the last rows of fills land outside where the file puts them.
Unit: mm by which the whole stitched extent grows across the main stitch direction.
Limit: spread_mm (guess).
Known weakness: the weakest of what is computed; real cloth ripples instead, and may spread a quarter of
this.
Try: shorten the columns or take rows off at their ends by half of it, or a firmer backing.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report a design that grows across its stitches."""
    if evidence.response is None or evidence.response.pull_in.beyond_range:
        return None
    grown, limit = -evidence.response.pull_in.across_mm, evidence.limit("spread_mm")
    if grown <= limit:
        return None
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=(),
        at=evidence.response.pull_in.at,
        measured=grown,
        limit=limit,
        unit="mm",
        chance=None,
        because=f"Across its stitches the design grows by about {millimetres(grown)}, both sides together.",
        advice=f"Take about {millimetres(grown / 2.0)} off at each end, or use a firmer backing.",
    )


RULE = Rule("column-spreads", "response", "stack", look, __doc__ or "")
