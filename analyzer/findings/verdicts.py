"""Draws become chances: gaps, columns and pucker, judged against their limits.

A gap has two parts: what the file itself leaves (meant) and how far the cloth carries the outline
off (drift). Both are averaged along the outline over a window of a few millimetres, since neither
is known to a tenth at a point. Where the file keeps within the tolerance the whole gap counts.
Where the file itself leaves more than the tolerance, the stack answers only for the drift.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.ndimage import uniform_filter1d

from analyzer.arrays import Floats, Ints
from analyzer.findings.evidence import Evidence
from analyzer.findings.types import GapVerdict, PuckerVerdict
from analyzer.mechanics.types import ColumnDraws, GapDraws
from analyzer.regions.types import RegionKind

LOW_PERCENT, HIGH_PERCENT = 5.0, 95.0  #: of the limits shown with every prediction
_BREAK_STATIONS = 3.0  #: stations further apart than so many spacings belong to different stretches


def tolerance_mm(evidence: Evidence) -> float:
    """Return the bare cloth allowed at an ordinary outline: the user's own, or that of the cloth."""
    if evidence.setup is not None and evidence.setup.tolerance_given:
        return evidence.setup.tolerance_mm
    return evidence.limit("gap_bare_pile_mm" if evidence.has_pile else "gap_bare_mm")


def pair_tolerance_mm(evidence: Evidence, outline: int, borders: int) -> float:
    """Return the bare cloth allowed between two regions; a thin run of another colour gets less."""
    ordinary = tolerance_mm(evidence)
    given = evidence.setup is not None and evidence.setup.tolerance_given
    if given or evidence.has_pile:
        return ordinary
    by_id = {region.id: region for region in evidence.regions.items}
    line, border = by_id[outline], by_id[borders]
    if line.kind != RegionKind.RUN or line.colour == border.colour:
        return ordinary
    threads = evidence.design.threads
    first, second = (threads[i].rgb if i < len(threads) else None for i in (line.colour, border.colour))
    if first is not None and first == second:
        return ordinary
    return evidence.limit("gap_bare_thin_mm")


def stretches(at: Floats, station_mm: float) -> Ints:
    """Return where each stretch of stations begins, and k at the end; ``at`` is (k, 2) mm."""
    steps = np.hypot(*np.diff(at, axis=0).T)
    breaks = np.flatnonzero(steps > _BREAK_STATIONS * station_mm) + 1
    return np.concatenate(([0], breaks, [len(at)])).astype(np.int32)


def along_outline(values: Floats, at: Floats, station_mm: float, window_mm: float) -> Floats:
    """Average ``values`` (..., k) over ``window_mm`` along the outline whose stations are ``at`` (k, 2) mm.

    A stretch that closes on itself is averaged round its joint; stretches do not mix.
    """
    width = max(1, round(window_mm / station_mm))
    result = np.array(values, dtype=np.float64)
    bounds = stretches(at, station_mm).tolist()
    for first, end in pairwise(bounds):
        size = min(width, end - first)
        closes = (
            end - first > 3 * width and np.hypot(*(at[end - 1] - at[first])) < _BREAK_STATIONS * station_mm
        )
        part = result[..., first:end]
        result[..., first:end] = (
            uniform_filter1d(part, size, axis=-1, mode="wrap")
            if closes
            else uniform_filter1d(part, size, axis=-1, mode="nearest")
        )
    return result


def gap_verdict(evidence: Evidence, gap: GapDraws) -> GapVerdict:
    """Judge one outline against one border.

    The side that is nominally nearer to its limit, bare cloth or overlap, gives ``worst_mm``; ``low_mm`` and
    ``high_mm`` are the 5th and 95th percentile of the worst gap of each draw on that side.
    """
    window = evidence.limit("gap_window_mm")
    bare = pair_tolerance_mm(evidence, gap.outline, gap.borders)
    overlap = evidence.limit("gap_overlap_mm")
    meant = along_outline(gap.meant_mm, gap.at, gap.station_mm, window)
    nominal = along_outline(gap.nominal_mm, gap.at, gap.station_mm, window)
    draws = along_outline(gap.draws_mm, gap.at, gap.station_mm, window)
    most = np.where(meant > bare, meant + bare, bare)
    least = meant - overlap
    over_bare, over_overlap = nominal - most, least - nominal
    is_bare = bool(over_bare.max() / bare >= over_overlap.max() / overlap)
    worst = int(np.argmax(over_bare if is_bare else over_overlap))
    station = np.argmax(draws - most if is_bare else least - draws, axis=1)
    worst_draws = draws[np.arange(len(draws)), station]
    low, high = np.percentile(worst_draws, (LOW_PERCENT, HIGH_PERCENT))
    over = (over_bare > 0) | (over_overlap > 0)
    return GapVerdict(
        outline=gap.outline,
        borders=gap.borders,
        worst_mm=float(nominal[worst]),
        low_mm=float(low),
        high_mm=float(high),
        median_mm=float(np.median(nominal)),
        at=(float(gap.at[worst, 0]), float(gap.at[worst, 1])),
        over_limit_mm_of_length=float(np.count_nonzero(over)) * gap.station_mm,
        chance_bare=float(np.mean(np.any(draws > most, axis=1))),
        chance_overlap=float(np.mean(np.any(draws < least, axis=1))),
    )


def meant_by_file_mm(evidence: Evidence, gap: GapDraws) -> float:
    """Return the largest gap that the file itself leaves along an outline, averaged along it, mm."""
    return float(along_outline(gap.meant_mm, gap.at, gap.station_mm, evidence.limit("gap_window_mm")).max())


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
