"""lace-weak-link: a part of free-standing lace hangs on the rest by few threads.

Meaning: once the backing is rinsed away, the loss of a few threads parts a piece from the rest.
Unit: threads, the fewest whose loss parts it.
Limit: fewer than lace_link_threads for a part of lace_parted_share or more; up to
lace_link_fault_threads it is a fault (guesses).
Known weakness: threads that cross within 2 mm count as holding each other, which crossings alone do
not always do; of parts smaller than 8 mm across nothing is said.
Try: sew the bridge more often, or let the parts overlap where they meet.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, regions_near
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of


def look(evidence: Evidence) -> Finding | None:
    """Report the weakest link of lace; only free-standing lace is asked."""
    if not evidence.is_lace:
        return None
    limit = evidence.limit("lace_link_threads")
    weak = [
        link
        for link in evidence.cover.lace.weak_links
        if link.threads < limit and link.parted_share >= evidence.limit("lace_parted_share")
    ]
    if not weak:
        return None
    worst = min(weak, key=lambda link: (link.threads, -link.parted_share))
    return Finding(
        name=RULE.name,
        level=Level.FAULT if worst.threads <= evidence.limit("lace_link_fault_threads") else Level.CAUTION,
        regions=regions_near(evidence, worst.at, evidence.limit("beside_mm")),
        at=worst.at,
        measured=float(worst.threads),
        limit=limit,
        unit="threads",
        chance=None,
        because=(
            f"Once rinsed, {count_of(len(weak), 'part hangs', 'parts hang')} on the rest by few threads; "
            f"the weakest, {worst.parted_share:.0%} of the lace, "
            f"by {count_of(worst.threads, 'thread', 'threads')}."
        ),
        advice="Sew that link more often, or let the parts overlap there.",
    )


RULE = Rule("lace-weak-link", "file", "file", look, __doc__ or "")
