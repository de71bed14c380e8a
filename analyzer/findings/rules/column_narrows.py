"""column-narrows: a satin column sews narrower than the file draws it.

Meaning: the stitches of a satin draw its two sides together, and thread sinks in at both.
Unit: mm of width lost.
Limit: the larger of column_loss_mm and column_loss_share of the width (common practice, no source:
5.0 mm sews at about 4.5 mm).
Known weakness: the play at each side is a guess (0.05-0.2 mm) that no backing changes.
Try: pull compensation of the size that is lost, underlay, or a stronger backing.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.verdicts import column_chances, column_limit_mm
from analyzer.findings.words import chance_words, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report the columns that are likely enough to lose more width than is allowed."""
    if evidence.response is None:
        return None
    worth = evidence.limit("chance_worth_saying")
    columns = evidence.response.columns
    narrow = [
        each for each in zip(column_chances(evidence, columns), columns, strict=True) if each[0] >= worth
    ]
    if not narrow:
        return None
    chance, worst = max(narrow, key=lambda each: (each[0], each[1].nominal_mm))
    limit = column_limit_mm(evidence, worst.width_mm)
    by_id = {region.id: region for region in evidence.regions.items}
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(sorted(column.region for _, column in narrow)),
        at=middle(by_id[worst.region]),
        measured=worst.nominal_mm,
        limit=limit,
        unit="mm",
        chance=chance,
        because=(
            f"The satin is {millimetres(worst.width_mm)} wide in the file and loses about "
            f"{millimetres(worst.nominal_mm)}. More than {millimetres(limit)} is {chance_words(chance)}."
        ),
        advice=f"Add {millimetres(worst.nominal_mm)} of pull compensation, or use a stronger backing.",
    )


RULE = Rule("column-narrows", "response", "stack", look, __doc__ or "")
