"""``prehoop book``: ask a design book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.check import refuse_impossible
from analyzer.commands.console import ProgressLine, screen_width, span
from analyzer.commands.options import book_in, options
from analyzer.commands.settings import files_for, job_of, settings_for
from analyzer.errors import BadJob

if TYPE_CHECKING:
    from analyzer.job import Job
    from analyzer.library.answers import Answer
    from analyzer.library.book import Book

EXAMPLES = """\b
Examples:
  prehoop book shop.sqlite
  prehoop book shop.sqlite --where "stitches < 8000 and jersey.outcome = hoop-it" --sort -stitches
  prehoop book shop.sqlite --where "finding = small-lettering or fault ~ lace"
  prehoop book shop.sqlite --where "name ~ crest and width_mm in (40.2, 80.4)"
  prehoop book shop.sqlite --where "status != read"
  prehoop book shop.sqlite --alike crest.dst
  prehoop book shop.sqlite --export page.html --limit 200
  prehoop book shop.sqlite --where "jersey.outcome = rework" --gallery rework --goods jersey
  prehoop book shop.sqlite --sql "SELECT format, count(*), median(stitches) FROM designs GROUP BY format"

Columns: name, path, status, reason, format, stitches, colours, jumps, trims, stops, width_mm, height_mm,
thread_m, bobbin_m, minutes, coverage, density_max, regions, fills, satins, runs, lettering_mm, appliques,
voids, size, sha256; finding, fault, caution, note, thread, rgb; and on goods GOODS.outcome, GOODS.chance,
GOODS.gap_mm, GOODS.pucker_mm, GOODS.stack, GOODS.backing, GOODS.backing_g_m2, GOODS.layers, GOODS.enough,
GOODS.finding. Compare with = != < <= > >= ~ (holds the text), in (...), is unknown; join with and, or, not
and brackets.

