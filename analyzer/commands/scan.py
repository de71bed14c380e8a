"""``prehoop scan``: read a whole library into a design book."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.console import ProgressLine, complain, span
from analyzer.commands.options import BOOK, options
from analyzer.commands.settings import files_for, settings_for
from analyzer.errors import BadJob

if TYPE_CHECKING:
    from analyzer.library.scanning import Tally
    from analyzer.library.types import Asked

EXAMPLES = """\b
Examples:
  prehoop scan designs
  prehoop scan designs --goods jersey,terry --book shop.sqlite
  prehoop scan designs --full --jobs 4
  prehoop scan designs --cluster tcp://loft:8786
  prehoop scan designs --export designs.csv

Without --goods every design is screened on poplin, jersey and terry. A second scan looks only at what is new
or changed. Damaged files are listed with the reason and never stop it.

Exit code: 0 done (damaged files or not), 2 wrong usage or a book that cannot be written, 130 interrupted
(what was finished is kept; scan again to go on).
"""
_USUAL = ("poplin", "jersey", "terry")  #: firm woven, knit, pile


@click.command(epilog=EXAMPLES)
@click.argument("folder", metavar="FOLDER", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--book", "book_file", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help=f"The design book (FOLDER/{BOOK}).",
)  # fmt: skip
@click.option(
    "--goods",
    multiple=True,
    metavar="NAME[,NAME]",
    callback=lambda _ctx, _param, names: ",".join(names) or None,
    help="Cloths of the goods table; once with commas, or several times (poplin, jersey, terry).",
)
@options("care")
@click.option(
    "--jobs", type=click.IntRange(min=1), metavar="N", help="Worker processes (one for each processor)."
)
@click.option(
    "--cluster", metavar="tcp://HOST:PORT", help="Scheduler of a dask cluster that does the work instead."
)
@click.option("--full", is_flag=True, help="The whole plan for every design, not a screen of it.")
@click.option(
    "--export", "export_to", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
    help="Write the whole book as .csv, .parquet or .html.",
)  # fmt: skip
@options("force")
@click.pass_context
def scan(
    ctx: click.Context,
    /,
    folder: Path,
    book_file: Path | None,
    jobs: int | None,
    cluster: str | None,
    full: bool,
    export_to: Path | None,
    force: bool,
    **_: Any,
) -> None:
    """Read a whole library of designs into a design book.

    Folders and the zip files in them are walked; every stitch file is read, measured and screened on the
    goods.
    """
    if jobs is not None and cluster is not None:
        raise BadJob("--jobs is for this machine, --cluster for others: give one of them")
    from analyzer.files import refuse_existing
    from analyzer.library.book import Book
    from analyzer.library.export import export
    from analyzer.library.scanning import scan as scan_into
    from analyzer.library.walking import Found, walk
    from analyzer.library.workers import ClusterWorkers, LocalWorkers, Workers, cores

    if export_to is not None and not force:
        refuse_existing((export_to,))
    asked = _asked(ctx, folder, full=full)
    with Book(book_file or folder / BOOK, write=True) as book:
        show = _Progress(sum(isinstance(one, Found) for one in walk(folder)) if _on_terminal() else 0)
        workers: Workers = ClusterWorkers(cluster) if cluster else LocalWorkers(jobs or cores())
        try:
            tally = scan_into(folder, book, asked, workers, show)
        finally:
            workers.close()
            show.line.end()
        click.echo(_said(tally, book.path))
        for trouble in tally.troubles:
            complain(f"{trouble.path}: {trouble.reason}")
        if export_to is not None:
            from analyzer.library.answers import ask

            export(book, ask(book, everything=export_to.suffix.lower() != ".html"), export_to, force=force)
            click.echo(f"Exported to {export_to}.")


def _asked(ctx: click.Context, folder: Path, *, full: bool) -> Asked:
    """Return what to compute: the goods named, or the usual three, each looked up before any file is read."""
    from analyzer.goods import resolve
    from analyzer.job import Job
    from analyzer.library.types import Asked

    settings = settings_for(ctx, files_for(folder / "any"))
    named = settings["goods"]
    names = tuple(part.strip() for part in named.split(",") if part.strip()) if named else _USUAL
    for name in names:
        resolve(Job(goods=name, care=settings["care"], own=settings.own), name, (0.0, 0.0))
    own = tuple((one.text, one.source) for one in settings.own)
    return Asked(tuple(name.lower() for name in names), settings["care"], full, own)


def _on_terminal() -> bool:
    return sys.stderr.isatty()


class _Progress:
    """How far a scan is, for whoever watches."""

    def __init__(self, total: int) -> None:
        self.total, self.line = total, ProgressLine()

    def __call__(self, tally: Tally) -> None:
        """Show how far it is, a few times a second."""
        if not self.line.due():
            return
        done = tally.known + tally.looked_at + tally.copies
        left = max(self.total - done, 0) / tally.rate if tally.looked_at else 0.0
        damaged = f", {tally.damaged:,} damaged" if tally.damaged else ""
        self.line.say(
            f"{done:,} of {self.total:,} designs, {tally.rate:.1f} a second, {span(left)} left{damaged}"
        )


def _said(tally: Tally, book: Path) -> str:
    """Return what a scan came to."""
    lines = [f"{tally.seen:,} designs found: {tally.looked_at:,} looked at, {tally.known:,} unchanged."]
    if tally.copies:
        lines.append(f"{tally.copies:,} hold the same as another.")
    if tally.damaged:
        lines.append(
            f"{tally.damaged:,} damaged or unreadable: prehoop book {book} --where \"status != 'read'\""
        )
    lines += [f"Moved: {old} -> {new}" for old, new in tally.moved[:20]]
    if len(tally.moved) > 20:
        lines.append(f"And {len(tally.moved) - 20:,} more moved.")
    if tally.gone:
        lines.append(f"{tally.gone:,} no longer there.")
    rate = f"{tally.rate:.1f} designs a second. " if tally.looked_at else ""
    lines.append(f"{rate}The design book is {book}.")
    return "\n".join(lines)
