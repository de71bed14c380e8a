"""CSV that is safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

#: how a cell begins that a spreadsheet would run (OWASP, CSV Injection)
_RUN = ("=", "+", "-", "@", "\t", "\r", "\n")


def guarded(cell: object) -> str:
    """Return a cell that a spreadsheet shows and does not run; numbers stay numbers."""
    if cell is None:
        return ""
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return repr(cell)
    text = str(cell).replace("\x00", "")
    return "'" + text if text.startswith(_RUN) else text


def csv_bytes(head: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return a table as CSV: UTF-8 with a mark at the start (spreadsheets ask for it), CRLF (RFC 4180)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([guarded(cell) for cell in row] for row in rows)
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")
