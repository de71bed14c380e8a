"""ground-shows: the cloth shows through stitching of a contrasting colour.

Meaning: a fill that would pass on goods of its own colour looks thin where the cloth is much darker
or lighter.
Unit: covered share of the region's own area.
Limit: ground_cover (derived: rows of 0.43 mm at a thread laid 0.30 mm wide), where the ratio of
luminances is at least contrast_ratio (Web Content Accessibility Guidelines 2.1).
Known weakness: needs the colour of the goods and of the thread; thread shines, and its colour
changes with the light.
Try: closer rows, an underlay in the thread's colour, or an opaque film under it.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.rules.thin_cover import thin_regions
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of


def luminance(rgb: str) -> float:
    """Return the relative luminance of "#rrggbb", 0 to 1 (W3C, WCAG 2.1, its definition there)."""
    channels = [int(rgb[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (W3C, WCAG 2.1)."""
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def look(evidence: Evidence) -> Finding | None:
    """Report contrasting regions that cover little, those of thin-cover left out."""
    if evidence.setup is None or evidence.setup.colour is None:
        return None
    ground, threads = evidence.setup.colour, evidence.design.threads
    limit, thin = evidence.limit("ground_cover"), evidence.limit("thin_cover")
    showing = []
    for share, region in thin_regions(evidence, limit):
        rgb = threads[region.colour].rgb if region.colour < len(threads) else None
        if rgb is not None and share >= thin and contrast(rgb, ground) >= evidence.limit("contrast_ratio"):
            showing.append((share, region))
    if not showing:
        return None
    share, worst = showing[0]
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(region.id for _, region in showing),
        at=middle(worst),
        measured=share,
        limit=limit,
        unit="share",
        chance=None,
        because=(
            f"{count_of(len(showing), 'region covers', 'regions cover')} as little as {share:.0%} of a "
            "cloth of contrasting colour."
        ),
        advice="Set the rows closer, or lay an underlay of the thread's colour first.",
    )


RULE = Rule("ground-shows", "goods", "file", look, __doc__ or "")
