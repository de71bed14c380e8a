"""more-colours-than-needles: the machine has to be threaded anew while it sews the design.

Meaning: the design has more different threads than the machine has needles, so someone has to stand by.
Unit: different threads.
Limit: the machine's needles.
Known weakness: colours that the file does not name are told apart by their blocks alone; a machine of
one needle is threaded anew for every colour and is not spoken of.
Try: merge like colours, or put two colours on one needle where the sheet says when to change.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report more different threads than needles."""
    if evidence.setup is None or evidence.setup.needles is None or evidence.setup.needles < 2:
        return None
    threads = evidence.design.threads
    used = {region.colour for region in evidence.regions.items}
    named = {
        (threads[i].rgb, threads[i].name) if i < len(threads) and threads[i].rgb is not None else i
        for i in used
    }
    if len(named) <= evidence.setup.needles:
        return None
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=(),
        at=None,
        measured=float(len(named)),
        limit=float(evidence.setup.needles),
        unit="threads",
        chance=None,
        because=f"The design takes {len(named)} threads, the machine holds {evidence.setup.needles}.",
        advice="Plan where to thread it anew, or sew like colours in one.",
    )


RULE = Rule("more-colours-than-needles", "goods", "job", look, __doc__ or "")
