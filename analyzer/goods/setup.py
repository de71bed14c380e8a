"""A job made definite: every name looked up, every default filled in."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, cast

from analyzer.choices import BACKS, CARES, HOLDINGS
from analyzer.errors import BadJob
from analyzer.goods.constants import constants
from analyzer.goods.own import tables_of
from analyzer.goods.parse import checked_hoop, hoop
from analyzer.goods.tables import Tables, standard
from analyzer.goods.types import Cloth, Hoop, Needle, ThreadType, Value
from analyzer.job import Frame, Job, Machine


@dataclass(frozen=True, slots=True)
class Setup:
    """What the job comes to on one cloth."""

    cloth: Cloth
    care: str
    back: str
    holding: str  #: floated where the job says hooped and a ring would mark the goods
    hoop: Hoop
    thread: ThreadType
    needle: Needle
    speed_spm: float
    tolerance_mm: float  #: bare cloth allowed at an outline, mm
    tolerance_given: bool  #: whether the user set it
    colour: str | None  #: of the goods
    limits: Mapping[str, Value]  #: the limits table with the user's own values laid over it
    silenced: tuple[str, ...]
    needles: int | None  #: colours that the machine threads at a time, None where no machine is given
    tables: Tables  #: with the user's own goods and backings
    holding_asked: str = "hooped"  #: as the job says it
    piece: Cloth | None = None  #: cloth of an applique's piece, None where the job names none

    @property
    def chance_accepted(self) -> float:
        """Chance of missing a limit under which a stack is good enough."""
        return self.limits["chance_accepted"].value


def resolve(job: Job, goods_name: str, size_mm: tuple[float, float]) -> Setup:
    """Return what a job comes to on one cloth.

    Args:
        job: the job; what it leaves open is taken from the cloth, the machine or the tables.
        goods_name: the cloth to judge on (a job without goods is compared on several).
        size_mm: width and height of the design, mm; the smallest hoop that holds it is taken where none is
            given.

    Goods that a ring would mark are floated where the job leaves them hooped. A given hoop that is smaller
    than the design is kept: that is for a finding to say.

    Raises:
        BadJob: a setting that makes no sense or cannot be met.
        UnknownGoods, UnknownHoop, UnknownThread, UnknownNeedle: a name is in no table.
    """
    tables = tables_of(job.own)
    goods = tables.cloth(goods_name)
    asked = _word("holding", job.holding, HOLDINGS)
    holding = "floated" if asked == "hooped" and not goods.hoopable else asked
    limits = _limits(job)
    upper = tables.thread(job.thread) if job.thread is not None else tables.usual_thread()
    return Setup(
        cloth=goods,
        care=_word("care", job.care, CARES) if job.care is not None else goods.care,
        back=_word("back", job.back, BACKS) if job.back is not None else goods.back,
        holding=holding,
        hoop=_given_hoop(job.hoop, job.machine)
        if job.hoop is not None
        else _fitting_hoop(size_mm, holding, job.machine),
        thread=upper,
        needle=tables.needle(job.needle) if job.needle is not None else usual_needle(upper, goods),
        speed_spm=_speed(job),
        tolerance_mm=_tolerance(job, goods, limits),
        tolerance_given=job.tolerance_mm is not None,
        colour=_colour(job.colour),
        limits=limits,
        silenced=job.limits.silenced if job.limits is not None else (),
        needles=job.machine.needles if job.machine is not None else None,
        tables=tables,
        holding_asked=asked,
        piece=tables.cloth(job.applique) if job.applique is not None else None,
    )


def _word(what: str, text: str, known: Iterable[str]) -> str:
    """Return a known word, or raise BadJob with the nearest."""
    words = tuple(known)
    name = text.strip().lower()
    if name in words:
        return name
    nearest = difflib.get_close_matches(name, words, n=1, cutoff=0.5)
    advice = f"did you mean {nearest[0]}?" if nearest else f"known: {', '.join(words)}"
    raise BadJob(f"unknown {what} '{text}': {advice}")


def _limits(job: Job) -> Mapping[str, Value]:
    """Return the limits table under the user's own values (a plain dict, so that it can be pickled)."""
    table = dict(constants("limits"))
    for name, value in job.limits.values if job.limits is not None else ():
        key = _word("limit", name, table)
        if not (math.isfinite(value) and value >= 0):
            raise BadJob(f"limit '{key}' must be a number of 0 or more, not {value}")
        table[key] = Value(float(value), float(value), float(value), "measured", "the user's own limit")
    return table


