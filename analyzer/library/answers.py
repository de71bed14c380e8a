"""Answers of the design book: rows for people and programs, and the designs that are alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Bytes, Floats
from analyzer.errors import BadBook
from analyzer.goods.constants import constants
from analyzer.library.asking import COLUMNS, VERDICTS, Where, sort_by, where
from analyzer.library.book import Book
from analyzer.library.sketch import SIZE, distances

#: columns of an answer, beside those of every goods in the book
SHOWN = (
    "path",
    "status",
    "reason",
    "format",
    "stitches",
    "colours",
    "width_mm",
    "height_mm",
    "minutes",
    "thread_m",
)
_FINDINGS = (
    "(SELECT group_concat(n.level || ' ' || n.goods || ' ' || n.name, '; ')"
    " FROM findings n WHERE n.sha256 = d.sha256)"
)
_ON_GOODS = ("outcome", "chance", "gap_mm", "pucker_mm", "stack", "enough")


@dataclass(frozen=True, slots=True)
class Answer:
    """A table: names of columns and rows of plain values."""

    columns: tuple[str, ...]
    rows: tuple[tuple[object, ...], ...]
    total: int  #: rows that fit, before any limit

    def records(self) -> list[dict[str, object]]:
        """Return the rows as dictionaries."""
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]


def goods_in(book: Book) -> tuple[str, ...]:
    """Return the goods that the book holds verdicts on."""
    with book.told():
        return tuple(
            row[0] for row in book.base.execute("SELECT DISTINCT goods FROM verdicts ORDER BY goods")
        )


def ask(
    book: Book,
    question: str | None = None,
    *,
    sort: str | None = None,
    limit: int | None = None,
    contents: Sequence[str] | None = None,
    everything: bool = False,
) -> Answer:
    """Return the files that fit a question.

    Args:
        book: the design book.
        question: what must hold (:mod:`analyzer.library.asking`); None: every file.
        sort: a column, with a minus in front for the largest first; None: by path.
        limit: rows at most.
        contents: only designs of these sha256, in this order unless ``sort`` is given.
        everything: all measures, not the usual few.

    Raises:
        BadBook: the question cannot be understood, or asks of goods that nothing was screened on.

    """
    on = goods_in(book)
    picked = tuple(COLUMNS) if everything else SHOWN
    columns = [(name, COLUMNS[name]) for name in picked]
    columns += [
        (
            f"{name}.{key}",
            f"(SELECT v.{VERDICTS[key]} FROM verdicts v WHERE v.sha256 = d.sha256 AND v.goods = ?)",
        )
        for name in on
        for key in (VERDICTS if everything else _ON_GOODS)
    ]
    bound: list[object] = [name for name in on for _ in (VERDICTS if everything else _ON_GOODS)]
    columns.append(("findings", _FINDINGS))
    if "sha256" not in picked:
        columns.append(("sha256", "d.sha256"))
    source = " FROM files f JOIN designs d ON d.sha256 = f.sha256"
    asked = Where("1", ()) if question is None else where(question)
    test, values = asked.sql, asked.values
    by = Where("f.path", ()) if sort is None else sort_by(sort)
    for name in (*asked.goods, *by.goods):
        if name not in on:
            held = ", ".join(on) if on else "none"
            raise BadBook(
                f"no design was screened on '{name}' (goods in this book: {held}); scan with --goods"
            )
    if contents is not None:
        book.base.execute("CREATE TEMP TABLE IF NOT EXISTS picked (sha256 TEXT PRIMARY KEY, place INTEGER)")
        book.base.execute("DELETE FROM picked")
        book.base.executemany(
            "INSERT OR IGNORE INTO picked VALUES (?, ?)", [(c, i) for i, c in enumerate(contents)]
        )
        source += " JOIN picked p ON p.sha256 = d.sha256"
    if contents is not None and sort is None:
        by = Where("p.place", ())
    with book.told():
        total = book.base.execute(f"SELECT count(*){source} WHERE {test}", values).fetchone()[0]
        names = ", ".join(expression for _, expression in columns)
        sql = f"SELECT {names}{source} WHERE {test} ORDER BY {by.sql}, f.path LIMIT ?"
        rows = book.base.execute(
            sql,
            (
                *bound,
                *values,
                *by.values,
                -1 if limit is None else limit,
            ),
        ).fetchall()
    return Answer(tuple(name for name, _ in columns), tuple(map(tuple, rows)), int(total))


@dataclass(frozen=True, slots=True)
class Alike:
    """All sketches of a book, ready to be asked: one question is one product of a matrix."""

    contents: bytes  #: 32 bytes of sha256 for each
    sketches: Bytes  #: (n, SIZE) uint8, as the book keeps them

    @classmethod
    def of(cls, book: Book) -> Alike:
        """Return the sketches of a book."""
        contents, sketches = book.sketches()
        return cls(contents, np.frombuffer(sketches, dtype=np.uint8).reshape(-1, SIZE))

    def near(self, one: Floats, within: float | None = None) -> list[tuple[str, float]]:
        """Return the designs alike to a sketch (SIZE,), nearest first, with their distances."""
        reach = constants("library")["alike_distance"].value if within is None else within
        apart = distances(one, self.sketches)
        kept = np.flatnonzero(apart <= reach)
        order = kept[np.argsort(apart[kept], kind="stable")]
        return [(self.contents[32 * i : 32 * i + 32].hex(), float(apart[i])) for i in order.tolist()]
