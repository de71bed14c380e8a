"""Changes to the design worth trying, and which of them are worth saying.

Each proposal is tried in the model like any design by whoever can; nothing is suggested whose effect was not
computed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from analyzer.changes import outline_next, refilled, split_up, underlaid, widened, without
from analyzer.design import Design
from analyzer.findings import Findings, GapVerdict, chance_words
from analyzer.goods.constants import constants
from analyzer.plan.advice import say
from analyzer.plan.types import Rework
from analyzer.regions.types import Region, RegionKind, Regions

#: findings that opened rows are meant to cure -> how their easing is said, and to how many digits
_PILED = {"thread-pile-up": ("pile", 0), "stitching-outweighs-goods": ("weight", 1)}


@dataclass(frozen=True, slots=True)
class Proposal:
    """One change to try: ``change`` gives the changed design, or None where it cannot be made.

    ``measures`` says that it is meant to cure what is measured in the file, so that the changed design has to
    be measured too.
    """

    what: str
    region: int | None
    amount_mm: float | None
    change: Callable[[], Design | None]
    measures: str = ""  #: name of the finding that it is meant to cure


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one design comes to on one stack, as far as a change is judged by it."""

    chance: float  #: of missing a limit that a stack can cure
    gap_mm: float | None  #: worst bare cloth at an outline
    measured: float | None = None  #: of the finding that the change is meant to cure; None where it is gone


def outlook(findings: Findings, cures: str = "") -> Outlook:
    """Return what findings come to; ``cures`` names the measured finding of interest."""
    worst = max(findings.gaps, key=lambda gap: gap.chance_bare, default=None)
    found = next((item for item in findings.items if item.name == cures), None)
    gap_mm = None if worst is None else max(0.0, worst.worst_mm)
    return Outlook(findings.chance_of_missing, gap_mm, None if found is None else found.measured)


def proposals(
    design: Design, regions: Regions, findings: Findings, drifted: Design | None, accepted: float
) -> tuple[Proposal, ...]:
    """Return the changes worth trying for what was found, the surest first.

    ``drifted`` is the design moved against its own drift, None where the cloth goes beyond what is computed;
    ``accepted`` the chance of missing a limit that the user accepts.
    """
    table = constants("plan")
    by_id = {region.id: region for region in regions.items}
    gaps = sorted(
        (gap for gap in findings.gaps if gap.chance_bare >= accepted), key=lambda gap: -gap.chance_bare
    )[: int(table["rework_outlines"].value)]
    found: list[Proposal] = list(_for_piled_rows(design, regions, findings))
    for gap in gaps:
        found += _for_gap(design, regions, by_id[gap.outline], by_id[gap.borders], gap)
    if drifted is not None and findings.chance_of_missing >= accepted:
        found.append(Proposal(say("rework", "counter"), None, None, lambda: drifted))
    return tuple(found)


def _for_gap(
    design: Design, regions: Regions, outline: Region, border: Region, gap: GapVerdict
) -> list[Proposal]:
    """Return what may close the gap between one outline and its border."""
    found = []
    pair = next(
        (pair for pair in regions.pairs if (pair.outline, pair.borders) == (outline.id, border.id)), None
    )
    amount = math.ceil(10.0 * (gap.high_mm - gap.limit_mm)) / 10.0
    if pair is not None and 0.0 < amount <= constants("plan")["rework_most_mm"].value:
        what = say("rework", "further", amount=f"{amount:.1f}", outline=outline.id)
        change = partial(widened, design, pair, border, amount)
        found.append(Proposal(what, border.id, amount, change))
    found.append(
        Proposal(
            say("rework", "next", border=border.id),
            outline.id,
            None,
            partial(outline_next, design, regions, outline, border),
        )
    )
    if border.kind == RegionKind.FILL and border.row_spacing_mm and border.direction_deg is not None:
        found += _for_fill(design, regions, border)
    return found


