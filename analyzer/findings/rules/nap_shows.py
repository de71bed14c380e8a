"""nap-shows: pile or loops will stand up through the stitching.

Meaning: without a topping the stitches sink between the pile.
Unit: mm of pile above the base.
Limit: nap_mm (guess: two thread thicknesses).
Level: caution without a topping, and with one on washed goods where runs and columns under
column_width_pile_mm hold more than runs_on_pile_share of the thread; else a note on goods that are washed.
Known weakness: a topping helps until the first wash; after that only underlay and broad columns
hold the pile down.
Try: a topping.
"""

from __future__ import annotations

from collections.abc import Mapping

from analyzer.design import Design
from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres
from analyzer.goods.types import Value
from analyzer.regions.types import RegionKind, Regions


def look(evidence: Evidence) -> Finding | None:
    """Report pile that is sewn without a topping; with one, a note on goods that are washed."""
    if evidence.setup is None or evidence.choice is None:
        return None
    pile = evidence.setup.cloth.pile_mm
    held = evidence.choice.topping is not None
    if pile is None or not evidence.has_pile or (held and evidence.setup.care == "never-washed"):
        return None
    drowns = drowned_share(evidence.design, evidence.regions, evidence.setup.limits)
    lost = drowns > evidence.limit("runs_on_pile_share")
    stands = f"The pile stands {millimetres(pile.value)} above the cloth"
    return Finding(
        name=RULE.name,
        level=Level.NOTE if held and not lost else Level.CAUTION,
        regions=(),
        at=None,
        measured=pile.value,
        limit=evidence.limit("nap_mm"),
        unit="mm",
        chance=None,
        because=f"{stands}; {_held(held=held, lost=lost)}",
        advice=_advice(held=held, lost=lost),
    )


def drowned_share(design: Design, regions: Regions, limits: Mapping[str, Value]) -> float:
    """Return the share of the thread in runs and narrow columns, which pile closes over.

    Runs that lie on other stitching count too; ties, travel and underlay do not.
    """
    least = limits["column_width_pile_mm"].value
    total = lost = 0.0
    lengths_mm = design.lengths_mm
    for region in regions.items:
        if region.kind not in (RegionKind.RUN, RegionKind.SATIN, RegionKind.FILL):
            continue
        thread = float(lengths_mm[region.first : region.last + 1].sum())
        narrow = region.width_mm is not None and region.width_mm < least
        total += thread
        lost += thread if region.kind == RegionKind.RUN or narrow else 0.0
    return lost / total if total > 0 else 0.0


def _held(*, held: bool, lost: bool) -> str:
    if not held:
        return "nothing holds it down."
    if lost:
        return "after the first wash it closes over runs and narrow columns, topping or not."
    return "the topping holds it down until the first wash."


def _advice(*, held: bool, lost: bool) -> str:
    if lost:
        return "Use columns of 1.5 mm and more, or lay a base of open fill under the lines."
    if held:
        return "Have underlay under everything, and no column narrower than 1.5 mm."
    return "Lay a topping over it."


RULE = Rule("nap-shows", "stack", "job", look, __doc__ or "")
