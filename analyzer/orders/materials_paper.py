"""The materials list on paper: what to buy, what to cut and how, and how long it takes."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.orders.document import OrderDocument
from analyzer.orders.materials import Materials, RollNeed
from analyzer.report.paper import Occasion, Paper
from analyzer.report.paper.pages import FIELD_MM, INK, MARGIN_MM, SOFT, Side
from analyzer.report.paper.sheet import head_line
from analyzer.report.words import counted, ounces

_PICTURE_MM = 30.0  #: height at most of the picture of a cutting
_NOT_GIVEN = "not given"


def materials_paper(document: OrderDocument, needs: Materials, occasion: Occasion) -> bytes:
    """Return the materials list of an order as a PDF."""
    paper = Paper("Materials list", head=head_line(None, occasion, "materials list"))
    paper.title("Materials list")
    heads = counted(needs.heads, "head")
    paper.paragraph(
        f"For {counted(needs.pieces, 'piece')}, spares too, on {heads}. Lengths and minutes are estimates."
    )
    if document.missing:
        paper.heading("Not in this list")
        paper.items(document.missing)
    _threads(paper, needs)
    for need in needs.rolls:
        _roll(paper, need)
    _times(paper, document, needs)
    _money(paper, document)
    return paper.bytes()


def _threads(paper: Paper, needs: Materials) -> None:
    paper.heading("Thread")
    rows = [
        (
            one.name if one.rgb is None or one.rgb == one.name else f"{one.name} ({one.rgb})",
            ", ".join(map(str, one.items)),
            f"{one.metres:.0f}",
            f"{one.metres_a_head:.0f}",
            str(one.cones),
        )
        for one in needs.threads
    ]
    rows.append(("bobbin thread", "all", f"{needs.bobbin_metres:.0f}", "", f"{needs.bobbins} bobbins"))
    sides: tuple[Side, ...] = ("left", "left", "right", "right", "right")
    head = ("Thread", "Items", "m in all", "m on one head", "Cones")
    paper.table(head, rows, widths=(0.44, 0.16, 0.12, 0.14, 0.14), sides=sides)
    paper.paragraph(
        f"A cone holds {needs.cone_m:,.0f} m, a bobbin {needs.bobbin_m:.0f} m. Every head that sews a colour "
        "needs a cone of its own.",
        7.5,
        soft=True,
    )


def _roll(paper: Paper, need: RollNeed) -> None:
    paper.need(_PICTURE_MM + 34.0)
    paper.heading(f"{need.role.capitalize()}: {need.kind} {ounces(need.g_m2)}")
    rows = [
        (
            one.what,
            str(one.count),
            f"{one.across_mm:.0f} x {one.along_mm:.0f} mm",
            _inches(one.across_mm, one.along_mm),
        )
        for one in need.sheets
    ]
    sides: tuple[Side, ...] = ("left", "right", "left", "left")
    head = ("For", "Sheets", "Across x along the roll", "The same in inches")
    paper.table(head, rows, widths=(0.20, 0.12, 0.36, 0.32), sides=sides)
    width = f"roll {need.roll.width_mm:.0f} mm wide" + (
        "" if need.roll_given else " (assumed: write yours as [[roll]])"
    )
    rolls = "" if need.rolls is None else f", {counted(need.rolls, 'roll')}"
    paper.paragraph(
        f"Cut {need.length_m:.2f} m from a {width}{rolls}: {need.cutting.waste:.0%} waste. No cutting could "
        f"do with less than {need.least_length_m:.2f} m.",
        8.5,
        bold=True,
    )
    _cutting(paper, need)


def _inches(across_mm: float, along_mm: float) -> str:
    return f"{across_mm / 25.4:.1f} x {along_mm / 25.4:.1f} in"


def _cutting(paper: Paper, need: RollNeed) -> None:
    """Draw how the sheets lie on the roll, from its end; of a long cutting the beginning."""
    cutting, pdf = need.cutting, paper.pdf
    scale = min(_PICTURE_MM / cutting.roll_width_mm, 0.12)
    shown = min(cutting.length_mm, FIELD_MM / scale)
    top, high = paper.y_mm + 0.5, cutting.roll_width_mm * scale
    with pdf.local_context(draw_color=SOFT, fill_color=225, line_width=0.2):
        pdf.rect(MARGIN_MM, top, shown * scale, high, style="DF")
    with pdf.local_context(draw_color=INK, fill_color=(255, 255, 255), line_width=0.2):
        for one in cutting.placed:
            if one.y_mm < shown - 1e-6:
                along = min(one.along_mm, shown - one.y_mm) * scale
                corner = MARGIN_MM + one.y_mm * scale, top + one.x_mm * scale
                pdf.rect(*corner, along, one.across_mm * scale, style="DF")
                label = one.what.removeprefix("item ")
                if along > 4.0 and one.across_mm * scale > 3.0:
                    pdf.set_font(pdf.font_family, "", 6)
                    pdf.text(corner[0] + along / 2 - 1.0, corner[1] + one.across_mm * scale / 2 + 0.8, label)
    paper.move_to(top + high + 0.8)
    part = f"the first {shown / 1000:.2f} m; " if shown < cutting.length_mm - 1e-6 else ""
    paper.paragraph(
        f"The roll lies from left to right, {part}grey is waste, numbers are items.", 7.0, soft=True
    )


def _times(paper: Paper, document: OrderDocument, needs: Materials) -> None:
    paper.heading("Time")
    titles = {one.position: one.title for one in document.items}
    rows = [
        (
            f"{one.position}  {titles.get(one.position, '')}",
            f"{one.piece_minutes:.1f}",
            str(one.runs),
            f"{one.machine_minutes:.0f}",
            _minutes(one.hooping_minutes),
            _minutes(one.trimming_minutes),
            _minutes(one.break_minutes),
            f"{one.minutes:.0f}",
        )
        for one in needs.times
    ]
    rows.append(("In all", "", "", "", "", "", "", f"{needs.minutes:.0f}"))
    sides: tuple[Side, ...] = ("left", *("right",) * 7)
    head = ("Item", "a piece", "Runs", "Machine", "Hooping", "Trimming", "Breaks", "Minutes")
    paper.table(head, rows, widths=(0.30, 0.10, 0.08, 0.10, 0.11, 0.11, 0.10, 0.10), sides=sides)
    missing = [
        name
        for name, values in (
            ("hooping", [one.hooping_minutes for one in needs.times]),
            ("trimming", [one.trimming_minutes for one in needs.times]),
            ("thread breaks", [one.break_minutes for one in needs.times]),
        )
        if any(value is None for value in values)
    ]
    if missing:
        paper.paragraph(
            f"Not reckoned with, since the order gives no figure under [shop]: {', '.join(missing)}.",
            7.5,
            soft=True,
        )


def _minutes(value: float | None) -> str:
    return _NOT_GIVEN if value is None else f"{value:.0f}"


def _money(paper: Paper, document: OrderDocument) -> None:
    if document.cost is None and document.price is None:
        return
    money = document.currency or ""
    paper.heading(f"Money{', ' + money if money else ''}")
    kinds = list(dict.fromkeys(what for one in document.items for what in one.cost_parts))
    head = ("Item", *(kind.capitalize() for kind in kinds), "Cost", "Price")
    rows: list[Sequence[str]] = [
        (
            f"{one.position}  {one.title}",
            *(one.cost_parts.get(kind, "") for kind in kinds),
            one.cost or "",
            one.price or "",
        )
        for one in document.items
        if one.trouble is None
    ]
    rows.append(("In all", *("" for _ in kinds), document.cost or "", document.price or ""))
    share = 0.66 / (len(kinds) + 2)
    right: Side = "right"
    sides: tuple[Side, ...] = ("left", *(right for _ in range(len(kinds) + 2)))
    paper.table(head, rows, widths=(0.34, *(share,) * (len(kinds) + 2)), sides=sides, size_pt=7.5)
    paper.paragraph(
        "By the order's own figures. Every line is rounded to a hundredth, halves up; totals are sums of "
        "rounded lines. Backing and topping are priced with their waste; spares are reckoned with, not sold.",
        7.5,
        soft=True,
    )