def _for_fill(design: Design, regions: Regions, fill: Region) -> list[Proposal]:
    """Return other ways to sew one fill: rows further apart, turned, with more or less under it."""
    table = constants("plan")
    now, direction = fill.row_spacing_mm or 0.0, fill.direction_deg or 0.0
    then = now * table["rework_opening"].value
    turned = (direction + 90.0) % 180.0
    found = [
        Proposal(
            say("rework", "turn", now=f"{direction:.0f}", then=f"{turned:.0f}"),
            fill.id,
            None,
            partial(refilled, design, fill, direction_deg=turned),
        ),
        Proposal(
            say("rework", "split", now=f"{direction:.0f}", then=f"{turned:.0f}"),
            fill.id,
            None,
            partial(split_up, design, fill),
        ),
    ]
    if then <= table["rework_widest_rows_mm"].value:
        found.append(
            Proposal(
                say("rework", "open", times=f"{then / now:.1f}"),
                fill.id,
                then - now,
                partial(refilled, design, fill, spacing_mm=then),
            )
        )
    under = next((base.by for base in regions.bases if base.region == fill.id), ())
    if under:
        found.append(
            Proposal(say("rework", "lighten"), fill.id, None, partial(without, design, regions, under))
        )
    else:
        inset, spacing = table["rework_underlay_inset_mm"].value, table["rework_underlay_rows_mm"].value
        found.append(
            Proposal(
                say("rework", "underlay"),
                fill.id,
                None,
                partial(underlaid, design, fill, inset_mm=inset, spacing_mm=spacing),
            )
        )
    return found


def _for_piled_rows(design: Design, regions: Regions, findings: Findings) -> list[Proposal]:
    """Return rows opened where thread piles up or outweighs the goods: its mass is one over their distance.

    Edges lie double, so they are opened a little further.
    """
    piled = next((item for name in _PILED for item in findings.items if item.name == name), None)
    if piled is None or not piled.measured or not piled.limit:
        return []
    fills = [item for item in regions.items if item.id in piled.regions and item.kind == RegionKind.FILL]
    if not fills:
        return []
    times = constants("plan")["rework_opening"].value * piled.measured / piled.limit
    first = min(fills, key=lambda item: item.row_spacing_mm or math.inf)
    now = first.row_spacing_mm or 0.0
    what = say("rework", "open_all", times=f"{times:.1f}")
    change = partial(_opened, design, tuple(fills), times)
    return [Proposal(what, first.id, now * (times - 1.0), change, measures=piled.name)]


def _opened(design: Design, fills: tuple[Region, ...], times: float) -> Design | None:
    """Return the design with all these fills sewn in rows so many times further apart, the last one first.

    The numbers of what is sewn before a fill stay as they are when it is sewn anew.
    """
    changed: Design | None = None
    for fill in sorted(fills, key=lambda item: -item.first):
        if fill.row_spacing_mm:
            again = refilled(changed or design, fill, spacing_mm=times * fill.row_spacing_mm)
            changed = changed if again is None else again
    return changed


def _eased(name: str, before: float, after: float | None) -> str:
    """Return how a change eases what it is meant to cure; ``after`` is None where that is gone."""
    what, digits = _PILED[name]
    if after is None:
        return say("rework", f"{what}_gone", before=f"{before:.{digits}f}")
    return say("rework", f"{what}_less", before=f"{before:.{digits}f}", after=f"{after:.{digits}f}")


def weighed(proposal: Proposal, before: Outlook, after: Outlook) -> Rework | None:
    """Return a change with its computed effect, or None where it does not help enough to be worth saying."""
    least = constants("plan")["rework_least_chance"].value
    worth = constants("plan")["rework_measured_share"].value
    said = []
    if before.measured is not None:
        if after.measured is not None and after.measured > worth * before.measured:
            return None
        said.append(_eased(proposal.measures, before.measured, after.measured))
    elif after.chance > before.chance - least:
        return None
    words = chance_words(before.chance), chance_words(after.chance)
    if words[0] != words[1]:
        said.append(say("rework", "chance", before=words[0], after=words[1]))
    elif after.chance < before.chance - least:
        said.append(say("rework", "rarer", words=words[1]))
    if before.gap_mm is not None and after.gap_mm is not None:
        gaps = f"{before.gap_mm:.1f}", f"{after.gap_mm:.1f}"
        if gaps[0] != gaps[1]:
            said.append(say("rework", "gap", before=gaps[0], after=gaps[1]))
    return Rework(
        what=proposal.what,
        region=proposal.region,
        amount_mm=proposal.amount_mm,
        effect=" ".join(said),
        chance_before=before.chance,
        chance_after=after.chance,
        gap_before_mm=before.gap_mm,
        gap_after_mm=after.gap_mm,
    )


def best_first(changes: list[Rework]) -> tuple[Rework, ...]:
    """Return changes by the chance that is left, the smallest first, no more than are worth reading."""
    changes.sort(key=lambda change: (change.chance_after, change.what))
    return tuple(changes[: int(constants("plan")["rework_shown"].value)])
