"""long-stitches: stitches lie open for so long that they snag.

Meaning: a long loose thread catches on buttons and in the wash.
Unit: mm.
Limit: long_stitch_mm, and long_stitch_washed_mm where the goods are washed often (common practice,
no source).
Known weakness: a long stitch hidden under later stitching counts unless its region was found to be
hidden.
Try: split the satin, or sew a fill instead.
"""

from __future__ import annotations

import numpy as np

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres
from analyzer.regions.types import RegionKind


def look(evidence: Evidence) -> Finding | None:
    """Report stitches that are longer than the goods' care allows."""
    design, regions = evidence.design, evidence.regions
    limit = evidence.limit("long_stitch_washed_mm" if evidence.washed_often else "long_stitch_mm")
    hidden = [region.id for region in evidence.of_kind(RegionKind.UNDERLAY, RegionKind.TRAVEL)]
    lengths = np.where(design.jumped | np.isin(regions.region_of, hidden), 0.0, design.lengths_mm)
    long = lengths > limit
    if not np.any(long):
        return None
    worst = int(np.argmax(lengths))
    ids = np.unique(regions.region_of[long])
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(int(i) for i in ids),
        at=(float(design.penetrations[worst, 0]), float(design.penetrations[worst, 1])),
        measured=float(lengths[worst]),
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"{count_of(int(np.count_nonzero(long)), 'stitch is', 'stitches are')} longer than "
            f"{millimetres(limit)}"
            f"{', and these goods are washed often' if evidence.washed_often else ''}; "
            f"the longest is {millimetres(float(lengths[worst]))}."
        ),
        advice="Split the satin, or sew a fill instead.",
    )


RULE = Rule("long-stitches", "file", "file", look, __doc__ or "")
