"""order-fights-cloth: an outline is sewn long after the fill that it borders.

Meaning: all dense stitching sewn in between goes on drawing the cloth, and the edge has moved by the time
the outline comes.
Unit: mm of thread sewn in between, near the border.
Limit: between_mm of thread within between_reach_mm (guesses).
Known weakness: what is sewn in between counts by its length alone; the gap itself is computed where goods
are given, and a strong stack may hold it.
Try: sew the outline right after its fill.
"""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats
from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.regions.types import Region, RegionKind


def look(evidence: Evidence) -> Finding | None:
    """Report the outlines that come too long after what they border."""
    by_id = {region.id: region for region in evidence.regions.items}
    limit = evidence.limit("between_mm")
    dense = {region.id for region in evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)}
    counted = np.isin(evidence.regions.region_of, list(dense)) & ~evidence.design.jumped
    length_mm = np.where(counted, evidence.design.lengths_mm, 0.0)
    late = []
    for pair in evidence.regions.pairs:
        outline, border = by_id[pair.outline], by_id[pair.borders]
        length = _between_mm(evidence, border, outline, length_mm)
        if length > limit:
            late.append((length, outline.id, border.id))
    if not late:
        return None
    length, outline_id, border_id = max(late)
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=tuple(dict.fromkeys(outline for _, outline, _ in sorted(late, reverse=True))),
        at=middle(by_id[outline_id]),
        measured=length,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"Between region {border_id} and its outline {outline_id}, {length / 1000.0:.1f} m of other "
            "dense thread is sewn close by, and draws the edge on."
        ),
        advice="Sew the outline right after its fill.",
    )


def _between_mm(evidence: Evidence, border: Region, outline: Region, length_mm: Floats) -> float:
    """Return the thread of other fills and satins near a border, after it and before its outline, mm.

    ``length_mm`` (m,) of the stitch that ends at each penetration is 0 where it is none of those.
    """
    first, last = border.last + 1, outline.first
    if last - first < 2:
        return 0.0
    points = evidence.design.penetrations[first - 1 : last]
    middles = (points[1:] + points[:-1]) / 2.0
    x0, y0, x1, y1 = border.bbox_mm
    away = np.hypot(
        np.maximum(0.0, np.maximum(x0 - middles[:, 0], middles[:, 0] - x1)),
        np.maximum(0.0, np.maximum(y0 - middles[:, 1], middles[:, 1] - y1)),
    )
    return float(length_mm[first:last][away <= evidence.limit("between_reach_mm")].sum())


RULE = Rule("order-fights-cloth", "file", "file", look, __doc__ or "")
