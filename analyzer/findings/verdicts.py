"""Draws of columns and pucker become chances."""

from __future__ import annotations

import numpy as np

from analyzer.findings.evidence import Evidence
from analyzer.findings.gaps import HIGH_PERCENT, LOW_PERCENT
from analyzer.findings.types import PuckerVerdict
from analyzer.mechanics.types import ColumnDraws


def column_limit_mm(evidence: Evidence, width_mm: float) -> float:
    """Return the loss of width allowed to a satin column that is ``width_mm`` wide in the file."""
    return max(evidence.limit("column_loss_mm"), evidence.limit("column_loss_share") * width_mm)


def column_chance(evidence: Evidence, column: ColumnDraws) -> float:
    """Return the chance that a satin column loses more width than is allowed."""
    return float(np.mean(column.draws_mm > column_limit_mm(evidence, column.width_mm)))


def pucker_verdict(evidence: Evidence) -> PuckerVerdict:
    """Judge the pucker; all zero while nothing has been computed."""
    if evidence.response is None:
        return PuckerVerdict(chance=0.0, amplitude_mm=0.0, low_mm=0.0, high_mm=0.0, at=(0.0, 0.0))
    pucker = evidence.response.pucker
    low, high = np.percentile(pucker.draws_mm, (LOW_PERCENT, HIGH_PERCENT))
    return PuckerVerdict(
        chance=float(np.mean(pucker.draws_mm > evidence.limit("pucker_mm"))),
        amplitude_mm=pucker.nominal_mm,
        low_mm=float(low),
        high_mm=float(high),
        at=pucker.at,
    )


def pucker_is_inside(evidence: Evidence) -> bool:
    """Say whether the worst pucker lies in an enclosed place of the design rather than around it."""
    if evidence.response is None:
        return False
    x, y = evidence.response.pucker.at
    return any(np.hypot(x - void.at[0], y - void.at[1]) <= void.radius_mm for void in evidence.cover.voids)
