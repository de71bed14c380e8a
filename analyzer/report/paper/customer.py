"""What a customer is told in a customer's words: no machine, no regions of a file, nothing to operate."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.findings import RULES, chance_words
from analyzer.findings.types import Finding
from analyzer.pipeline import Checked
from analyzer.report.paper.types import Piece
from analyzer.report.tables import finding_facts
from analyzer.report.terminal import ranked
from analyzer.report.words import Units

#: what each outcome means to a customer
_PROMISES = {
    "hoop-it": "We expect it to come out as drawn.",
    "sample-first": "We sew a sample on the same goods first, and measure it.",
    "rework": "It should be changed before it is sewn on these goods.",
}
_TOO_SMALL = "hoop-too-small"
_LARGER = (
    "It needs a larger frame than the one named before it can be sewn, and is looked over again with that."
)
#: findings whose measure is a length that can be seen on the piece; the others are counted as the trade does
_SEEN = (
    "outline-gap",
    "outline-overlap",
    "column-narrows",
    "column-spreads",
    "column-too-thin",
    "small-lettering",
    "edge-pucker",
    "inner-pucker",
    "hole-in-cover",
    "shrinks-in-wash",
    "long-stitches",
    "hoop-too-small",
)


def promise(checked: Checked) -> str:
    """Return what a customer may expect of a piece."""
    if checked.plan is None:
        return "Measured only."
    faults = [item.name for item in ranked(checked) if item.level == "fault"]
    if _TOO_SMALL in faults and not _others(faults):
        return _LARGER
    return _PROMISES[checked.plan.outcome]


def _others(faults: Sequence[str]) -> list[str]:
    """Return the faults besides a frame too small that are not computed for that frame."""
    return [name for name in faults if name != _TOO_SMALL and RULES[name].needs != "response"]


def risks(checked: Checked) -> list[Finding]:
    """Return what may be seen on the piece; for a frame that it does not fit nothing that is computed."""
    found = ranked(checked)
    if any(item.name == _TOO_SMALL for item in found):
        return [item for item in found if item.name in RULES and RULES[item.name].needs != "response"]
    return list(found)


def likely(item: Finding) -> str:
    """Return how likely a finding is, or where it comes from when no chance belongs to it."""
    if item.chance is not None:
        return chance_words(item.chance)
    rule = RULES.get(item.name)
    if rule is None or rule.needs == "file":
        return "measured in the file"
    if rule.needs == "response":
        return "beyond what can be computed"
    return "from size and frame" if item.name in (_TOO_SMALL, "near-hoop-edge") else "a rule for these goods"


def amount(item: Finding, units: Units) -> str:
    """Return how much of it is to be expected, where that can be seen on the piece."""
    if item.measured is None or item.name not in _SEEN:
        return ""
    return finding_facts(item, units).split("; ")[0]


def improvements(checked: Checked, units: Units) -> list[str]:
    """Return what would make it better; which stitches exactly stands in the note to the digitizer."""
    rework = checked.plan.rework if checked.plan is not None else ()
    inside = [one for one in rework if one.region is not None]
    whole = [one for one in rework if one.region is None]
    said = []
    if inside:
        said.append(f"Change the design file, as the note to its digitizer says. {inside[0].effect}")
    said += [
        f"Sew a copy of the design that is moved against what the cloth does. {one.effect}" for one in whole
    ]
    return [units.sentence(text.strip()) for text in said]


def spares(piece: Piece) -> str:
    """Return what becomes of the pieces for samples and spoilage."""
    judged = piece.checked.judged
    if judged is not None and judged.setup.cloth.family == "none":
        return f"; we sew {piece.spares} more for samples and spoilage"
    return f"; please send {piece.spares} more of the goods for samples and spoilage"


def sureness(pieces: Sequence[Piece]) -> list[str]:
    """Return how far the predictions may be trusted, each thing once."""
    said = []
    for sure in (piece.checked.sureness for piece in pieces):
        basis = "Uncalibrated estimates. " if sure.mostly_from and not sure.calibrated else ""
        said.append(f"{basis}{sure.says}".strip())
    return [text for text in dict.fromkeys(said) if text]
