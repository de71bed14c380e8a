"""hoop-mark: a ring will leave its mark on these goods.

Meaning: pile is crushed and leather or coated cloth creased where a ring clamps them, for good.
Unit: none; the goods table says which cloths a ring marks.
Limit: none.
Known weakness: some velvets recover under steam; only the cloth itself tells.
Level: a note, since the plan floats such goods.
Try: hoop the backing and float the goods on it, or a frame without a ring.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report goods in a ring that a ring marks."""
    setup = evidence.setup
    if setup is None or setup.cloth.hoopable or setup.holding_asked != "hooped":
        return None
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=(),
        at=None,
        measured=None,
        limit=None,
        unit="",
        chance=None,
        because=f"A ring marks {setup.cloth.title}, so the plan floats it.",
        advice="Hoop the backing and float the goods on it, or use a frame without a ring (--holding).",
    )


RULE = Rule("hoop-mark", "goods", "job", look, __doc__ or "")
