"""column-too-thin: a satin column is too narrow to read as one.

Meaning: under about 1 mm the two sides of a satin share their holes; on pile it sinks out of sight.
Unit: mm of width in the file.
Limit: column_width_mm, column_width_pile_mm (common practice, no source).
Known weakness: the width is the median of the column; tapering ends do not count.
Try: a wider column, or a double or triple run in its place.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres
from analyzer.regions.types import Region, RegionKind


def _extent_mm(region: Region) -> float:
    x0, y0, x1, y1 = region.bbox_mm
    return max(x1 - x0, y1 - y0)


def look(evidence: Evidence) -> Finding | None:
    """Report the satin columns under the least width."""
    limit = evidence.limit("column_width_pile_mm" if evidence.has_pile else "column_width_mm")
    least = evidence.limit("column_length_mm")
    thin = [
        (region.width_mm, region)
        for region in evidence.of_kind(RegionKind.SATIN)
        if region.width_mm is not None and region.width_mm < limit and _extent_mm(region) >= least
    ]
    if not thin:
        return None
    width, worst = min(thin, key=lambda pair: pair[0])
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if evidence.has_pile or width < 0.7 * limit else Level.NOTE,
        regions=tuple(region.id for _, region in thin),
        at=middle(worst),
        measured=width,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"{count_of(len(thin), 'satin column is', 'satin columns are')} narrower than "
            f"{millimetres(limit)}; "
            f"the narrowest is {millimetres(width)}."
        ),
        advice="Widen the column, or use a double or triple run instead.",
    )


RULE = Rule("column-too-thin", "file", "file", look, __doc__ or "")
