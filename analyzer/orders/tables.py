"""The numbers of an order as CSV, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from analyzer.orders.document import OrderDocument

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


def items_csv(document: OrderDocument) -> bytes:
    """Return one row an item."""
    head = (
        "item", "title", "design", "sha256", "goods", "quantity", "spares", "sizes", "names", "outcome",
        "stack", "worst_gap_mm", "thread_m_a_piece", "bobbin_m_a_piece", "minutes_a_piece", "cost", "price",
        "currency", "trouble",
    )  # fmt: skip
    rows = [
        (
            one.position, one.title, one.design, one.sha256, one.goods, one.quantity, one.spares,
            "|".join(f"{size}={count}" for size, count in one.sizes.items()), one.names, one.outcome,
            one.stack, one.worst_gap_mm, one.thread_m, one.bobbin_m, one.minutes, one.cost, one.price,
            document.currency, one.trouble,
        )
        for one in document.items
    ]  # fmt: skip
    return csv_bytes(head, rows)


def materials_csv(document: OrderDocument) -> bytes:
    """Return one row for everything to be bought, cut or waited for."""
    needs = document.materials
    rows: list[tuple[object, ...]] = []
    for thread in needs.threads:
        items = " ".join(map(str, thread.items))
        rows.append(("thread", thread.name, thread.rgb, items, thread.metres, "m", thread.cones, "cones"))
    rows.append(("bobbin", "bobbin thread", None, None, needs.bobbin_metres, "m", needs.bobbins, "bobbins"))
    for roll in needs.rolls:
        name = f"{roll.kind} {roll.g_m2:g} g/m2, roll {roll.roll_width_mm:g} mm wide"
        items = " ".join(map(str, roll.items))
        rows.append(
            (roll.role, name, None, items, roll.length_m, "m", roll.rolls, "rolls" if roll.rolls else None)
        )
        for sheet in roll.sheets:
            size = f"{roll.kind} {sheet.across_mm:g} x {sheet.along_mm:g} mm (across x along the roll)"
            rows.append(
                ("sheets", size, None, sheet.what.removeprefix("item "), None, None, sheet.count, "sheets")
            )
    for time in needs.times:
        for what, minutes in (
            ("at the machine", time.machine_minutes),
            ("hooping", time.hooping_minutes),
            ("trimming", time.trimming_minutes),
            ("thread breaks", time.break_minutes),
        ):
            if minutes is not None:
                rows.append(("time", what, None, time.position, minutes, "min", time.runs, "runs"))
    return csv_bytes(("what", "name", "rgb", "items", "amount", "unit", "count", "of"), rows)
