"""Draws of columns and pucker become chances."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyzer.findings.evidence import Evidence
from analyzer.findings.gaps import HIGH_PERCENT, LOW_PERCENT
from analyzer.findings.types import Finding, Level, PuckerVerdict
from analyzer.findings.words import chance_words, millimetres
from analyzer.mechanics.types import ColumnDraws


def column_limit_mm(evidence: Evidence, width_mm: float) -> float:
    """Return the loss of width allowed to a satin column that is ``width_mm`` wide in the file."""
    return max(evidence.limit("column_loss_mm"), evidence.limit("column_loss_share") * width_mm)


def column_chances(evidence: Evidence, columns: Sequence[ColumnDraws]) -> list[float]:
    """Return for each satin column the chance that it loses more width than is allowed."""
    if not columns:
        return []
    limits = np.array([column_limit_mm(evidence, column.width_mm) for column in columns])
    draws = np.stack([column.draws_mm for column in columns])
    chances: list[float] = np.mean(draws > limits[:, None], axis=1).tolist()
    return chances


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


def pucker_finding(evidence: Evidence, name: str, *, inside: bool, where: str, advice: str) -> Finding | None:
    """Report pucker where it lies on the asked side of the stitching and is likely enough."""
    verdict = pucker_verdict(evidence)
    if verdict.chance < evidence.limit("chance_worth_saying") or pucker_is_inside(evidence) != inside:
        return None
    limit = evidence.limit("pucker_mm")
    return Finding(
        name=name,
        level=Level.CAUTION,
        regions=(),
        at=verdict.at,
        measured=verdict.amplitude_mm,
        limit=limit,
        unit="mm",
        chance=verdict.chance,
        because=(
            f"The stitching leaves cloth too long {where}: waves of about "
            f"{millimetres(verdict.amplitude_mm)} out of the hoop. More than {millimetres(limit)} is "
            f"{chance_words(verdict.chance)}."
        ),
        advice=advice,
    )
