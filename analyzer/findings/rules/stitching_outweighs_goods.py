"""stitching-outweighs-goods: the thread laid on the goods is heavier than the goods.

Meaning: a large place that is sewn so densely hangs like a plate on light cloth and draws it up when it is
worn and washed; backing only makes the plate stiffer.
Unit: weight of the upper thread over the weight of the goods, median over what passes the limit.
Limit: stitching_over_goods, over stitching_over_goods_mm2 (common practice, no source: a dense fill wants
heavier goods; a solid fill of thread 40 comes to about half the weight of a tee).
Known weakness: weight stands for stiffness; bobbin thread, about as much again, is left out of both sides of
the rule of thumb.
Try: open the rows, sew it once, leave parts of the fill open, or heavier goods.
"""

from __future__ import annotations

import numpy as np

from analyzer.findings.dense import averaged, places_mm, regions_in
from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level


def look(evidence: Evidence) -> Finding | None:
    """Report large places whose thread outweighs the goods; lace has none."""
    setup = evidence.setup
    if setup is None or evidence.is_lace:
        return None
    field = evidence.cover.density
    goods = setup.cloth.weight_g_m2.value
    share = averaged(field) * setup.thread.tex.value / goods  # 1 mm/mm2 of 1 tex weighs 1 g/m2
    limit = evidence.limit("stitching_over_goods")
    over = share > limit
    area_mm2 = float(np.count_nonzero(over)) * field.grid.cell_mm**2
    if area_mm2 < evidence.limit("stitching_over_goods_mm2"):
        return None
    typical = float(np.median(share[over]))
    worst = places_mm(field, share == share.max())[0]
    return Finding(
        name=RULE.name,
        level=Level.FAULT,
        regions=regions_in(evidence, field, over),
        at=(float(worst[0]), float(worst[1])),
        measured=typical,
        limit=limit,
        unit="1",
        chance=None,
        because=(
            f"Over {area_mm2:.0f} mm2 the thread weighs about {typical * goods:.0f} g/m2 and the goods "
            f"{goods:.0f} g/m2."
        ),
        advice="Open the rows, take out what is sewn twice or leave parts open; or sew it on heavier goods.",
    )


RULE = Rule("stitching-outweighs-goods", "goods", "file", look, __doc__ or "")
