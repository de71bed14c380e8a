"""Answers of the design book as files: CSV, Parquet, and a page of pictures."""

from __future__ import annotations

from pathlib import Path

from analyzer.csv_cells import csv_bytes
from analyzer.errors import BadBook
from analyzer.files import write_whole
from analyzer.library.answers import Answer
from analyzer.library.book import Book

FORMS = (".csv", ".parquet", ".html")


def export(book: Book, answer: Answer, path: Path, *, force: bool = False) -> None:
    """Write an answer; the ending of ``path`` says how.

    Raises:
        BadBook: the ending is none of the known ones, or the library that writes it is not installed.
        BadJob: the file is there already and ``force`` is false.
        OSError: the place cannot be written to.

    """
    ending = path.suffix.lower()
    if ending == ".csv":
        content = csv_bytes(answer.columns, answer.rows)
    elif ending == ".parquet":
        content = _parquet(answer)
    elif ending == ".html":
        from analyzer.library.gallery import gallery

        content = gallery(book, answer, path.absolute().parent)
    else:
        raise BadBook(f"{path.name}: an export ends in {', '.join(FORMS)}; name it so")
    write_whole(path, content, force=force)


def _parquet(answer: Answer) -> bytes:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise BadBook("Parquet needs the extra: pip install 'prehoop[library]'") from None
    sink = pyarrow.BufferOutputStream()
    table = pyarrow.table({name: [row[i] for row in answer.rows] for i, name in enumerate(answer.columns)})
    pyarrow.parquet.write_table(table, sink)
    return bytes(sink.getvalue())
