"""Analytical questions in SQL, answered by duckdb on a copy in memory that can reach nothing else."""

from __future__ import annotations

from analyzer.errors import BadBook
from analyzer.library.answers import Answer
from analyzer.library.book import Book

TABLES = ("designs", "files", "verdicts", "findings", "threads")
_LEFT_OUT = ("thumb", "sketch", "key")  #: pictures and keys are nothing to reckon with


def analyse(book: Book, sql: str, limit: int | None = None) -> Answer:
    """Return what one SELECT says of the book's tables.

    The tables are copied into memory first, and the copy is cut off from files and network, so nothing that
    is written in ``sql`` can touch the book or anything else.

    Raises:
        BadBook: the extra is not installed, or duckdb does not understand the question.

    """
    try:
        import duckdb
        import pyarrow
    except ImportError:
        raise BadBook("analytical questions need the extra: pip install 'prehoop[library]'") from None
    base = duckdb.connect(":memory:")
    try:
        for table in TABLES:
            columns = [
                row[1] for row in book.base.execute(f"PRAGMA table_info({table})") if row[1] not in _LEFT_OUT
            ]
            rows = book.base.execute(f"SELECT {', '.join(columns)} FROM {table}").fetchall()
            copied = pyarrow.table({name: [row[i] for row in rows] for i, name in enumerate(columns)})
            base.register("copied", copied)
            base.execute(f"CREATE TABLE {table} AS SELECT * FROM copied")
            base.unregister("copied")
        base.execute("SET enable_external_access = false")
        base.execute("SET lock_configuration = true")
        try:
            parts = base.extract_statements(sql)
            if len(parts) != 1 or parts[0].type != duckdb.StatementType.SELECT:
                raise BadBook("an analytical question is one SELECT: nothing in a design book can be changed")
            found = base.execute(sql)
            names = tuple(column[0] for column in found.description or ())
            rows = found.fetchall() if limit is None else found.fetchmany(limit)
        except duckdb.Error as error:
            raise BadBook(f"duckdb does not understand the question: {str(error).splitlines()[0]}") from None
        return Answer(names, tuple(map(tuple, rows)), len(rows))
    finally:
        base.close()
