"""hoop-too-small: the stitching does not fit the sewing field.

Meaning: some penetrations lie outside the field when the design lies in the middle of the hoop.
Unit: mm beyond the field, along x or y.
Limit: 0; the field's own size.
Known weakness: the design is not turned to see whether it would fit then.
Try: a larger hoop, or the design turned or made smaller by its digitizer.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.field import clearance_mm
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report a design that is larger than the hoop's sewing field."""
    if evidence.setup is None:
        return None
    clear, at = clearance_mm(evidence.design, evidence.setup.hoop)
    if clear >= 0:
        return None
    hoop = evidence.setup.hoop
    width, height = evidence.design.size_mm
    return Finding(
        name=RULE.name,
        level=Level.FAULT,
        regions=(),
        at=at,
        measured=-clear,
        limit=0.0,
        unit="mm",
        chance=None,
        because=(
            f"The design is {width:.0f} x {height:.0f} mm, the sewing field {hoop.width_mm:.0f} x "
            f"{hoop.height_mm:.0f} mm{' and oval' if hoop.shape == 'oval' else ''}; "
            f"it reaches {millimetres(-clear)} beyond it."
        ),
        advice="Take a larger hoop; where there is none, split the design and sew it in two hoopings.",
    )


RULE = Rule("hoop-too-small", "goods", "job", look, __doc__ or "")
