"""no-underlay: a large fill or a broad satin lies on the cloth with nothing under it.

Meaning: underlay fixes the cloth to its backing before the dense stitching pulls, and lifts the top
stitches.
Unit: mm2 of area without it.
Limit: fills from underlay_fill_mm2, satins from underlay_satin_mm wide, once they are more than
underlay_missing_share of all (guess; common practice, no source).
Known weakness: what lies under a region in its own thread is underlay where it follows the region's
middle or edge or lies across it; other dense stitching under it serves as well.
Try: an edge run and an open fill across the direction of the top stitches.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of
from analyzer.regions.types import Base, Region, RegionKind


def _wants_underlay(evidence: Evidence, region: Region, area_mm2: float) -> bool:
    if region.kind == RegionKind.FILL:
        return area_mm2 >= evidence.limit("underlay_fill_mm2")
    width = region.width_mm
    return width is not None and width >= evidence.limit("underlay_satin_mm")


def _bare(region: Region, base: Base | None) -> bool:
    """Whether nothing under a region holds the cloth: no underlay, no dense stitching of another thread."""
    if base is None:
        return not region.covers
    return not base.kinds and not set(region.covers) - set(base.by)


def look(evidence: Evidence) -> Finding | None:
    """Report fills and satins with no underlay."""
    areas = {cover.region: cover.area_mm2 for cover in evidence.cover.regions}
    bases = {base.region: base for base in evidence.regions.bases}
    bare = [
        region
        for region in evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)
        if _bare(region, bases.get(region.id))
        and _wants_underlay(evidence, region, areas.get(region.id, 0.0))
    ]
    dense = evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)
    total = sum(areas.get(region.id, 0.0) for region in dense)
    missing = sum(areas.get(region.id, 0.0) for region in bare)
    if not bare or missing < evidence.limit("underlay_missing_share") * total:
        return None
    largest = max(bare, key=lambda region: areas.get(region.id, 0.0))
    soft = evidence.setup is not None and (evidence.setup.cloth.stretchy or evidence.has_pile)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION if soft else Level.NOTE,
        regions=tuple(region.id for region in bare),
        at=middle(largest),
        measured=missing,
        limit=None,
        unit="mm2",
        chance=None,
        because=(
            f"{count_of(len(bare), 'fill or satin has', 'fills and satins have')} nothing under "
            f"{'it' if len(bare) == 1 else 'them'}"
            f"{', and this cloth gives way' if soft else ''}."
        ),
        advice="Lay an edge run and an open fill across the top stitches first.",
    )


RULE = Rule("no-underlay", "file", "file", look, __doc__ or "")
