"""thread-pile-up: more thread lies on one place than the needle can pass well.

Meaning: layers over layers make a stiff plate, deflect needles and break thread.
Unit: mm of thread per mm2, averaged over 3 by 3 mm.
Limit: over crowded_area_mm2, pile_up_mm_per_mm2 and pile_up_fault_mm_per_mm2 (derived: three and
four satins over one another).
Known weakness: thinner threads stand more than the 40 weight that the limit means.
Try: cut away the fill under later stitching, or open its rows.
"""

from __future__ import annotations

import numpy as np

from analyzer.findings.dense import averaged, places_mm, regions_in
from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report places with too much thread."""
    field = evidence.cover.density
    density = averaged(field)
    limit = evidence.limit("pile_up_mm_per_mm2")
    over = density > limit
    area_mm2 = np.count_nonzero(over) * field.grid.cell_mm**2
    if area_mm2 < evidence.limit("crowded_area_mm2"):
        return None
    most = float(density.max())
    worst = places_mm(field, density == most)[0]
    layers = evidence.cover.layers_most
    layered = f" At most {layers} threads lie on each other." if layers else ""
    return Finding(
        name=RULE.name,
        level=Level.FAULT if most > evidence.limit("pile_up_fault_mm_per_mm2") else Level.CAUTION,
        regions=regions_in(evidence, field, over),
        at=(float(worst[0]), float(worst[1])),
        measured=most,
        limit=limit,
        unit="mm/mm2",
        chance=None,
        because=(
            f"Up to {most:.0f} mm of thread lie on a square millimetre, over {limit:.0f} on "
            f"{area_mm2:.0f} mm2. A single fill has about 2.5.{layered}"
        ),
        advice=(
            "Take the stitching out from under later stitching, or open its rows; "
            "sew slowly with a sharp, larger needle."
        ),
    )


RULE = Rule("thread-pile-up", "file", "file", look, __doc__ or "")
