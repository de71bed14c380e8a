"""damaged-file: the file breaks off or holds what no design holds.

Meaning: reading had to stop or to skip; what follows the damage is missing.
Unit: none.
Limit: none.
Known weakness: damage that leaves a plausible design cannot be seen.
Try: get the file again from where it came.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report a file that was read only in part."""
    reason = evidence.design.damaged
    if reason is None:
        return None
    return Finding(
        name=RULE.name,
        level=Level.FAULT,
        regions=(),
        at=None,
        measured=None,
        limit=None,
        unit="",
        chance=None,
        because=f"The file is damaged: {reason.rstrip('.')}.",
        advice="Get the file again from where it came; do not sew this one.",
    )


RULE = Rule("damaged-file", "file", "file", look, __doc__ or "")
