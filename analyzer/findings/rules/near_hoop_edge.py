"""near-hoop-edge: the stitching comes close to the edge of the sewing field.

Meaning: there the foot may meet the ring, and the ring holds the cloth so that it pulls to one
side.
Unit: mm from the edge of the field.
Limit: hoop_edge_mm (guess; the field holds the foot's clearance already).
Known weakness: rings differ; only the machine's own trace shows it.
Try: trace the design before sewing, or take the next larger hoop.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.field import clearance_mm
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report a design that fits, but only just."""
    if evidence.setup is None:
        return None
    clear, at = clearance_mm(evidence.design, evidence.setup.hoop)
    limit = evidence.limit("hoop_edge_mm")
    if not 0 <= clear < limit:
        return None
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=(),
        at=at,
        measured=clear,
        limit=limit,
        unit="mm",
        chance=None,
        because=f"The stitching comes within {millimetres(clear)} of the edge of the sewing field.",
        advice="Trace the design before sewing, or take the next larger hoop.",
    )


RULE = Rule("near-hoop-edge", "goods", "job", look, __doc__ or "")
