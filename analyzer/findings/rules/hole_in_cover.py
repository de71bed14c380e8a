"""hole-in-cover: a small place inside the stitching is left bare, probably by mistake.

Meaning: an enclosed place without thread in a fill or satin that looks like no part of the drawing;
the meshes of lace are none.
Unit: mm, radius of the largest circle in it.
Limit: hole_radius_mm (guess).
Known weakness: whether a hole is meant is judged by its size and rim; about one in five is judged
wrongly.
Try: let the neighbouring regions overlap there.
"""

from __future__ import annotations

import numpy as np

from analyzer.findings.evidence import Evidence, Rule, regions_at
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres
from analyzer.regions.types import RegionKind


def _in_dense_stitching(evidence: Evidence, at: tuple[float, float]) -> bool:
    """Whether a place lies within the box of a fill or satin; between runs alone nothing is left out."""
    dense = [region.id for region in evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)]
    return bool(set(dense) & set(regions_at(evidence, np.array([at]))))


def look(evidence: Evidence) -> Finding | None:
    """Report uncovered places that are probably not meant."""
    limit = evidence.limit("hole_radius_mm")
    if evidence.is_lace:
        return None
    holes = [
        void
        for void in evidence.cover.voids
        if not void.meant and void.radius_mm >= limit and _in_dense_stitching(evidence, void.at)
    ]
    if not holes:
        return None
    worst = max(holes, key=lambda void: void.radius_mm)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=regions_at(evidence, np.array([void.at for void in holes])),
        at=worst.at,
        measured=worst.radius_mm,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"{count_of(len(holes), 'small place is', 'small places are')} left bare inside the stitching; "
            f"the largest takes a circle of {millimetres(2 * worst.radius_mm)} across. Probably not meant."
        ),
        advice="Let the regions around it overlap, if it is not part of the drawing.",
    )


RULE = Rule("hole-in-cover", "file", "file", look, __doc__ or "")
