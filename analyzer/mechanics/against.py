"""One pass of countering, without solving anything anew."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats
from analyzer.design import Design
from analyzer.mechanics.counter import moved_design, within_limits


def against_drift(design: Design, drift_mm: Floats) -> Design:
    """Return ``design`` moved once against its drift (m, 2) mm: a countered copy of one pass, unchecked."""
    nothing_held = np.zeros(len(drift_mm), dtype=np.bool_)
    return moved_design(design, within_limits(design, -drift_mm, nothing_held)[0])
