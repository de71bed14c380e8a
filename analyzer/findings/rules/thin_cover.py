"""thin-cover: a fill or satin leaves much of the cloth under it uncovered.

Meaning: rows lie so far apart that the cloth shows between them.
Unit: covered share of the region's own area.
Limit: thin_cover (derived: rows of 0.52 mm at a thread laid 0.30 mm wide).
Known weakness: how flat a thread lies is a guess (0.23-0.38 mm). Open fills are often meant so.
Try: closer rows, or goods and thread of like colour.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of
from analyzer.regions.types import Region, RegionKind


def thin_regions(evidence: Evidence, below: float) -> list[tuple[float, Region]]:
    """Return fills and satins that cover less than the share ``below``, by themselves, thinnest first."""
    own = {cover.region: cover.coverage for cover in evidence.cover.regions}
    found = [
        (own[region.id], region)
        for region in evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)
        if own.get(region.id, 1.0) < below
    ]
    return sorted(found, key=lambda pair: pair[0])


def look(evidence: Evidence) -> Finding | None:
    """Report fills and satins that cover too little."""
    limit = evidence.limit("thin_cover")
    thin = thin_regions(evidence, limit)
    if not thin:
        return None
    share, worst = thin[0]
    spacing = "" if worst.row_spacing_mm is None else f" Its rows lie {worst.row_spacing_mm:.2f} mm apart."
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(region.id for _, region in thin),
        at=middle(worst),
        measured=share,
        limit=limit,
        unit="share",
        chance=None,
        because=(
            f"{count_of(len(thin), 'region covers', 'regions cover')} less than {limit:.0%} of the cloth; "
            f"the thinnest covers {share:.0%}.{spacing}"
        ),
        advice="Set the rows closer, unless the cloth is meant to show through.",
    )


RULE = Rule("thin-cover", "file", "file", look, __doc__ or "")
