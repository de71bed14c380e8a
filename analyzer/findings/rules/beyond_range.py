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
from analyzer.findings.field import clearance_mm
from analyzer.findings.types import Finding, Level

_SAID = (
    "It will distort badly, more than can be computed.",
    "Put a backing behind it or a stronger one, or choose a lighter design.",
)
_LACE = (
    "On film alone the stitching draws together further than can be computed; expect a smaller piece.",
    "Sew a sample, measure it rinsed and dry, and make the design that much larger.",
)
_OUTSIDE = (
    "The design does not fit into this hoop, so what the cloth does in it cannot be computed.",
    "Take a larger hoop and check it again.",
)


def look(evidence: Evidence) -> Finding | None:
    """Report a response that lies beyond what can be computed."""
    if evidence.response is None or not evidence.response.pull_in.beyond_range:
        return None
    pull = evidence.response.pull_in
    because, advice = _SAID
    if evidence.is_lace:
        because, advice = _LACE
    if evidence.setup is not None and clearance_mm(evidence.design, evidence.setup.hoop)[0] < 0:
        because, advice = _OUTSIDE
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if evidence.is_lace else Level.FAULT,
        regions=(),
        at=pull.at,
        measured=pull.strain_p95,
        limit=evidence.limit("strain_p95"),
        unit="share",
        chance=None,
        because=because,
        advice=advice,
    )


RULE = Rule("beyond-range", "response", "stack", look, __doc__ or "")
