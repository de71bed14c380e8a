"""topping-trapped: scraps of the topping will stay in small closed places.

Meaning: what is torn off by hand stays in places that stitching encloses, such as the eyes of letters.
Unit: enclosed places smaller than trapped_radius_mm.
Limit: trapped_places (guess).
Known weakness: places smaller than the least hole that is looked for are not counted.
Try: a topping that water takes off, where the goods may be wetted.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report small enclosed places under a topping that is not rinsed out."""
    setup, choice = evidence.setup, evidence.choice
    if setup is None or choice is None or choice.topping is None:
        return None
    topping = setup.tables.topping(choice.topping)
    if topping.removal == "rinsed":
        return None
    radius = evidence.limit("trapped_radius_mm")
    places = [void for void in evidence.cover.voids if not void.open and void.radius_mm < radius]
    limit = evidence.limit("trapped_places")
    if len(places) < limit:
        return None
    largest = max(places, key=lambda void: void.area_mm2)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=(),
        at=largest.at,
        measured=float(len(places)),
        limit=limit,
        unit="places",
        chance=None,
        because=f"{topping.title} is torn off by hand, and stitching encloses {len(places)} small places.",
        advice="Take a topping that is rinsed out, or allow time to pick the scraps out.",
    )


RULE = Rule("topping-trapped", "stack", "job", look, __doc__ or "")
