"""``prehoop book``: ask a design book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analyzer.commands.console import screen_width
from analyzer.commands.options import options
from analyzer.errors import BadJob

if TYPE_CHECKING:
    from analyzer.library.answers import Answer

EXAMPLES = """\b
Examples:
  prehoop book shop.sqlite
  prehoop book shop.sqlite --where "stitches < 8000 and jersey.outcome = hoop-it" --sort -stitches
  prehoop book shop.sqlite --where "finding = small-lettering or fault ~ lace"
  prehoop book shop.sqlite --where "name ~ crest and width_mm in (40.2, 80.4)"
  prehoop book shop.sqlite --where "status != read"
  prehoop book shop.sqlite --alike crest.dst
  prehoop book shop.sqlite --export page.html --limit 200
  prehoop book shop.sqlite --sql "SELECT format, count(*), median(stitches) FROM designs GROUP BY format"

Columns: name, path, status, reason, format, stitches, colours, jumps, trims, stops, width_mm, height_mm,
thread_m, bobbin_m, minutes, coverage, density_max, regions, fills, satins, runs, lettering_mm, appliques,
voids, size, sha256; finding, fault, caution, note, thread, rgb; and on goods GOODS.outcome, GOODS.chance,
GOODS.gap_mm, GOODS.pucker_mm, GOODS.stack, GOODS.enough, GOODS.finding. Compare with = != < <= > >= ~ (holds
the text), in (...), is unknown; join with and, or, not and brackets.
"""


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
@options("json", "force")
def book(
    file: Path,
    question: str | None,
    sort: str | None,
    alike: Path | None,
    limit: int | None,
    sql: str | None,
    export_to: Path | None,
    as_json: bool,
    force: bool,
) -> None:
    """Ask a design book: filter, sort, find what is alike."""
    from analyzer.files import refuse_existing
    from analyzer.library.answers import ask
    from analyzer.library.book import Book
    from analyzer.library.export import export

    if sql is not None and (question or sort or alike):
        raise BadJob("--sql stands alone: it says itself what holds and how it is sorted")
    if export_to is not None and not force:
        refuse_existing((export_to,))
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
        if export_to is not None:
            export(opened, answer, export_to, force=force)
            click.echo(f"{len(answer.rows):,} of {answer.total:,} written to {export_to}.")
        elif as_json:
            click.echo(_json(answer, distances), nl=False)
        else:
            click.echo(_table(answer, sql=sql is not None), nl=False)


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


def _table(answer: Answer, *, sql: bool) -> str:
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
            )
            for row in answer.records()
        ]
        head = ("design", "stitches", "mm", *(name.removesuffix(".outcome") for name in goods))
        screen.table(head, rows, left=1)
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
