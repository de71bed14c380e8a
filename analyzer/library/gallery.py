"""A page of small pictures of the designs in an answer; one file, opens offline, nothing fetched."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import PurePosixPath
from urllib.parse import quote

from jinja2 import Environment, StrictUndefined

from analyzer import __version__
from analyzer.library.answers import Answer, goods_in
from analyzer.library.book import Book
from analyzer.library.thumb import drawn
from analyzer.report.words import OUTCOMES, counted


@dataclass(frozen=True, slots=True)
class _Shown:
    """One design on the page; all of it is text but ``picture``, which is made of numbers."""

    name: str
    path: str
    link: str | None
    picture: str
    lines: tuple[str, ...]


def gallery(book: Book, answer: Answer) -> bytes:
    """Return the page, UTF-8; names and everything else that comes from files stand there as text only."""
    source = files("analyzer.library").joinpath("gallery.html.j2").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined).from_string(source)
    whole = counted(answer.total, "design")
    shown = f"{len(answer.rows):,} of {whole}" if len(answer.rows) < answer.total else whole
    on = goods_in(book)
    designs = [_shown(book, record, on) for record in answer.records()]
    return page.render(shown=shown, version=__version__, designs=designs).encode("utf-8", "replace")


def _shown(book: Book, record: Mapping[str, object], on: tuple[str, ...]) -> _Shown:
    sha256, path = str(record["sha256"]), str(record["path"])
    with book.told():
        picture = book.base.execute("SELECT thumb FROM designs WHERE sha256 = ?", (sha256,)).fetchone()[0]
        blocks = book.base.execute("SELECT rgb FROM threads WHERE sha256 = ? ORDER BY block", (sha256,))
        tones = tuple(row[0] for row in blocks)
    within_archive = " > " in path
    return _Shown(
        name=PurePosixPath(path).name,
        path=path,
        link=None if within_archive else quote(path),
        picture=drawn(picture, tones) if picture else "",
        lines=tuple(_lines(record, on)),
    )


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
