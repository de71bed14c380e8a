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

from analyzer.cloth.types import Void
from analyzer.findings.evidence import Evidence, Rule, regions_near
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres
from analyzer.regions.types import RegionKind


def _beside_dense_stitching(evidence: Evidence, void: Void) -> bool:
    """Whether a fill or satin comes near an uncovered place; between runs alone nothing is left out."""
    dense = {region.id for region in evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)}
    return bool(dense & set(_around(evidence, void)))


def _around(evidence: Evidence, void: Void) -> tuple[int, ...]:
    return regions_near(evidence, void.at, void.radius_mm + evidence.limit("beside_mm"))


def look(evidence: Evidence) -> Finding | None:
    """Report uncovered places that are probably not meant."""
    limit = evidence.limit("hole_radius_mm")
    if evidence.is_lace:
        return None
    holes = [
        void
        for void in evidence.cover.voids
        if not void.meant and void.radius_mm >= limit and _beside_dense_stitching(evidence, void)
    ]
    if not holes:
        return None
    worst = max(holes, key=lambda void: void.radius_mm)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(sorted({i for void in holes for i in _around(evidence, void)})),
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
