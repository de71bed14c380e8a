"""From records to what they teach, and what there is to remark about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import norm, t

from analyzer import goods
from analyzer.arrays import Floats
from analyzer.design import Design
from analyzer.errors import PrehoopError
from analyzer.goods import StackChoice, constants
from analyzer.goods.stack import backing_of
from analyzer.job import Job, OwnMaterials
from analyzer.sewout.learn import (
    Lesson,
    Measured,
    calibration,
    draws_for,
    error_mm,
    law_share,
    learn,
    quantiles,
    times_read,
)
from analyzer.sewout.nodes import compute
from analyzer.sewout.piece import Measure, is_test_piece, measures, piece_design
from analyzer.sewout.records import Reading, Record, Records, Taught, unpacked

RELEASED = "out of the hoop"
#: what teaches out of the hoop too: release moves sewn edges next to each other by hundredths of a
#: millimetre, but marks on bare cloth by more, and by how taut it was hooped
RELEASED_KINDS = ("width", "sewn", "gap")


@dataclass(frozen=True, slots=True)
class Line:
    """One measure of one record: median and 5-95 % before and after learning, and what was read, mm."""

    record: str
    name: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    read_mm: float | None  #: None: not measured
    odd: bool  #: further off than its error and the law's explain


@dataclass(frozen=True, slots=True)
class Advice:
    """What measuring one more thing would do to the 5-95 % range of the gap it is said for."""

    record: str
    name: str
    narrower: float  #: share of the range that would go
    again: bool  #: it was measured before


def names_own(cloth: str, backing: Sequence[str], own: tuple[OwnMaterials, ...]) -> bool:
    """Say whether a cloth or a backing is one of the user's own, and all that is named is known."""
    try:
        tables, standard = goods.tables_of(own), goods.tables_of(())
        kinds = [one.kind for one in goods.parse_backing(tuple(backing), tables)]
        tables.cloth(cloth)
    except PrehoopError:
        return False
    return cloth not in standard.cloths or any(kind not in standard.backings for kind in kinds)


def own_of(record: Record, own: tuple[OwnMaterials, ...]) -> tuple[OwnMaterials, ...]:
    """Return the user's own materials of today, or those of the record where today's lack what it names."""
    return own if not record.own or names_own(record.goods, record.backing, own) else record.own


def measures_of(design: Design, readings: Sequence[Reading]) -> tuple[Measure, ...]:
    """Return the measures of a sew-out: of the test piece all that it has, then what else was read."""
    known = _of_piece(design)
    names = {one.name for one in known}
    others = {one.name: one for one in readings if one.name not in names}
    return (*known, *(Measure(o.name, o.kind, o.start, o.end, 0.0) for o in others.values()))


def _of_piece(design: Design) -> tuple[Measure, ...]:
    """Return the test piece's measures where the design has them; none for another design."""
    if not is_test_piece(design):
        return ()
    dx, dy = (design.penetrations - piece_design().penetrations).mean(axis=0).tolist()
    return tuple(
        replace(one, start=(one.start[0] + dx, one.start[1] + dy), end=(one.end[0] + dx, one.end[1] + dy))
        for one in measures()
    )


def measured(record: Record, own: tuple[OwnMaterials, ...] = (), changes_since: int = 0) -> Measured:
    """Return a record as learning sees it; its design is sewn at the nodes.

    Own goods and backings are those of today; where they are gone, those that the record has kept.

    Raises:
        BadJob, UnknownName: its goods, backing or thread are not known, or a place holds nothing to measure.

    """
    design = unpacked(record)
    job = Job(
        goods=record.goods,
        holding=record.holding,
        hoop=record.hoop,
        thread=record.thread,
        needle=record.needle,
        own=own_of(record, own),
    )
    setup = goods.resolve(job, record.goods, design.size_mm)
    choice = StackChoice(goods.parse_backing(record.backing, setup.tables), record.topping)
    stack = goods.build_stack(setup, choice)
    hooped = measures_of(design, record.readings)
    freed = tuple(
        Measure(f"{one.name}, {RELEASED}", one.kind, one.start, one.end, 0.0, released=True)
        for one in record.released
        if one.kind in RELEASED_KINDS
    )
    wanted = hooped + freed
    value = np.full(len(wanted), np.nan)
    error = np.full(len(wanted), constants("sewout")["reading_error_mm"].value)
    named = [(one.name, one) for one in record.readings]
    named += [(f"{one.name}, {RELEASED}", one) for one in record.released if one.kind in RELEASED_KINDS]
    for name, reading in named:
        at = next(i for i, one in enumerate(wanted) if one.name == name)
        value[at] = reading.value_mm
        error[at] = reading.error_mm / np.sqrt(reading.repeats)
    return Measured(
        id=record.id,
        machine=record.machine,
        thread=record.thread,
        cloth=record.goods,
        backing=backing_of(choice),
        nodes=compute(design, setup, stack, wanted),
        value_mm=value,
        error_mm=error,
        changes_since=changes_since,
        design=record.points,
    )


def lesson_of(records: Records, own: tuple[OwnMaterials, ...] = ()) -> Lesson:
    """Return what the records that count teach."""
    kept = records.kept
    found = []
    for number, one in enumerate(kept):
        later = [o for o in kept[number + 1 :] if (o.machine, o.thread) == (one.machine, one.thread)]
        found.append(measured(one, own, sum(o.changed for o in later)))
    return learn(found)


