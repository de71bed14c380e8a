"""The plan as it stands in the JSON."""

from __future__ import annotations

from analyzer.findings.types import Margin
from analyzer.goods.types import StackChoice
from analyzer.plan.types import Plan
from analyzer.report import schema as d
from analyzer.report.numbers import chance, maybe, number, numbers, point


def backing_parts(choice: StackChoice) -> tuple[d.BackingPart, ...]:
    """Return the backings of a stack."""
    return tuple(
        d.BackingPart(
            kind=backing.kind,
            g_m2=number("plan.backing.g_m2", backing.g_m2),
            layers=int(backing.layers),
            turns_deg=numbers("plan.backing.turns_deg", backing.turns_deg),
        )
        for backing in choice.backings
    )


def _margin(where: str, margin: Margin | None) -> d.MarginPart | None:
    if margin is None:
        return None
    return d.MarginPart(
        name=margin.name,
        nominal=number(f"{where}.nominal", margin.nominal),
        limit=number(f"{where}.limit", margin.limit),
        room=number(f"{where}.room", margin.room),
        unit=margin.unit,
        chance=chance(f"{where}.chance", margin.chance),
    )


def plan_part(plan: Plan) -> d.PlanPart:
    """Return everything that the person at the machine needs."""
    steps = plan.steps
    return d.PlanPart(
        outcome=plan.outcome,
        backing=backing_parts(plan.choice),
        attach=plan.attach,
        topping=d.ToppingPart(kind=plan.topping.kind, why=plan.topping.why) if plan.topping else None,
        holding=plan.holding,
        hoop_mm=point("plan.hoop_mm", plan.hoop_mm),
        needle=plan.needle,
        speed_spm=number("plan.speed_spm", plan.speed_spm),
        sheet_mm=point("plan.sheet_mm", plan.sheet_mm),
        steps=d.StepsPart(
            before=tuple(steps.before), sewing=tuple(steps.sewing), finishing=tuple(steps.finishing)
        ),
        cautions=tuple(plan.cautions),
        reasons=tuple(plan.reasons),
        decided_by=_margin("plan.decided_by", plan.decided_by),
        buy=plan.buy,
        stacks_tried=int(plan.stacks_tried),
        alternatives=tuple(
            d.AlternativePart(
                backing=one.backing,
                why_not=one.why_not,
                g_m2=number("plan.alternatives.g_m2", one.g_m2),
                layers=int(one.layers),
                relative_cost=maybe("plan.alternatives.relative_cost", one.relative_cost),
                chance=chance("plan.alternatives.chance", one.chance),
                decided_by=_margin("plan.alternatives.decided_by", one.decided_by),
            )
            for one in plan.alternatives
        ),
        rework=tuple(
            d.ReworkPart(
                what=one.what,
                region=one.region,
                amount_mm=maybe("plan.rework.amount_mm", one.amount_mm),
                effect=one.effect,
                chance_before=number("plan.rework.chance_before", one.chance_before),
                chance_after=number("plan.rework.chance_after", one.chance_after),
                gap_before_mm=maybe("plan.rework.gap_before_mm", one.gap_before_mm),
                gap_after_mm=maybe("plan.rework.gap_after_mm", one.gap_after_mm),
            )
            for one in plan.rework
        ),
    )
