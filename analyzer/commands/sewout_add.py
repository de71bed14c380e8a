"""``prehoop sewout add`` and ``correct``: what was measured, from a file or asked for one by one."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.core import ParameterSource

from analyzer.commands.options import options
from analyzer.commands.settings import files_for, job_of, settings_for
from analyzer.commands.sewout_asked import asked_job, asked_measures
from analyzer.commands.sewout_records import change, machine_of, records_path, thread_of
from analyzer.errors import BadRecords

if TYPE_CHECKING:
    from analyzer.job import Job, OwnMaterials
    from analyzer.sewout.records import Record, Records

ADD_EXAMPLES = """\b
A file of measures (TOML; a CSV has columns name, kind, x, y, x2, y2, value, error, state):
  units = "mm"
  reading_error = 0.1
  [[measure]]
  name = "8 mm column, upright"          # of the test piece
  values = [7.6, 7.5, 7.6]               # repeats
  [[measure]]
  kind = "gap"                           # of any design: width, gap (at), sewn, marks (from, to)
  at = [15.0, 0.0]                       # mm from the middle of the design
  value = 0.4
  state = "hooped"                       # or released, washed: what is washed is kept to compare only
"""
_F = TypeVar("_F", bound=Callable[..., Any])


def _measured(command: _F) -> _F:
    """Give a command what describes a measured sew-out."""
    for option in (
        click.option("--sure", is_flag=True, help="Record values that seem impossible."),
        click.option(
            "--changed", is_flag=True, help="Something changed on the machine: older records count less."
        ),
        click.option("--notes", default="", metavar="TEXT", help="Anything worth keeping."),
        click.option("--date", metavar="TEXT", help="When it was sewn."),
        click.option(
            "--error", type=float, metavar="LENGTH", help="Reading error, in the units given (0.1 mm)."
        ),
        click.option(
            "--from", "source", type=click.Path(path_type=Path), metavar="FILE", help="Measures, TOML or CSV."
        ),
    ):
        command = option(command)
    return command


def _job_options(command: _F) -> _F:
    """Give a command what says on what, with what and how it was sewn."""
    for option in (
        click.option(
            "--units", type=click.Choice(["mm", "in"]), default="mm", show_default=True,
            help="Of what was measured.",
        ),
        click.option(
            "--backing", multiple=True, metavar="KIND:WEIGHT[xLAYERS]",
            help="What was behind it (85, 85gsm, 2.5oz; repeatable), or none.",
        ),
        click.option("--topping", metavar="KIND|none", help="What lay on top."),
        click.option("--goods", metavar="NAME", help="Cloth that it was sewn on (prehoop goods lists them)."),
    ):  # fmt: skip
        command = option(command)
    return options("holding", "hoop", "machine", "thread", "needle", "records")(command)


@click.command(epilog=ADD_EXAMPLES)
@click.argument("design", type=click.Path(path_type=Path))
@_measured
@_job_options
@click.pass_context
def add(ctx: click.Context, /, design: Path, source: Path | None, **given: Any) -> None:
    """Record a measured sew-out of any design.

    Without --from it asks for goods and backing, and for each measure, one by one: of the test piece what its
    sheet lists, of another design gaps where a check sees them, widths of columns and lengths of fills.
    """
    record, own = _record(ctx, design, source, given)
    path = records_path(given["records"])
    name = change(path, lambda all_: all_.added(replace(record, id=all_.next_id())), own)
    click.echo(f"{name}: recorded in {path}; see what it changed with prehoop sewout show")


@click.command()
@click.argument("design", type=click.Path(path_type=Path))
@_job_options
@click.pass_context
def places(ctx: click.Context, /, design: Path, **given: Any) -> None:
    """List what there is to measure on a design, in the order in which add asks for it."""
    from analyzer import read
    from analyzer.commands.sewout_asked import listed

    job = job_of(settings_for(ctx, files_for(design)))
    if job.goods is None or not job.backing:
        raise BadRecords("say on what it is sewn: --goods jersey --backing cutaway:85 (or none)")
    for line in listed(read(design), job, given["units"]):
        click.echo(line)


@click.command()
@click.argument("record")
@click.argument("design", type=click.Path(path_type=Path), required=False)
@_measured
@_job_options
@click.pass_context
def correct(
    ctx: click.Context, /, record: str, design: Path | None, source: Path | None, **given: Any
) -> None:
    """Let another record stand for one; the old one stays in the file and no longer counts.

    What is not said stays as it was recorded: of a file of measures those count that it names, and at a
    terminal Enter keeps a measure.
    """
    path = records_path(given["records"])
    from analyzer.sewout.records import load

    was = load(path).find(record)
    better, own = _record(ctx, design, source, given, was)

    def marked(held: Records) -> Records:
        old = held.find(record)
        at = held.records.index(old)
        records = held.marked(record, "corrected").records
        new = replace(better, id=held.next_id())
        return replace(held, records=(*records[: at + 1], new, *records[at + 1 :]))

    name = change(path, marked, own)
    click.echo(f"{record}: corrected; {name} stands for it")


def _record(
    ctx: click.Context,
    file: Path | None,
    source: Path | None,
    given: Mapping[str, Any],
    was: Record | None = None,
) -> tuple[Record, tuple[OwnMaterials, ...]]:
    """Return the record that the options, a file and answers describe, or what ``was`` recorded."""
    from analyzer import read
    from analyzer.sewout.entry import Entry, doubts, read_entry, readings
    from analyzer.sewout.records import Record, packed, unpacked
    from analyzer.sewout.teaching import RELEASED_KINDS, measured, names_own

    settings = settings_for(ctx, files_for(file if file is not None else Path("design")))
    job = job_of(settings)
    design = unpacked(was) if file is None and was is not None else read(file or Path())
    entry = read_entry(source) if source is not None else Entry()
    said = entry.job
    asks = source is None and sys.stdin.isatty()
    if source is None and not asks:
        raise BadRecords(
            "nobody sits at this terminal to be asked: give the measures in a file, --from FILE "
            "(see prehoop sewout add --help)"
        )
    job, backing, machine = _job(ctx, job, said, was)
    if asks:
        job, backing = asked_job(job, backing)
    if not backing:
        raise BadRecords("say what was behind the goods: --backing cutaway:85, or --backing none")
    if job.goods is None:
        raise BadRecords("say what was sewn on: --goods jersey")
    units = str(said.get("units", given["units"]))
    if units not in ("mm", "in"):
        raise BadRecords(f"units '{units}': write mm or in")
    rows: Sequence[Mapping[str, Any]] = entry.rows
    if asks:
        click.echo(
            f"Sewn on {job.goods}, behind it {' + '.join(backing)}; {machine}, {thread_of(job)} "
            "(others: --machine, --thread)."
        )
        rows = asked_measures(design, replace(job, backing=backing), units, sure=given["sure"], was=was)
        if given["error"] is not None:
            rows = [{key: value for key, value in row.items() if key != "error"} for row in rows]
    error = given["error"] if given["error"] is not None else said.get("reading_error")
    found = readings(design, rows, units=units, error=error, was=was, replaces=asks)
    if not found["hooped"] and not any(one.kind in RELEASED_KINDS for one in found["released"]):
        raise BadRecords(
            "nothing was given that teaches: measure in the hoop, or widths, lengths and gaps out of it"
        )
    record = Record(
        id="s0", design=file.name if file is not None else design.name or "", sha256=design.sha256,
        goods=job.goods, backing=backing, machine=machine, thread=thread_of(job), readings=found["hooped"],
        points=packed(design), topping=_topping(job), holding=job.holding, hoop=job.hoop, needle=job.needle,
        date=given["date"] or _text(said, "date") or (was.date if was is not None else None),
        notes=given["notes"] or str(said.get("notes", was.notes if was is not None else "")),
        changed=bool(given["changed"] or said.get("changed", was is not None and was.changed)),
        released=found["released"], washed=found["washed"],
        own=job.own if names_own(job.goods, backing, job.own) else (),
    )  # fmt: skip
    nodes = measured(record, job.own).nodes
    meant = {one.name: float(value) for one, value in zip(nodes.measures, nodes.meant, strict=True)}
    given_all = (*record.readings, *record.released, *record.washed)
    questions = doubts([one for one in given_all if one.name in meant], meant)
    if questions and not asks and not given["sure"]:  # whoever was asked has said so already
        if not sys.stdin.isatty():
            raise BadRecords(f"{questions[0]} Read it again, or record it with --sure")
        for question in questions:
            click.confirm(f"{question} Record it so?", abort=True)
    return record, job.own


def _job(
    ctx: click.Context, job: Job, said: Mapping[str, Any], was: Record | None
) -> tuple[Job, tuple[str, ...], str]:
    """Return job, backing and machine's name: of options, else of the file, else as they were recorded."""

    def told(key: str) -> str | None:
        return _text(said, key) or (getattr(was, key) if was is not None else None)

    backing = job.backing if job.backing is not None else said.get("backing", was.backing if was else ())
    backing = (backing,) if isinstance(backing, str) else tuple(map(str, backing))
    usual = ctx.get_parameter_source("holding") is not ParameterSource.COMMANDLINE
    machine = machine_of(job) if job.machine is not None else told("machine") or machine_of(job)
    job = replace(
        job,
        goods=job.goods or told("goods"),
        hoop=job.hoop or told("hoop"),
        thread=job.thread or told("thread"),
        needle=job.needle or told("needle"),
        topping=job.topping or told("topping"),
        holding=(usual and told("holding")) or job.holding,
    )
    return job, backing, machine


def _topping(job: Job) -> str | None:
    return None if job.topping is None or job.topping.strip().lower() == "none" else job.topping


def _text(said: Mapping[str, Any], key: str) -> str | None:
    return str(said[key]) if key in said else None
