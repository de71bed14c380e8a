"""How well each limit that a stack decides is kept: gap, overlap, narrowing and pucker."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer.findings.evidence import Evidence
from analyzer.findings.types import Margin, PuckerVerdict
from analyzer.findings.verdicts import column_chances, column_limit_mm, pucker_is_inside


def margins(evidence: Evidence, pucker: PuckerVerdict) -> tuple[Margin, ...]:
    """Return each limit where it is likeliest to be passed, the likeliest first; none without a response."""
    if evidence.response is None:
        return ()
    return tuple(sorted(_each(evidence, pucker), key=lambda margin: (-margin.chance, margin.room)))


def _each(evidence: Evidence, pucker: PuckerVerdict) -> Iterator[Margin]:
    if evidence.gaps:
        bare = max((gap.bare for gap in evidence.gaps), key=lambda side: (side.chance, side.excess))
        yield Margin("outline-gap", bare.worst_mm, bare.limit_mm, "mm", bare.chance)
        over = max((gap.overlap for gap in evidence.gaps), key=lambda side: (side.chance, side.excess))
        yield Margin("outline-overlap", -over.worst_mm, -over.limit_mm, "mm", over.chance)
    columns = () if evidence.response is None else evidence.response.columns
    if columns:
        chances = column_chances(evidence, columns)
        chance, worst = max(
            zip(chances, columns, strict=True), key=lambda each: (each[0], each[1].nominal_mm)
        )
        limit = column_limit_mm(evidence, worst.width_mm)
        yield Margin("column-narrows", worst.nominal_mm, limit, "mm", chance)
    name = "inner-pucker" if pucker_is_inside(evidence) else "edge-pucker"
    yield Margin(name, pucker.amplitude_mm, evidence.limit("pucker_mm"), "mm", pucker.chance)
