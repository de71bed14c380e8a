"""nap-shows: pile or loops will stand up through the stitching.

Meaning: without a topping the stitches sink between the pile.
Unit: mm of pile above the base.
Limit: nap_mm (guess: two thread thicknesses).
Level: caution without a topping, a note with one on goods that are washed.
Known weakness: a topping helps until the first wash; after that only underlay and broad columns
hold the pile down.
Try: a topping.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report pile that is sewn without a topping; with one, a note on goods that are washed."""
    if evidence.setup is None or evidence.choice is None:
        return None
    pile = evidence.setup.cloth.pile_mm
    held = evidence.choice.topping is not None
    if pile is None or not evidence.has_pile or (held and evidence.setup.care == "never-washed"):
        return None
    stands = f"The pile stands {millimetres(pile.value)} above the cloth"
    return Finding(
        name=RULE.name,
        level=Level.NOTE if held else Level.CAUTION,
        regions=(),
        at=None,
        measured=pile.value,
        limit=evidence.limit("nap_mm"),
        unit="mm",
        chance=None,
        because=f"{stands}; the topping holds it down until the first wash."
        if held
        else f"{stands} and nothing holds it down.",
        advice="Have underlay under everything, and no column narrower than 1.5 mm."
        if held
        else "Lay a topping over it.",
    )


RULE = Rule("nap-shows", "stack", "job", look, __doc__ or "")
