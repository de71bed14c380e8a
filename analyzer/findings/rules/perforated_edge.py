"""perforated-edge: holes stand so close in a row that the cloth may tear along it like a stamp.

Meaning: along a satin's rail, an outline sewn again and again or the seam of two fills, next to no
cloth is left between one hole and the next; pulled there, or in the wash, it tears.
Unit: mm, length of the longest such row.
Limit: perforated_edge_mm (guess), for rows of holes nearer than a third of the needle's blade; on leather and
coated cloth, which have no yarns to part, for the edges of satins with holes nearer than
perforated_pitch_share of the blade. Free-standing lace has no cloth to tear.
Known weakness: a ball point parts the yarns of a knit, where the same row harms less; how deep a slit goes
on from a hole in leather is not known.
Try: open the satin's spacing, let the two edges overlap or part by half a millimetre, a thinner
needle.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle, regions_near
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres
from analyzer.goods.setup import Setup
from analyzer.regions.types import RegionKind


def look(evidence: Evidence) -> Finding | None:
    """Report rows of near-touching holes."""
    if evidence.setup is not None and evidence.setup.cloth.family in ("leather", "coated"):
        cut = _cut_by_satin(evidence, evidence.setup)
        if cut is not None:
            return cut
    limit = evidence.limit("perforated_edge_mm")
    rows = [row for row in evidence.cover.needling.perforations if row.length_mm >= limit]
    if not rows or evidence.is_lace:
        return None
    worst = max(rows, key=lambda row: row.length_mm)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=regions_near(evidence, worst.at, evidence.limit("beside_mm")),
        at=worst.at,
        measured=worst.length_mm,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"Along {count_of(len(rows), 'row', 'rows')} the holes nearly touch; the longest runs for "
            f"{millimetres(worst.length_mm)} with {worst.per_mm:.0f} holes on a millimetre."
        ),
        advice="Open the spacing there, or let the edges that meet part or overlap; use a thinner needle.",
    )


def _cut_by_satin(evidence: Evidence, setup: Setup) -> Finding | None:
    """Report satins that cut leather or coated cloth along their edges: every second thread turns there."""
    blade = setup.needle.blade_mm.value
    limit = evidence.limit("perforated_pitch_share") * blade
    length = evidence.limit("perforated_edge_mm")
    close = [
        region
        for region in evidence.of_kind(RegionKind.SATIN)
        if region.row_spacing_mm is not None
        and 2.0 * region.row_spacing_mm < limit
        and region.stitches * region.row_spacing_mm >= length
    ]
    if not close:
        return None
    worst = min(close, key=lambda region: region.row_spacing_mm or 0.0)
    pitch = 2.0 * (worst.row_spacing_mm or 0.0)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(region.id for region in close),
        at=middle(worst),
        measured=pitch,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"Along the edges of {count_of(len(close), 'satin', 'satins')} there are {1.0 / pitch:.1f} holes "
            f"of {millimetres(blade)} on a millimetre; {setup.cloth.title} has no yarns that part."
        ),
        advice="Open the satin's spacing; a small sharp needle, since a wedge's slits run into each other.",
    )


RULE = Rule("perforated-edge", "file", "file", look, __doc__ or "")
