"""``prehoop sewout``: the test piece, records of measured sew-outs, and what they changed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from analyzer.commands.console import complain
from analyzer.commands.options import OPTIONS, options
from analyzer.commands.settings import files_for, job_of, settings_for
from analyzer.commands.sewout_records import machine_of, records_path, thread_of
from analyzer.errors import BadRecords

if TYPE_CHECKING:
    from analyzer.design import Design
    from analyzer.job import Job, OwnMaterials
    from analyzer.sewout.records import Record, Records

EXAMPLES = """\b
Examples:
  prehoop sewout piece -o card.dst --sheet card.pdf
  prehoop sewout add card.dst --goods jersey --backing cutaway:85 --from card.toml
  prehoop sewout add card.dst --goods jersey --backing cutaway:85
  prehoop sewout show --picture learned.svg
  prehoop check crest.dst --goods jersey
"""
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
  state = "hooped"                       # or released, washed: kept to compare, they teach nothing
"""
_F = TypeVar("_F", bound=Callable[..., Any])
_RECORDS = OPTIONS["records"]


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


@click.group(epilog=EXAMPLES)
def sewout() -> None:
    """Learn from sew-outs that you measure.

    Thread pull differs from machine to machine: sew the test piece, measure it, record it, and checks of the
    same machine and thread go by what was measured.
    """


@sewout.command()
@click.option(
    "-o", "--output", required=True, type=click.Path(path_type=Path), metavar="FILE", help="Stitch file."
)
@click.option("--sheet", type=click.Path(path_type=Path), metavar="FILE.pdf", help="Also print the sheet.")
@options("force")
def piece(output: Path, sheet: Path | None, force: bool) -> None:
    """Write the test piece, and the sheet to fill in."""
    from analyzer.files import refuse_existing, write_whole
    from analyzer.formats import write
    from analyzer.sewout.piece import piece_design

    if sheet is not None and not force:
        refuse_existing((sheet,))
    written = write(piece_design(), output, force=force)
    click.echo(f"{written.path}: the test piece, {written.format}")
    for remark in written.remarks:
        click.echo(remark)
    if sheet is not None:
        from analyzer.sewout.sheet import sheet_pdf

        write_whole(sheet, sheet_pdf(), force=force)
        click.echo(f"{sheet}: how to hoop it, what to measure where (print at 100 %)")


@sewout.command(epilog=ADD_EXAMPLES)
@click.argument("design", type=click.Path(path_type=Path))
@_measured
@options("goods", "holding", "hoop", "machine", "thread", "needle", "topping", "backing", "units", "records")
@click.pass_context
def add(ctx: click.Context, /, design: Path, source: Path | None, **given: Any) -> None:
    """Record a measured sew-out of any design.

    Without --from each measure is asked for, one by one.
    """
    record, own = _record(ctx, design, source, given)
    path = records_path(given["records"])
    name = _change(path, lambda all_: all_.added(replace(record, id=all_.next_id())), own)
    click.echo(f"{name}: recorded in {path}; see what it changed with prehoop sewout show")


