"""Draws of gaps become chances.

A gap has two parts: what the file itself leaves (meant) and how far the cloth carries the outline off
(drift). Neither is known to a tenth at a point. Drift is averaged along the outline over a window of a few
millimetres. What the file leaves scatters more, above all at corners, so its median over a longer window
counts. Where that is within the tolerance the whole gap counts. Where the file itself leaves more, the stack
answers only for the drift.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from scipy.ndimage import median_filter, uniform_filter1d

from analyzer.arrays import Floats, Ints
from analyzer.findings.evidence import Evidence
from analyzer.findings.types import GapSide, GapVerdict, JudgedGap
from analyzer.mechanics.types import GapDraws
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
    if evidence.is_lace:
        return max(ordinary, evidence.limit("gap_bare_lace_mm"))
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


def _each_stretch(at: Floats, station_mm: float, window_mm: float) -> Iterator[tuple[slice, int, bool]]:
    """Yield each stretch of stations, the window in stations, and whether it closes on itself."""
    width = max(1, round(window_mm / station_mm))
    for first, end in pairwise(stretches(at, station_mm).tolist()):
        reach = np.hypot(*(at[end - 1] - at[first]))
        yield (
            slice(first, end),
            min(width, end - first),
            reach < _BREAK_STATIONS * station_mm and end - first > 8,
        )


def along_outline(values: Floats, at: Floats, station_mm: float, window_mm: float) -> Floats:
    """Average ``values`` (..., k) over ``window_mm`` along the outline whose stations are ``at`` (k, 2) mm.

    A stretch that closes on itself is averaged round its joint; stretches do not mix.
    """
    result = np.array(values, dtype=np.float64)
    for stretch, width, closes in _each_stretch(at, station_mm, window_mm):
        part = result[..., stretch]
        result[..., stretch] = (
            uniform_filter1d(part, width, axis=-1, mode="wrap")
            if closes
            else uniform_filter1d(part, width, axis=-1, mode="nearest")
        )
    return result


def median_along(values: Floats, at: Floats, station_mm: float, window_mm: float) -> Floats:
    """Return the running median of ``values`` (k,) over ``window_mm``, stretch by stretch."""
    result = np.array(values, dtype=np.float64)
    for stretch, width, closes in _each_stretch(at, station_mm, window_mm):
        part = result[stretch]
        result[stretch] = median_filter(part, size=width, mode="wrap" if closes else "nearest")
    return result


def judge_gap(evidence: Evidence, gap: GapDraws) -> JudgedGap:
    """Judge one outline against one border, on both sides."""
    window = evidence.limit("gap_window_mm")
    tolerance = pair_tolerance_mm(evidence, gap.outline, gap.borders)
    overlap = evidence.limit("gap_overlap_mm")
    meant = median_along(gap.meant_mm, gap.at, gap.station_mm, evidence.limit("gap_meant_window_mm"))
    drift = along_outline(gap.nominal_mm - gap.meant_mm, gap.at, gap.station_mm, window)
    drifts = along_outline(gap.draws_mm - gap.meant_mm, gap.at, gap.station_mm, window)
    most = np.where(meant > tolerance, meant + tolerance, tolerance)
    return JudgedGap(
        outline=gap.outline,
        borders=gap.borders,
        tolerance_mm=tolerance,
        bare=_side(gap, meant, drift, drifts, most, tolerance, 1.0),
        overlap=_side(gap, meant, drift, drifts, meant - overlap, overlap, -1.0),
    )


def _side(
    gap: GapDraws, meant: Floats, drift: Floats, drifts: Floats, limit: Floats, allowed_mm: float, sign: float
) -> GapSide:
    """Judge the side of positive gaps (``sign`` 1) or of negative ones (-1); ``limit`` (k,) is signed too."""
    over = sign * (meant + drift - limit)
    over_draws = sign * (meant + drifts - limit)
    worst = int(np.argmax(over))
    station = np.argmax(over_draws, axis=1)
    values = meant[station] + drifts[np.arange(len(drifts)), station]
    low, median, high = np.percentile(values, (LOW_PERCENT, 50.0, HIGH_PERCENT))
    return GapSide(
        worst_mm=float(meant[worst] + drift[worst]),
        low_mm=float(low),
        median_mm=float(median),
        high_mm=float(high),
        at=(float(gap.at[worst, 0]), float(gap.at[worst, 1])),
        meant_mm=float(meant[worst]),
        limit_mm=float(limit[worst]),
        excess=float(over[worst] / allowed_mm),
        chance=float(np.mean(np.any(over_draws > 0, axis=1))),
        over_mm_of_length=float(np.count_nonzero(over > 0)) * gap.station_mm,
    )


def gap_verdict(gap: JudgedGap) -> GapVerdict:
    """Return what is handed on of a judged gap.

    The side that is nominally nearer to its limit, bare cloth or overlap, gives ``worst_mm`` with its limits.
    """
    side = gap.bare if gap.bare.excess >= gap.overlap.excess else gap.overlap
    return GapVerdict(
        outline=gap.outline,
        borders=gap.borders,
        worst_mm=side.worst_mm,
        low_mm=side.low_mm,
        high_mm=side.high_mm,
        median_mm=side.median_mm,
        at=side.at,
        over_limit_mm_of_length=gap.bare.over_mm_of_length + gap.overlap.over_mm_of_length,
        chance_bare=gap.bare.chance,
        chance_overlap=gap.overlap.chance,
        limit_mm=side.limit_mm,
    )
