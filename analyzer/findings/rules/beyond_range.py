"""beyond-range: the cloth distorts so much that the numbers only rank.

Meaning: it will distort badly, more than can be computed.
Unit: strain, 95th percentile over stitched cells.
Limit: strain_p95 (8 %; our own refinement study: backed cloth stays below, bare cloth lies far above).
Level: a fault; on free-standing lace, which holds its own shape once sewn, a caution.
Known weakness: bare knits reach it with almost any dense stitching.
Try: a backing, a stronger one, or a lighter design.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level

_LACE = "On film alone the stitching draws together further than can be computed; expect a smaller piece."
_LACE_ADVICE = "Sew a sample, measure it rinsed and dry, and make the design that much larger."


def look(evidence: Evidence) -> Finding | None:
    """Report a response that lies beyond what can be computed."""
    if evidence.response is None or not evidence.response.pull_in.beyond_range:
        return None
    pull = evidence.response.pull_in
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if evidence.is_lace else Level.FAULT,
        regions=(),
        at=pull.at,
        measured=pull.strain_p95,
        limit=evidence.limit("strain_p95"),
        unit="share",
        chance=None,
        because=_LACE if evidence.is_lace else "It will distort badly, more than can be computed.",
        advice=_LACE_ADVICE
        if evidence.is_lace
        else "Put a backing behind it or a stronger one, or choose a lighter design.",
    )


RULE = Rule("beyond-range", "response", "stack", look, __doc__ or "")
