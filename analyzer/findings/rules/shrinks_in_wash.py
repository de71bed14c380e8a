"""shrinks-in-wash: washed goods will end up shorter than the stitching on them.

Meaning: cloth shrinks in the wash and thread does not as much, so that a large dense badge stands in
waves afterwards though it lay flat when it was sewn.
Unit: mm by which the cloth under the largest dense region gets shorter than its thread.
Limit: shrink_mm (guess).
Known weakness: shrinkage differs from cloth to cloth and is mostly gone after the first washes; the
table's values are from memory.
Try: wash the goods before sewing them, or leave room in large fills.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, middle
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres
from analyzer.regions.types import RegionKind

_WET = ("washed-often", "industrial", "washed-gently")


def look(evidence: Evidence) -> Finding | None:
    """Report goods that shrink under the largest fill or satin, where they are washed at all."""
    setup = evidence.setup
    if setup is None or setup.care not in _WET or setup.cloth.water not in ("wash", "gentle-wash"):
        return None
    dense = evidence.of_kind(RegionKind.FILL, RegionKind.SATIN)
    if not dense:
        return None

    def side_mm(box: tuple[float, float, float, float]) -> float:
        return max(box[2] - box[0], box[3] - box[1])

    largest = max(dense, key=lambda region: side_mm(region.bbox_mm))
    share = (setup.cloth.shrink_percent.value - setup.thread.shrink_percent.value) / 100.0
    shorter, limit = share * side_mm(largest.bbox_mm), evidence.limit("shrink_mm")
    if shorter <= limit:
        return None
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=(largest.id,),
        at=middle(largest),
        measured=shorter,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"Washed, the cloth may shrink by about {setup.cloth.shrink_percent.value:.0f} % and the thread "
            f"by {setup.thread.shrink_percent.value:.1f} %: under the largest stitching it is then "
            f"{millimetres(shorter)} too short."
        ),
        advice="Wash and dry the goods once before sewing, as their label says.",
    )


RULE = Rule("shrinks-in-wash", "goods", "job", look, __doc__ or "")
