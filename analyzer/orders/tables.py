"""The numbers of an order as CSV, safe to open in a spreadsheet."""

from __future__ import annotations

from analyzer.csv_cells import csv_bytes
from analyzer.orders.document import OrderDocument


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