def taught(records: Records, lesson: Lesson) -> Records:
    """Return the records with what they teach written beside them, for each machine and thread."""
    pairs = dict.fromkeys((one.machine, one.thread) for one in records.kept)
    found = [(pair, calibration(lesson, *pair)) for pair in pairs]
    return replace(records, taught=tuple(Taught(*pair, one) for pair, one in found if one is not None))


def lines(lesson: Lesson) -> tuple[Line, ...]:
    """Return predicted against measured, before and after, for every measure of every record."""
    prior = goods.draw(2000, 0)
    even = np.full(prior.count, 1.0 / prior.count)
    limit = constants("sewout")["odd_residual"].value
    found = []
    for record in lesson.records:
        nodes = record.nodes
        before = nodes.measured(prior)
        draws = draws_for(record, lesson.keys, lesson.scores)
        after = nodes.measured(draws)
        error = lesson.weights @ error_mm(record, nodes.shift(draws), law_share(record, ()))
        names = [one.name for one in record.nodes.measures]
        for at, name in enumerate(names):
            value = float(record.value_mm[at])
            known = bool(np.isfinite(value))
            now = quantiles(after[:, at], lesson.weights)
            odd = known and abs(value - now[0]) > limit * float(error[at])
            found.append(
                Line(
                    record.id, name, quantiles(before[:, at], even), now, value if known else None, bool(odd)
                )
            )
    return tuple(found)


def drifts(lesson: Lesson) -> tuple[str, ...]:
    """Say where a machine's pull seems to go one way from record to record.

    Asked of four records at least, since something last changed; the slope must stand out from the scatter
    about it and from what reading errors alone can make, by Student's t for as few as there are.
    """
    said = []
    for machine, thread in dict.fromkeys((one.machine, one.thread) for one in lesson.records):
        pair = (machine, thread)
        own = [r for r in lesson.records if (r.machine, r.thread) == pair and r.changes_since == 0]
        count = len(own)
        if count < 4:
            continue
        ratios, errors = np.array([_over_predicted(lesson, one) for one in own]).T
        steps = np.arange(count) - (count - 1) / 2
        slope = float(steps @ ratios / (steps @ steps))
        rest = ratios - ratios.mean() - slope * steps
        scatter = float(np.sqrt(rest @ rest / (count - 2) / (steps @ steps)))
        by_reading = float(np.sqrt((steps**2) @ (errors**2)) / (steps @ steps))
        chance = norm.sf(constants("sewout")["odd_residual"].value)
        enough = max(float(t.isf(chance, count - 2)) * scatter, float(norm.isf(chance)) * by_reading)
        if abs(slope) > enough and abs(slope) * (count - 1) > 0.1:
            way = "more" if slope > 0 else "less"
            said.append(
                f"{machine}, {thread}: cloth moves {way} from record to record, by about {abs(slope):.0%} "
                "each time. Check tension, needle and bobbin; then record with --changed."
            )
    return tuple(said)


def _over_predicted(lesson: Lesson, record: Measured) -> tuple[float, float]:
    """Return by which share a record's movements exceed what is now predicted, and its error by reading."""
    draws = draws_for(record, lesson.keys, lesson.scores)
    shift = lesson.weights @ record.nodes.shift(draws)
    whole = lesson.weights @ record.nodes.measured(draws)
    there = np.isfinite(record.value_mm)
    off = (record.value_mm - whole)[there]
    weight = 1.0 / np.square(record.error_mm[there])
    told = max(float((weight * shift[there] ** 2).sum()), 1e-9)
    return float((weight * off * shift[there]).sum() / told), float(told**-0.5)


def advice(lesson: Lesson) -> tuple[Advice, ...]:
    """Return what to measure next, best first: how far each would narrow the prediction of a gap.

    Said for the records' own gaps, or their most moving measure where they have none; linear in the scores
    (a Gaussian's variance less the share that the measure explains). What the law may be off in the gap
    stays, and measures of one kind on one design share the law's error: one more tells little.
    """
    found = []
    law = constants("sewout")["law_error"].value
    for record in lesson.records:
        draws = draws_for(record, lesson.keys, lesson.scores)
        shift, whole = record.nodes.shift(draws), record.nodes.measured(draws)
        kinds = [one.kind for one in record.nodes.measures]
        gaps = [i for i, kind in enumerate(kinds) if kind == "gap"]
        wanted = gaps or [int(np.abs(lesson.weights @ shift).argmax())]
        target = shift[:, wanted].mean(axis=1)
        stays = float((law * (lesson.weights @ target)) ** 2)
        read = np.square(record.error_mm)
        known = times_read(record, lesson.records)
        now, then = (
            np.square(law_share(record, lesson.records, more) * (lesson.weights @ shift)) for more in (0, 1)
        )
        told = (known + 1) / (read + then) - known / (read + now)
        for at, one in enumerate(record.nodes.measures):
            if one.released or told[at] <= 0.0:
                continue
            both = _covariance(np.stack([target, whole[:, at]], axis=1), lesson.weights)
            less = both[0, 1] ** 2 / max(both[1, 1] + 1.0 / told[at], 1e-12)
            left = 1.0 - less / max(both[0, 0] + stays, 1e-12)
            found.append(Advice(record.id, one.name, 1.0 - float(np.sqrt(max(left, 0.0))), bool(known[at])))
    return tuple(sorted(found, key=lambda one: (-one.narrower, one.record, one.name)))


def _covariance(samples: Floats, weights: Floats) -> Floats:
    off = samples - weights @ samples
    result: Floats = (off * weights[:, None]).T @ off
    return result
