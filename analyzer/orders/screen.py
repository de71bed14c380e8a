"""What an order came to, as a screen of text."""

from __future__ import annotations

from pathlib import Path

from analyzer.orders.document import RollPart
from analyzer.orders.writing import Finished
from analyzer.report.numbers import sound_text
from analyzer.report.terminal import Screen
from analyzer.report.words import OUTCOMES, counted


def _roll(roll: RollPart) -> str:
    sheets = counted(sum(one.count for one in roll.sheets), "sheet")
    return (
        f"{roll.kind} {roll.g_m2:.0f} g/m2: {sheets} from {roll.length_m:.2f} m of a roll "
        f"{roll.roll_width_mm:.0f} mm wide, {roll.waste:.0%} waste"
    )


def order_screen(done: Finished, folder: Path, *, width: int = 80) -> str:
    """Return the items with their outcomes, the materials in short, and where the paper is."""
    document, needs = done.document, done.document.materials
    screen = Screen(max(60, width), bold=False)
    about = " for ".join(part for part in (document.number, document.customer) if part)
    screen.heading(f"Order {sound_text(about)}".rstrip() + f": {counted(needs.pieces, 'piece')}, spares too")
    rows = [
        (
            f"{one.position}  {one.title}",
            one.goods,
            f"{one.quantity}" + (f" + {one.spares}" if one.spares else ""),
            OUTCOMES.get(one.outcome or "", "not looked over").upper() if one.outcome else "not looked over",
            one.stack or "",
        )
        for one in document.items
    ]
    screen.table(("item", "goods", "pieces", "outcome", "behind it"), rows, left=5)
    screen.heading("Materials")
    thread = sum(one.metres for one in needs.threads)
    cones = sum(one.cones for one in needs.threads)
    lines = [
        f"{thread:.0f} m of thread in {counted(len(needs.threads), 'colour')}: {counted(cones, 'cone')} on "
        f"{counted(needs.heads, 'head')}; {counted(needs.bobbins, 'bobbin')}",
        *map(_roll, needs.rolls),
        f"{needs.minutes:.0f} minutes"
        + ("" if all(one.hooping_minutes is not None for one in needs.times) else ", without hooping"),
    ]
    for what, amount in (("cost", document.cost), ("price", document.price)):
        if amount is not None:
            lines.append(f"{what} {amount} {document.currency or ''}".rstrip())
    screen.lines(lines, mark="-")
    if document.changed:
        screen.heading("Changed since the last report")
        screen.lines(document.changed, mark="-")
    screen.heading(
        f"In {folder}: {counted(len(done.written), 'file')} written, {len(done.same)} there already just so"
    )
    if done.left:
        screen.lines(["No longer part of this order, left where they are: " + ", ".join(done.left)])
    return screen.text()
