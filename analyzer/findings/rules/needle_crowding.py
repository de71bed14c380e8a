"""needle-crowding: the needle goes down so often in one place that the cloth is cut.

Meaning: holes run into each other; the cloth tears along them and backing falls out.
Unit: penetrations per mm2, averaged over 3 by 3 mm.
Limit: over crowded_area_mm2, crowding_per_mm2 and crowding_fault_per_mm2 (derived from the hole of
a 75 needle: where holes lie evenly at the lower one, each has nine others within a blade's width).
Free-standing lace has no cloth to cut; there only the higher limit counts.
Known weakness: cloth parts its threads for a ball point; close wovens and leather are cut sooner.
Try: longer stitches, wider rows, fewer layers.
"""

from __future__ import annotations

import numpy as np

from analyzer.findings.dense import averaged, places_mm, regions_in
from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report places with too many penetrations."""
    field = evidence.cover.penetrations
    density = averaged(field)
    limit = evidence.limit("crowding_per_mm2")
    over = density > limit
    area_mm2 = np.count_nonzero(over) * field.grid.cell_mm**2
    if area_mm2 < evidence.limit("crowded_area_mm2"):
        return None
    most = float(density.max())
    fault = most > evidence.limit("crowding_fault_per_mm2")
    if not fault and evidence.is_lace:
        return None
    worst = places_mm(field, density == most)[0]
    near = evidence.cover.needling.near_share
    crowded = f" {near:.0%} of all holes have many others within a blade's width." if near >= 0.01 else ""
    return Finding(
        name=RULE.name,
        level=Level.FAULT if fault else Level.CAUTION,
        regions=regions_in(evidence, field, over),
        at=(float(worst[0]), float(worst[1])),
        measured=most,
        limit=limit,
        unit="1/mm2",
        chance=None,
        because=(
            f"The needle goes down up to {most:.0f} times on a square millimetre, over {limit:.0f} times on "
            f"{area_mm2:.0f} mm2. A single fill has less than one.{crowded}"
        ),
        advice=(
            "Use longer stitches, wider rows or fewer layers there, "
            "and the thinnest needle that the thread allows."
        ),
    )


RULE = Rule("needle-crowding", "file", "file", look, __doc__ or "")