def _record(
    ctx: click.Context, file: Path, source: Path | None, given: Mapping[str, Any]
) -> tuple[Record, tuple[OwnMaterials, ...]]:
    """Return the record that the options, a file and answers describe."""
    from analyzer import read
    from analyzer.sewout.entry import Entry, doubts, read_entry, readings
    from analyzer.sewout.records import Record, packed
    from analyzer.sewout.teaching import measured, names_own

    settings = settings_for(ctx, files_for(file))
    job = job_of(settings)
    design = read(file)
    entry = read_entry(source) if source is not None else Entry()
    said = entry.job
    job, backing, machine = _job(job, said)
    if not backing:
        raise BadRecords("say what was behind the goods: --backing cutaway:85, or --backing none")
    if job.goods is None:
        raise BadRecords("say what was sewn on: --goods jersey")
    units = str(said.get("units", given["units"]))
    if units not in ("mm", "in"):
        raise BadRecords(f"units '{units}': write mm or in")
    rows = entry.rows if source is not None else _asked(design, units)
    error = given["error"] if given["error"] is not None else said.get("reading_error")
    found = readings(design, rows, units=units, error=error)
    if not found["hooped"]:
        raise BadRecords("no measure was given of the piece in the hoop, and only those teach")
    record = Record(
        id="s0", design=file.name, sha256=design.sha256, goods=job.goods, backing=backing, machine=machine,
        thread=thread_of(job), readings=found["hooped"], points=packed(design), topping=_topping(job),
        holding=job.holding, hoop=job.hoop, needle=job.needle, date=given["date"] or _text(said, "date"),
        notes=given["notes"] or str(said.get("notes", "")),
        changed=bool(given["changed"] or said.get("changed")),
        released=found["released"], washed=found["washed"],
        own=job.own if names_own(job.goods, backing, job.own) else (),
    )  # fmt: skip
    nodes = measured(record, job.own).nodes
    meant = {one.name: float(value) for one, value in zip(nodes.measures, nodes.meant, strict=True)}
    questions = doubts(record.readings, meant)
    if questions and not given["sure"]:
        if not sys.stdin.isatty():
            raise BadRecords(f"{questions[0]} Read it again, or record it with --sure")
        for question in questions:
            click.confirm(f"{question} Record it so?", abort=True)
    return record, job.own


def _job(job: Job, said: Mapping[str, Any]) -> tuple[Job, tuple[str, ...], str]:
    """Return the job with what the file says where options do not, the backing and the machine's name."""
    backing = job.backing if job.backing is not None else said.get("backing", ())
    backing = (backing,) if isinstance(backing, str) else tuple(map(str, backing))
    job = replace(
        job,
        goods=job.goods or _text(said, "goods"),
        hoop=job.hoop or _text(said, "hoop"),
        thread=job.thread or _text(said, "thread"),
        needle=job.needle or _text(said, "needle"),
        topping=job.topping or _text(said, "topping"),
        holding=str(said.get("holding", job.holding)),
    )
    machine = machine_of(job) if job.machine is not None else str(said.get("machine", machine_of(job)))
    return job, backing, machine


def _topping(job: Job) -> str | None:
    return None if job.topping is None or job.topping.strip().lower() == "none" else job.topping


def _text(said: Mapping[str, Any], key: str) -> str | None:
    return str(said[key]) if key in said else None


def _asked(design: Design, units: str) -> tuple[Mapping[str, Any], ...]:
    """Ask for the test piece's measures one by one."""
    from analyzer.sewout.entry import lengths
    from analyzer.sewout.teaching import measures_of

    known = measures_of(design, ())
    if not known or not sys.stdin.isatty():
        raise BadRecords(
            "give the measures in a file: --from FILE (see prehoop sewout add --help)"
            + ("" if known else "; only the test piece's are asked for")
        )
    scale, digits = (25.4, 3) if units == "in" else (1.0, 1)
    rows = []
    for one in known:
        asked = f"{one.name} ({one.meant_mm / scale:.{digits}f} in the file), {units}; empty: not measured"
        while answer := click.prompt(asked, default="", show_default=False).strip():
            try:
                rows.append({"name": one.name, "values": lengths(answer)})
                break
            except ValueError:
                click.echo(f"'{answer}' is no number; write 7.6, or repeats as 7.6 7.5 7.6")
    return tuple(rows)


def _change(path: Path, change: Any, own: tuple[OwnMaterials, ...]) -> str:
    """Change the records, learn again, and return the id of the last."""
    from analyzer.sewout.records import alone, load, save
    from analyzer.sewout.teaching import lesson_of, taught

    with alone(path):
        changed: Records = change(load(path))
        save(path, taught(changed, lesson_of(changed, own)))
    return changed.records[-1].id if changed.records else ""


def _own(ctx: click.Context) -> tuple[OwnMaterials, ...]:
    return settings_for(ctx, files_for(Path("design"))).own


