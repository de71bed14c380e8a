"""Changes to the design whose effect is computed. Nothing is proposed that was not computed."""

from __future__ import annotations

from analyzer.findings import Findings, GapVerdict
from analyzer.goods.constants import constants
from analyzer.plan.advice import say
from analyzer.plan.types import Rework
from analyzer.regions.types import Regions


def rework(findings: Findings) -> tuple[Rework, ...]:
    """Return how much further each border has to reach under its outline, largest first.

    A border that reaches as much further as the 95th percentile of the worst gap lies over the limit closes
    it in 19 of 20 draws. That the added stitching pulls a little itself is left out.
    """
    accepted = constants("plan")["chance_accepted"].value
    missing = [gap for gap in findings.gaps if gap.chance_bare >= accepted and gap.high_mm > gap.limit_mm > 0]
    missing.sort(key=lambda gap: gap.limit_mm - gap.high_mm)
    return tuple(_further(gap) for gap in missing)


def open_rows(regions: Regions, measured: Findings) -> tuple[Rework, ...]:
    """Return how far rows have to be opened where thread piles up: its mass is one over their distance."""
    piled = next((item for item in measured.items if item.name == "thread-pile-up"), None)
    if piled is None or not piled.measured or not piled.limit:
        return ()
    rows = [item for item in regions.items if item.id in piled.regions and item.row_spacing_mm]
    if not rows:
        return ()
    closest = min(rows, key=lambda item: item.row_spacing_mm or 0.0)
    times, now = piled.measured / piled.limit, closest.row_spacing_mm or 0.0
    what = say("rework", "open", times=f"{times:.1f}", now=f"{now:.1f}", then=f"{now * times:.1f}")
    effect = say("rework", "opened", measured=f"{piled.measured:.0f}", limit=f"{piled.limit:.0f}")
    return (Rework(what=what, region=closest.id, amount_mm=now * (times - 1.0), effect=effect),)


def _further(gap: GapVerdict) -> Rework:
    amount = gap.high_mm - gap.limit_mm
    return Rework(
        what=say("rework", "further", amount=f"{amount:.1f}"),
        region=gap.borders,
        amount_mm=amount,
        effect=say("rework", "closes", limit=f"{gap.limit_mm:.1f}"),
    )
