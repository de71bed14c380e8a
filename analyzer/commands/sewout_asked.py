"""What ``prehoop sewout add`` asks for at a terminal, one thing after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from analyzer.errors import BadRecords, PrehoopError

if TYPE_CHECKING:
    from analyzer.design import Design
    from analyzer.job import Job
    from analyzer.sewout.piece import Measure
    from analyzer.sewout.records import Reading, Record

MM_PER_INCH = 25.4
_STATES = {"hooped": "in the hoop", "released": "out of the hoop", "washed": "washed and dried"}
_NOT_MEASURED = ("", "-")
_WHAT = {
    "gap": "bare cloth between edge and outline",
    "width": "from edge to edge",
    "sewn": "from edge to edge",
    "marks": "from cross to cross",
}


_NOTHING = (
    "there is no gap, column or fill on this design that a ruler could find: sew the test piece "
    "(prehoop sewout piece), or give what you measured in a file (--from FILE)"
)
_PLACES = "Places in mm from the middle of the design, x to the right and y upwards."


def listed(design: Design, job: Job, units: str) -> list[str]:
    """Return what there is to measure on a design, line by line.

    Raises:
        BadRecords: there is nothing on the design that a ruler could find.

    """
    from analyzer.sewout.places import to_measure

    known = to_measure(design, job)
    if not known:
        raise BadRecords(_NOTHING)
    lines = [f"{number:>3}  {_what(one, units)})" for number, one in enumerate(known, 1)]
    return lines + ([_PLACES] if any(" x " in one.name for one in known) else [])


def _what(one: Measure, units: str) -> str:
    """Return what is to be measured, with the length in the file; the bracket is left open."""
    scale, digits = (MM_PER_INCH, 3) if units == "in" else (1.0, 1)
    meant = round(one.meant_mm / scale, digits) + 0.0  # no -0.0
    return f"{one.name}, {_WHAT[one.kind]} ({meant:.{digits}f} {units} in the file"


def asked_job(job: Job, backing: tuple[str, ...]) -> tuple[Job, tuple[str, ...]]:
    """Ask on what it was sewn and what was behind it, where nothing says so."""
    from analyzer import goods

    tables = goods.tables_of(job.own)
    while job.goods is None:
        answer = click.prompt("Sewn on which goods (prehoop goods lists them)").strip()
        try:
            job = replace(job, goods=tables.cloth(answer).name)
        except PrehoopError as error:
            click.echo(str(error))
    while not backing:
        said = click.prompt("What was behind it, nearest first, for example cutaway:85; or none")
        try:
            goods.parse_backing(tuple(said.split()), tables)
            backing = tuple(said.split())
        except PrehoopError as error:
            click.echo(str(error))
    return job, backing


def asked_measures(
    design: Design, job: Job, units: str, *, sure: bool, was: Record | None = None
) -> tuple[Mapping[str, Any], ...]:
    """Ask for each measure of a design, by what was done to the piece before; ``sure``: without doubting.

    Enter keeps what ``was`` recorded.

    Raises:
        BadRecords: there is nothing on the design that a ruler could find.

    """
    from analyzer.sewout.piece import Measure
    from analyzer.sewout.places import to_measure

    before = {} if was is None else {"hooped": was.readings, "released": was.released, "washed": was.washed}
    known = to_measure(design, job)
    names = {one.name for one in known}
    others = {one.name: one for each in before.values() for one in each if one.name not in names}
    known += tuple(Measure(o.name, o.kind, o.start, o.end, o.value_mm) for o in others.values())
    if not known:
        raise BadRecords(_NOTHING)
    click.echo(
        f"Lengths in {units}, thread edge to thread edge; repeats apart by spaces. "
        + ("Enter, or - where two things overlap" if was is None else "Enter: as recorded; -")
        + ": not measured."
    )
    if any(" x " in one.name for one in known):
        click.echo(_PLACES)
    rows: list[Mapping[str, Any]] = []
    for state, words in _STATES.items():
        recorded = {one.name: one for one in before.get(state, ())}
        asked = f"Did you also measure it {words}?"
        if state != "hooped" and not click.confirm(asked, default=bool(recorded)):
            continue
        click.echo(f"Measured {words}:")
        for number, one in enumerate(known, 1):
            title = f"{number}/{len(known)} {_what(one, units)}"
            values = _asked(title, one, units, sure=sure, was=recorded.get(one.name))
            if values:
                rows.append(_row(design, one, values, state, recorded.get(one.name), units))
    return tuple(rows)


def _asked(title: str, one: Measure, units: str, *, sure: bool, was: Reading | None) -> list[float]:
    """Return what is answered for one measure, in ``units``; nothing where it was not measured."""
    from analyzer.sewout.entry import doubt, lengths

    scale, digits = (MM_PER_INCH, 3) if units == "in" else (1.0, 1)
    asked = f"  {title}"
    asked += f", recorded {was.value_mm / scale:.{digits}f})" if was is not None else ")"
    while (answer := click.prompt(asked, default="", show_default=False).strip()) not in _NOT_MEASURED:
        try:
            values = lengths(answer)
        except ValueError:
            click.echo(f"'{answer}' is no length; write 7.6, or repeats as 7.6 7.5 7.6")
            continue
        questions = [doubt(one.name, one.kind, scale * value, one.meant_mm, units) for value in values]
        question = next((each for each in questions if each), None)
        if sure or question is None or click.confirm(f"  {question} Keep it?", default=False):
            return values
    return [was.value_mm / scale] * was.repeats if was is not None and not answer else []


def _row(
    design: Design, one: Measure, values: Sequence[float], state: str, was: Reading | None, units: str
) -> Mapping[str, Any]:
    """Return an answer as a file would say it, with the reading error that it had before."""
    x0, y0, x1, y1 = design.bounds_mm

    def off(place: tuple[float, float]) -> list[float]:
        return [place[0] - (x0 + x1) / 2, place[1] - (y0 + y1) / 2]

    places = {"at": one.start} if one.kind in ("width", "gap") else {"from": one.start, "to": one.end}
    row: dict[str, Any] = {key: off(place) for key, place in places.items()}
    if was is not None:
        row["error"] = was.error_mm / (MM_PER_INCH if units == "in" else 1.0)
    return row | {"name": one.name, "kind": one.kind, "values": list(values), "state": state}