@sewout.command(name="list")
@_RECORDS
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def list_(records: Path | None, as_json: bool) -> None:
    """List the records."""
    from analyzer.sewout.records import load, to_bytes

    held = load(records_path(records))
    if as_json:
        click.echo(to_bytes(replace(held, records=held.kept)).decode("utf-8"), nl=False)
        return
    if not held.kept:
        click.echo("No sew-out is recorded: prehoop sewout piece makes one to sew and measure.")
    for one in held.kept:
        click.echo(
            f"{one.id}  {one.design} on {one.goods}, {' + '.join(one.backing)}; {one.machine}, {one.thread}; "
            f"{len(one.readings)} measures{'; ' + one.date if one.date else ''}"
            f"{'; after a change' if one.changed else ''}"
        )


@sewout.command()
@click.argument("record")
@click.argument("design", type=click.Path(path_type=Path))
@_measured
@options("goods", "holding", "hoop", "machine", "thread", "needle", "topping", "backing", "units", "records")
@click.pass_context
def correct(ctx: click.Context, /, record: str, design: Path, source: Path | None, **given: Any) -> None:
    """Let another record stand for one; the old one stays in the file and no longer counts."""
    path = records_path(given["records"])
    from analyzer.sewout.records import load

    load(path).find(record)
    better, own = _record(ctx, design, source, given)

    def change(held: Records) -> Records:
        old = held.find(record)
        at = held.records.index(old)
        marked = held.marked(record, "corrected").records
        new = replace(better, id=held.next_id(), changed=better.changed or old.changed)
        return replace(held, records=(*marked[: at + 1], new, *marked[at + 1 :]))

    _change(path, change, own)
    click.echo(f"{record}: corrected")


@sewout.command()
@click.argument("record")
@_RECORDS
@click.pass_context
def remove(ctx: click.Context, record: str, records: Path | None) -> None:
    """Let a record no longer count; it stays in the file, marked."""
    _change(records_path(records), lambda held: held.marked(record, "removed"), _own(ctx))
    click.echo(f"{record}: removed; it no longer counts")


@sewout.command()
@click.argument("file", type=click.Path(path_type=Path))
@_RECORDS
@options("force")
def export(file: Path, records: Path | None, force: bool) -> None:
    """Write all records to a file."""
    from analyzer.files import write_whole
    from analyzer.sewout.records import load, to_bytes

    held = load(records_path(records))
    write_whole(file, to_bytes(held), force=force)
    click.echo(f"{file}: {len(held.records)} records")


@sewout.command(name="import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@_RECORDS
@click.pass_context
def import_(ctx: click.Context, file: Path, records: Path | None) -> None:
    """Add the records of an exported file; those that are there already are left out."""
    from analyzer.sewout.records import load

    brought = load(file).records
    if not brought:
        raise BadRecords(f"{file}: it holds no records")

    def change(held: Records) -> Records:
        for one in brought:
            if not any(replace(there, id=one.id) == one for there in held.records):
                held = held.added(replace(one, id=held.next_id()))
        return held

    _change(records_path(records), change, _own(ctx))
    click.echo(f"{file}: imported")


@sewout.command()
@_RECORDS
@click.option("--picture", type=click.Path(path_type=Path), metavar="FILE", help="Draw it too, .svg or .png.")
@options("units", "force")
@click.pass_context
def show(ctx: click.Context, records: Path | None, picture: Path | None, units: str, force: bool) -> None:
    """Show predicted against measured, before and after, and what was learned."""
    from analyzer.sewout.records import load
    from analyzer.sewout.teaching import lesson_of
    from analyzer.sewout.telling import text

    held = load(records_path(records))
    if not held.kept:
        click.echo("No sew-out is recorded: every prediction rests on the tables alone.")
        return
    own = _own(ctx)
    lesson = lesson_of(held, own)
    click.echo(text(held, lesson, units, own), nl=False)
    if picture is not None:
        from analyzer.files import write_whole
        from analyzer.sewout.picture import drawing
        from analyzer.sewout.telling import with_meant

        form = picture.suffix.lower().lstrip(".")
        if form not in ("svg", "png"):
            raise BadRecords(f"{picture}: name a picture that ends in .svg or .png")
        write_whole(picture, drawing(with_meant(lesson), form, units), force=force)
        complain(f"{picture}: drawn")