def usual_needle(upper: ThreadType, goods: Cloth) -> Needle:
    """Return the usual needle for a thread in a cloth.

    A thick thread or a heavy cloth asks for more than the common needle and gets it; otherwise the finer of
    what the two ask for (common practice, no source).
    """
    tables = standard()
    asked = sorted(
        (tables.needle(upper.needle), tables.needle(goods.needle)), key=lambda item: item.blade_mm.value
    )
    common = tables.needle(tables.usual_thread().needle)
    return asked[1] if asked[1].blade_mm.value > common.blade_mm.value else asked[0]


def _speed(job: Job) -> float:
    table = constants("setup")
    speed = job.speed_spm
    if speed is None:
        speed = job.machine.speed_spm if job.machine is not None else table["speed_spm"].value
    top = table["speed_max_spm"].value
    if not 0 < speed <= top:
        raise BadJob(f"a speed of {speed:g} stitches per minute is impossible; give 1 to {top:g}")
    return float(speed)


def _tolerance(job: Job, goods: Cloth, limits: Mapping[str, Value]) -> float:
    if job.tolerance_mm is None:
        return limits["gap_bare_pile_mm" if goods.pile_mm is not None else "gap_bare_mm"].value
    top = constants("setup")["tolerance_max_mm"].value
    if not 0 < job.tolerance_mm <= top:
        raise BadJob(
            f"a tolerance of {job.tolerance_mm:g} mm makes no sense; give more than 0, up to {top:g} mm"
        )
    return float(job.tolerance_mm)


def _colour(text: str | None) -> str | None:
    if text is None:
        return None
    if re.fullmatch(r"#[0-9a-fA-F]{6}", text.strip()) is None:
        raise BadJob(f"colour '{text}' is not of the form #rrggbb")
    return text.strip().lower()


def _frame(frame: Frame) -> Hoop:
    """Return a frame of the user's machine as a hoop."""
    shape = cast('Literal["rectangle", "oval"]', _word("frame shape", frame.shape, ("rectangle", "oval")))
    return checked_hoop(Hoop(frame.name, frame.width_mm, frame.height_mm, shape, "the user's machine"))


def _given_hoop(text: str, machine: Machine | None) -> Hoop:
    """Return the hoop that a job names: a frame of the machine first, then the table or a size."""
    for frame in machine.frames if machine is not None else ():
        if frame.name.strip().lower() == text.strip().lower():
            return _frame(frame)
    return hoop(text)


def holds(field: Hoop, size_mm: tuple[float, float], clearance_mm: float) -> bool:
    """Say whether a sewing field holds a design's bounding box with the clearance on every side."""
    width, height = (side + 2.0 * clearance_mm for side in size_mm)
    across, along = width / field.width_mm, height / field.height_mm
    return math.hypot(across, along) <= 1.0 if field.shape == "oval" else max(across, along) <= 1.0


def _fitting_hoop(size_mm: tuple[float, float], holding: str, machine: Machine | None) -> Hoop:
    """Return the smallest sewing field that holds the design, of the machine's frames or else of the table.

    Of the table only rectangles are tried (and the cap frame only for caps). Where none is large enough the
    largest is returned, and a finding says so.
    """
    if machine is not None and machine.frames:
        fields = [_frame(frame) for frame in machine.frames]
    else:
        cap = holding == "cap-frame"
        fields = [item for item in standard().hoops.values() if item.cap == cap and item.shape == "rectangle"]
    fields.sort(key=lambda item: (item.width_mm * item.height_mm, item.name))
    clearance = constants("setup")["foot_clearance_mm"].value
    if machine is not None and machine.foot_clearance_mm is not None:
        clearance = machine.foot_clearance_mm
    return next((item for item in fields if holds(item, size_mm, clearance)), fields[-1])
