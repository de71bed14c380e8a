"""backing-outweighs-goods: the backing that stays is heavier than the cloth.

Meaning: the place hangs like a plate, and shows through light cloth.
Unit: weight of the backing that stays over the weight of the goods.
Limit: backing_over_goods (common practice, no source: backing should not outweigh the goods).
Known weakness: weight stands for stiffness and bulk here.
Try: a lighter design, or a softer backing of the mesh kind.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report backing that outweighs the goods, what is torn or rinsed away left out."""
    if evidence.setup is None or evidence.stack is None or evidence.stack.goods is None:
        return None
    goods = evidence.setup.cloth.weight_g_m2.value
    kept = sum(layer.g_m2 for layer in evidence.stack.backings if layer.removal in ("kept", "trimmed"))
    limit = evidence.limit("backing_over_goods")
    if kept <= limit * goods:
        return None
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=(),
        at=None,
        measured=kept / goods,
        limit=limit,
        unit="1",
        chance=None,
        because=f"The backing that stays weighs {kept:.0f} g/m2, the goods {goods:.0f} g/m2.",
        advice="Choose a lighter design or a softer backing; expect the place to hang stiffly.",
    )


RULE = Rule("backing-outweighs-goods", "stack", "job", look, __doc__ or "")
