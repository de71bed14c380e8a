"""Changes to the design whose effect is computed. Nothing is proposed that was not computed."""

from __future__ import annotations

from analyzer.findings import Findings, GapVerdict
from analyzer.goods.constants import constants
from analyzer.plan.advice import say
from analyzer.plan.types import Rework


def rework(findings: Findings) -> tuple[Rework, ...]:
    """Return how much further each border has to reach under its outline, largest first.

    A border that reaches as much further as the 95th percentile of the worst gap lies over the limit closes
    it in 19 of 20 draws. That the added stitching pulls a little itself is left out.
    """
    accepted = constants("plan")["chance_accepted"].value
    missing = [gap for gap in findings.gaps if gap.chance_bare >= accepted and gap.high_mm > gap.limit_mm > 0]
    missing.sort(key=lambda gap: gap.limit_mm - gap.high_mm)
    return tuple(_further(gap) for gap in missing)


def _further(gap: GapVerdict) -> Rework:
    amount = gap.high_mm - gap.limit_mm
    return Rework(
        what=say("rework", "further", amount=f"{amount:.1f}"),
        region=gap.borders,
        amount_mm=amount,
        effect=say("rework", "closes", limit=f"{gap.limit_mm:.1f}"),
    )
