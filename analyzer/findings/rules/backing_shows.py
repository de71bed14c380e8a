"""backing-shows: backing that stays will be seen.

Meaning: it shows through sheer goods as a patch round the stitching, or lies open where the back is seen.
Unit: g/m2 of backing that stays.
Limit: none; any shows.
Known weakness: colours are not compared; a backing of the goods' own colour is seen less.
Try: a wash-away backing, or a tearaway where the stitching is light.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report backing that stays behind sheer goods, or behind firm ones whose back is seen."""
    setup, choice = evidence.setup, evidence.choice
    if setup is None or choice is None:
        return None
    seen = "seen" in setup.back and not setup.cloth.stretchy
    if not setup.cloth.sheer and not seen:
        return None
    staying = sum(item.total_g_m2 for item in choice.backings if setup.tables.backing(item.kind).permanent)
    if staying == 0.0:
        return None
    where = "shows through these sheer goods" if setup.cloth.sheer else "is seen from the back"
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=(),
        at=None,
        measured=staying,
        limit=0.0,
        unit="g/m2",
        chance=None,
        because=f"{staying:.0f} g/m2 of backing stays and {where}.",
        advice="Take a backing that is rinsed out or torn away, or one of the goods' own colour.",
    )


RULE = Rule("backing-shows", "stack", "stack", look, __doc__ or "")
