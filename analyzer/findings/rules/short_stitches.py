"""short-stitches: many stitches, one after another, are shorter than the needle is thick.

Meaning: such stitches hammer one place; thread frays and breaks, and the cloth is cut.
Unit: share of all stitches, ties and lone short stitches (the turns of rows) left out.
Limit: short_stitch_share of stitches shorter than short_stitch_mm (derived from the blade of a 75
needle).
Known weakness: small lettering cannot do without some.
Try: clean the design of stitches under 0.5 mm.
"""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Bools
from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres
from analyzer.regions.types import RegionKind


def _beside_another(short: Bools) -> Bools:
    """Keep the short stitches that follow or precede a short one; a lone one is the turn of a row."""
    beside = np.zeros_like(short)
    beside[1:] |= short[:-1]
    beside[:-1] |= short[1:]
    return short & beside


def look(evidence: Evidence) -> Finding | None:
    """Report short stitches when they are more than a few."""
    design, regions = evidence.design, evidence.regions
    ties = [region.id for region in evidence.of_kind(RegionKind.TIE)]
    counted = design.joined & ~design.jumped & ~np.isin(regions.region_of, ties)
    lengths = design.lengths_mm
    limit = evidence.limit("short_stitch_mm")
    short = _beside_another(counted & (lengths < limit))
    total = int(np.count_nonzero(counted))
    share = np.count_nonzero(short) / total if total else 0.0
    if share <= evidence.limit("short_stitch_share"):
        return None
    ids, counts = np.unique(regions.region_of[short], return_counts=True)
    at = design.penetrations[np.flatnonzero(regions.region_of == ids[np.argmax(counts)])[0]]
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(int(i) for i in ids),
        at=(float(at[0]), float(at[1])),
        measured=float(share),
        limit=evidence.limit("short_stitch_share"),
        unit="share",
        chance=None,
        because=(
            f"{count_of(int(np.count_nonzero(short)), 'stitch is', 'stitches are')} shorter than "
            f"{millimetres(limit)}, {share:.0%} of all."
        ),
        advice=(
            f"Remove or join stitches under {millimetres(limit)}; use a thinner needle where they must stay."
        ),
    )


RULE = Rule("short-stitches", "file", "file", look, __doc__ or "")
