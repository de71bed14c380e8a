"""``prehoop sewout``: the test piece, records of measured sew-outs, and what they changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analyzer.commands.console import complain
from analyzer.commands.options import OPTIONS, options
from analyzer.commands.settings import files_for, settings_for
from analyzer.commands.sewout_add import add, correct, places
from analyzer.commands.sewout_records import change, records_path
from analyzer.errors import BadRecords

if TYPE_CHECKING:
    from analyzer.job import OwnMaterials
    from analyzer.sewout.records import Record, Records

EXAMPLES = """\b
Examples:
  prehoop sewout piece -o card.dst --sheet card.pdf
  prehoop sewout add card.dst --goods jersey --backing cutaway:85 --from card.toml
  prehoop sewout add card.dst --goods jersey --backing cutaway:85
  prehoop sewout show --picture learned.svg
  prehoop check crest.dst --goods jersey
"""
_RECORDS = OPTIONS["records"]


@click.group(epilog=EXAMPLES)
def sewout() -> None:
    """Learn from sew-outs that you measure.

    Thread pull differs from machine to machine: sew the test piece, measure it, record it, and checks of the
    same machine and thread go by what was measured.
    """


sewout.add_command(add)
sewout.add_command(correct)
sewout.add_command(places)


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
            f"{_counted(one)}{'; ' + one.date if one.date else ''}"
            f"{'; after a change' if one.changed else ''}"
        )


def _counted(record: Record) -> str:
    """Return how many measures a record holds, by what was done to the piece before."""
    hooped, released, washed = (len(each) for each in (record.readings, record.released, record.washed))
    more = [f"{count} {words}" for count, words in ((released, "out of it"), (washed, "washed")) if count]
    return ", ".join([f"{hooped} measure{'s' * (hooped != 1)} in the hoop", *more])


@sewout.command()
@click.argument("record")
@_RECORDS
@click.pass_context
def remove(ctx: click.Context, record: str, records: Path | None) -> None:
    """Let a record no longer count; it stays in the file, marked."""
    change(records_path(records), lambda held: held.marked(record, "removed"), _own(ctx))
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

    new = 0

    def joined(held: Records) -> Records:
        nonlocal new
        for one in brought:
            if not any(replace(there, id=one.id) == one for there in held.records):
                held = held.added(replace(one, id=held.next_id()))
                new += 1
        return held

    change(records_path(records), joined, _own(ctx))
    there = len(brought) - new
    click.echo(f"{file}: {new} records imported" + (f"; {there} were there already" if there else ""))


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
