"""A page of small pictures of the designs in an answer; one file, opens offline, nothing fetched."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path, PurePosixPath
from urllib.parse import quote, quote_from_bytes

from jinja2 import Environment, StrictUndefined

from analyzer import __version__
from analyzer.files import refuse_existing, write_whole
from analyzer.job import Job
from analyzer.library.answers import Answer, goods_in
from analyzer.library.book import Book
from analyzer.library.reports import Made, Tell, make_reports, wanted
from analyzer.library.thumb import drawn
from analyzer.pipeline import COMPARED_ON
from analyzer.report.words import OUTCOMES, counted

PAGE, REPORTS = "index.html", "reports"  #: names in the folder of a gallery


@dataclass(frozen=True, slots=True)
class _Shown:
    """One design on the page; all of it is text but ``picture``, which is made of numbers."""

    name: str
    path: str
    file: str | None  #: address of the design's own file
    report: str | None  #: address of its report
    picture: str
    lines: tuple[str, ...]


def gallery(book: Book, answer: Answer, place: Path, made: Made | None = None, on: str = "") -> bytes:
    """Return the page, UTF-8; names and everything else that comes from files stand there as text only.

    ``place`` is the folder that the page will lie in, for links to the designs; ``made`` are the reports in
    :data:`REPORTS` beside it, for links to these, and ``on`` says on what goods.
    """
    source = files("analyzer.library").joinpath("gallery.html.j2").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined).from_string(source)
    whole = counted(answer.total, "design")
    shown = f"{len(answer.rows):,} of {whole}" if len(answer.rows) < answer.total else whole
    goods = goods_in(book)
    designs = [_shown(book, record, goods, place, made) for record in answer.records()]
    return page.render(shown=shown, version=__version__, designs=designs, reports=on).encode(
        "utf-8", "replace"
    )


def write_gallery(
    book: Book,
    answer: Answer,
    folder: Path,
    job: Job,
    jobs: int,
    *,
    force: bool = False,
    tell: Tell = lambda *_: None,
) -> Made:
    """Write the page into ``folder`` as :data:`PAGE`, and a report on each design of the answer beside it.

    Reports that are there already are kept. Interrupted, the page is written all the same and links to what
    was finished.

    Raises:
        BadJob: the page is there already and ``force`` is false.
        OSError: the folder cannot be written to.

    """
    if not force:
        refuse_existing((folder / PAGE,))
    (folder / REPORTS).mkdir(parents=True, exist_ok=True)
    made = Made({}, {})
    on = job.goods or ", ".join(COMPARED_ON)
    try:
        make_reports(wanted(book, answer, job), folder / REPORTS, job, jobs, made, tell)
    finally:
        write_whole(folder / PAGE, gallery(book, answer, folder.absolute(), made, on), force=force)
    return made


def _shown(
    book: Book, record: Mapping[str, object], on: tuple[str, ...], place: Path, made: Made | None
) -> _Shown:
    sha256, path = str(record["sha256"]), str(record["path"])
    with book.told():
        picture = book.base.execute("SELECT thumb FROM designs WHERE sha256 = ?", (sha256,)).fetchone()[0]
        blocks = book.base.execute("SELECT rgb FROM threads WHERE sha256 = ? ORDER BY block", (sha256,))
        tones = tuple(row[0] for row in blocks)
        root, key = book.base.execute(
            "SELECT root, key FROM files WHERE sha256 = ? AND path = ?", (sha256, path)
        ).fetchone()
    report = made.files.get(sha256) if made is not None else None
    why = made.reasons.get(sha256) if made is not None else None
    return _Shown(
        name=PurePosixPath(path).name,
        path=path,
        file=_address(Path(root), bytes(key), place),
        report=f"{REPORTS}/{quote(report)}" if report else None,
        picture=drawn(picture, tones) if picture else "",
        lines=(*_lines(record, on), *([f"No report: {why}"] if why else ())),
    )


def _address(root: Path, key: bytes, place: Path) -> str | None:
    """Return the address of a design's file as seen from ``place``; None for a member of an archive."""
    if b"\x00" in key:
        return None
    file = root / os.fsdecode(key)
    try:
        near = os.path.relpath(file, place)
    except ValueError:  # on another drive
        return file.as_uri()
    return quote_from_bytes(os.fsencode(near.replace(os.sep, "/")))


def _lines(record: Mapping[str, object], on: tuple[str, ...]) -> list[str]:
    lines = []
    if record["status"] != "read":
        lines.append(f"{record['status']}: {record['reason']}")
    if record["stitches"] is not None:
        lines.append(
            f"{record['width_mm']:.1f} x {record['height_mm']:.1f} mm, {record['stitches']:,} stitches, "
            f"{counted(int(str(record['colours'])), 'colour')}, {record['format']}"
        )
    for goods in on:
        outcome = record.get(f"{goods}.outcome")
        if outcome:
            lines.append(f"{goods}: {OUTCOMES.get(str(outcome), str(outcome))}")
    return lines