--gallery writes small pictures of the designs that are listed and a report on each, some seconds of work
apiece; without --limit on the first 60. Reports that are in the folder already are kept.
"""
_REPORTS = 60  #: made without being told how many


@click.command(epilog=EXAMPLES)
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--where", "question", metavar="TEXT", help="What must hold; see below.")
@click.option("--sort", metavar="COLUMN", help="Sort by a column; -COLUMN for the largest first.")
@click.option(
    "--alike",
    type=click.Path(path_type=Path),
    metavar="DESIGN",
    help="Designs alike to this one, nearest first.",
)
@click.option("--limit", type=click.IntRange(min=1), metavar="N", help="Rows at most.")
@click.option(
    "--sql", metavar="SELECT", help="An analytical question, answered by duckdb on a copy in memory."
)
@click.option(
    "--export", "export_to", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help="Write the answer as .csv, .parquet or .html (small pictures).",
)  # fmt: skip
@click.option(
    "--gallery", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER",
    help="Write small pictures and a full report on each design of the answer.",
)  # fmt: skip
@options("goods", "care", "json", "force")
@click.pass_context
def book(
    ctx: click.Context,
    /,
    file: Path,
    question: str | None,
    sort: str | None,
    alike: Path | None,
    limit: int | None,
    sql: str | None,
    export_to: Path | None,
    gallery: Path | None,
    as_json: bool,
    force: bool,
    **_: Any,
) -> None:
    """Ask a design book: filter, sort, find what is alike.

    FILE is the book, or the folder that was scanned.
    """
    from analyzer.files import refuse_existing
    from analyzer.library.answers import ask
    from analyzer.library.book import Book
    from analyzer.library.export import export

    if sql is not None and (question or sort or alike):
        raise BadJob("--sql stands alone: it says itself what holds and how it is sorted")
    if gallery is not None and (sql is not None or as_json or export_to is not None):
        raise BadJob("--gallery stands alone: it writes the answer, with reports, and nothing else")
    if export_to is not None and not force:
        refuse_existing((export_to,))
    file = book_in(file)
    job = _job_of_reports(ctx, file, wanted=gallery is not None)
    if gallery is not None and limit is None:
        limit = _REPORTS
    with Book(file) as opened:
        distances: dict[str, float] = {}
        if sql is not None:
            from analyzer.library.analysis import analyse

            answer = analyse(opened, sql, limit)
        else:
            if alike is not None:
                distances = _alike(opened, alike)
            contents = tuple(distances) if alike is not None else None
            answer = ask(opened, question, sort=sort, limit=limit, contents=contents, everything=as_json)
        if gallery is not None:
            click.echo(_gallery(opened, answer, gallery, job, force=force))
        elif export_to is not None:
            export(opened, answer, export_to, force=force)
            click.echo(f"{len(answer.rows):,} of {answer.total:,} written to {export_to}.")
        elif as_json:
            click.echo(_json(answer, distances), nl=False)
        else:
            click.echo(_table(answer, distances, sql=sql is not None), nl=False)


def _job_of_reports(ctx: click.Context, file: Path, *, wanted: bool) -> Job:
    """Return the job of reports, looked up before any is made."""
    given = [name for name in ("goods", "care") if ctx.params[name] is not None]
    if given and not wanted:
        raise BadJob(f"--{given[0]} is for reports: add --gallery FOLDER; ask of goods with --where")
    job = job_of(settings_for(ctx, files_for(file)))
    if wanted:
        refuse_impossible(job)
    return job


def _gallery(opened: Book, answer: Answer, folder: Path, job: Job, *, force: bool) -> str:
    """Write a gallery; return what it came to."""
    import time

    from analyzer.library.gallery import PAGE, write_gallery
    from analyzer.library.workers import cores
    from analyzer.report.words import counted

    line, began = ProgressLine(), time.monotonic()

    def tell(done: int, total: int) -> None:
        if line.due():
            each = (time.monotonic() - began) / max(done, 1)
            left = span(each * (total - done)) if done else "some time"
            line.say(f"{done:,} of {total:,} reports, {left} left")

    try:
        made = write_gallery(opened, answer, folder, job, cores(), force=force, tell=tell)
    finally:
        line.end()
    without = f"; {len(made.reasons):,} could not be made" if made.reasons else ""
    more = (
        f" {len(answer.rows):,} of {answer.total:,} designs; --limit shows more."
        if len(answer.rows) < answer.total
        else ""
    )
    return f"{counted(len(made.files), 'report')}{without}. The gallery is {folder / PAGE}.{more}"


def _alike(opened: object, design: Path) -> dict[str, float]:
    """Return the contents alike to a design with their distances, nearest first."""
    from analyzer.formats import read
    from analyzer.library.answers import Alike
    from analyzer.library.book import Book
    from analyzer.library.sketch import sketch

    assert isinstance(opened, Book)
    return dict(Alike.of(opened).near(sketch(read(design))))


def _json(answer: Answer, distances: dict[str, float]) -> str:
    import json

    rows = answer.records()
    if distances:
        rows = [{"distance": distances.get(str(row.get("sha256"))), **row} for row in rows]
    return json.dumps({"total": answer.total, "rows": rows}, ensure_ascii=False, indent=2, default=str) + "\n"


def _table(answer: Answer, distances: dict[str, float], *, sql: bool) -> str:
    """Return an answer as a table for a screen: of questions in words, the columns that fit."""
    from analyzer.report.terminal import Screen

    screen = Screen(screen_width(), bold=False)
    if not answer.rows:
        return "No design fits.\n"
    if sql:
        screen.table(answer.columns, [[_cell(value) for value in row] for row in answer.rows], left=1)
    else:
        goods = [name for name in answer.columns if name.endswith(".outcome")]
        rows = [
            (
                str(row["path"]),
                _cell(row["stitches"]),
                "-" if row["width_mm"] is None else f"{row['width_mm']:.0f} x {row['height_mm']:.0f}",
                *(_outcome(row, name) for name in goods),
                *((f"{distances[str(row['sha256'])]:.2f}",) if distances else ()),
            )
            for row in answer.records()
        ]
        head = ("design", "stitches", "mm", *(name.removesuffix(".outcome") for name in goods))
        screen.table((*head, "apart") if distances else head, rows, left=1)
        screen.lines(
            [f"{row['path']}: {row['reason']}" for row in answer.records() if row["status"] != "read"]
        )
    if len(answer.rows) < answer.total:
        screen.lines([f"{len(answer.rows):,} of {answer.total:,}; --limit shows more."])
    return screen.text()


def _outcome(row: dict[str, object], name: str) -> str:
    if row["status"] == "unreadable":
        return "unreadable"
    return str(row.get(name) or "-").replace("-", " ")


def _cell(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{value:,.2f}"
    return f"{value:,}" if isinstance(value, int) else str(value)
