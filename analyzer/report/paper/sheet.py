"""The sewing sheet: what goes to the machine with the goods, to be read in black and white and written on."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analyzer.findings import chance_words
from analyzer.goods.constants import constants
from analyzer.goods.types import Hoop
from analyzer.pipeline import Checked, OnGoods
from analyzer.plan.types import Plan
from analyzer.report import words
from analyzer.report.fill_in import gaps_by_trouble
from analyzer.report.paper import picture
from analyzer.report.paper.pages import FIELD_MM, MARGIN_MM, Paper, Side
from analyzer.report.paper.threads import Block, blocks
from analyzer.report.paper.types import Occasion, Piece
from analyzer.report.predicted import gap_table, is_run
from analyzer.report.terminal import backing_in_words, held_in_words
from analyzer.report.words import Units

_PICTURE_MM = 68.0
_GUTTER_MM = 5.0
_SIGN_OFF_MM = 27.0
_ROW_MM = 4.4
_STEP_PT = 7.5
_FOOT_LETTERS = 60
_WHOLE_PAGE_MM = 200.0
_GAPS_MEASURED = 4
_LETTERS = "ABCDEFGH"
_MANY = 12  #: colour blocks from which their list is set smaller


def sewing_sheet(piece: Piece, occasion: Occasion | None = None, units: str = "mm") -> bytes:
    """Return the sewing sheet of one piece as a PDF.

    ``units`` is "mm" or "in" and touches lengths only; cloth and backing to cut are given in both.
    """
    paper = Paper(
        f"Sewing sheet: {piece.called}",
        head=head_line(piece, occasion, "sewing sheet"),
        foot=foot_line(piece.checked),
        subject=f"{piece.checked.design.name} sha256 {piece.checked.design.sha256}",
    )
    add_sewing_sheet(paper, piece, units)
    return paper.bytes()


def head_line(piece: Piece | None, occasion: Occasion | None, what: str) -> str:
    """Return the line at the head of every page."""
    parts = [what]
    if occasion is not None:
        parts += [f"order {occasion.number}"] if occasion.number else []
        parts += [occasion.customer] if occasion.customer else []
        parts += [f"due {occasion.due}"] if occasion.due else []
        parts += [occasion.date] if occasion.date else []
    if piece is not None:
        parts += [f"item {piece.position}"] if piece.position is not None else []
        parts.append(piece.called)
    return "  ·  ".join(parts)


def foot_line(checked: Checked) -> str:
    """Return the line at the foot: which bytes the paper is about."""
    name = checked.design.name
    short = name if len(name) <= _FOOT_LETTERS else name[: _FOOT_LETTERS - 1] + "…"
    return f"sha256 {checked.design.sha256}  ·  {short}  ·  estimates"


def add_sewing_sheet(paper: Paper, piece: Piece, units_name: str = "mm") -> None:
    """Lay a sewing sheet out on ``paper``, from the present place on."""
    checked = piece.checked
    units = Units(units_name, words.middle_of(checked.design))
    top = paper.y_mm
    if checked.plan is not None:
        paper.framed(words.OUTCOMES[checked.plan.outcome].upper())
    with paper.column(0.0, FIELD_MM - 48.0):
        paper.title(piece.called, 15.0)
    top = max(paper.y_mm, top + 8.0)
    judged = checked.judged
    needles = judged.setup.needles if judged else None
    used = blocks(checked, piece.thread_names, needles)
    _picture(paper, checked, used, top)
    paper.move_to(top)
    with paper.column(_PICTURE_MM + 4.0, FIELD_MM - _PICTURE_MM - 4.0):
        _facts(paper, piece, units)
    paper.move_to(max(paper.y_mm, top + _PICTURE_MM + 1.5))
    _threads(paper, piece, used)
    if checked.plan is not None and judged is not None:
        _steps(paper, checked.plan, units)
        _measures(paper, checked, judged, units)
    _sign_off(paper, checked)


def _picture(paper: Paper, checked: Checked, used: Sequence[Block], top: float) -> None:
    hoop = checked.judged.setup.hoop if checked.judged else None
    frame = picture.frame_of(checked, MARGIN_MM, top, _PICTURE_MM, _PICTURE_MM, hoop=hoop)
    points, design = checked.design.penetrations, checked.design
    tones = picture.tones_of(checked, ink=True)
    picture.draw_stitches(paper, frame, checked, points, tones, thread_mm=0.0)
    if hoop is not None:
        picture.draw_hoop(paper, frame, hoop, design.size_mm)
    picture.draw_centre(paper, frame)
    labels = [str(block.number) for block in used]
    picture.draw_marks(paper, frame, picture.block_marks(checked, labels))
    picture.draw_marks(paper, frame, _gap_marks(checked), square=True)
    picture.draw_scale(paper, frame)
    picture.draw_edge(paper, frame)


def _gap_marks(checked: Checked) -> list[picture.Mark]:
    if checked.judged is None or checked.judged.response.pull_in.beyond_range:
        return []
    gaps = gaps_by_trouble(checked.judged)[:_GAPS_MEASURED]
    return [picture.Mark(_LETTERS[number], gap.at) for number, gap in enumerate(gaps)]


def both(width_mm: float, height_mm: float) -> str:
    """Return a size to cut in both units, metric first."""
    inches = Units("in").pair(width_mm, height_mm)
    return f"{width_mm:.0f} x {height_mm:.0f} mm ({inches})"


def _facts(paper: Paper, piece: Piece, units: Units) -> None:
    checked = piece.checked
    design, judged, plan = checked.design, checked.judged, checked.plan
    rows: list[tuple[str, str]] = [("File", f"{design.name} ({design.format})")]
    rows.append(("Size", units.pair(*design.size_mm)))
    pieces = f"{piece.quantity}" + (f" + {piece.spares} spare" if piece.spares else "")
    if piece.sizes:
        pieces += ": " + ", ".join(f"{count} x {size}" for size, count in piece.sizes)
    rows.append(("Pieces", pieces))
    rows.append(("Place", piece.placement or "______ from ____________ seam or edge"))
    if judged is not None and plan is not None:
        lace = judged.setup.cloth.family == "none"
        colour = f", colour {judged.setup.colour}" if judged.setup.colour else ""
        rows.append(("Goods", ("none: free-standing lace" if lace else judged.setup.cloth.title) + colour))
        rows += [
            ("Hoop", _hoop(judged.setup.hoop, plan, units)),
            *_stack_rows(plan, checked.design.size_mm, lace=lace),
        ]
        rows.append(("Needle", f"{plan.needle}, at most {plan.speed_spm:.0f} stitches a minute"))
    minutes, metres = checked.use.minutes, checked.use.thread_m
    total = piece.quantity + piece.spares
    rows.append(
        (
            "Time, thread",
            f"{_minutes(minutes)}, {metres:.1f} m, bobbin {checked.use.bobbin_m:.1f} m a piece"
            + (
                f"; {_minutes(minutes * total)} of stitching and {metres * total:.0f} m for {total}"
                * (total > 1)
            ),
        )
    )
    rows.append(("Stitches", f"{design.stitches:,} in {words.counted(len(design.threads), 'colour block')}"))
    paper.table((), rows, widths=(0.22, 0.78), size_pt=8.0, bold_first=True)


def _minutes(minutes: float) -> str:
    return f"about {minutes:.0f} min" if minutes >= 1.0 else "under a minute"


def _hoop(hoop: Hoop, plan: Plan, units: Units) -> str:
    oval = ", oval" if hoop.shape == "oval" else ""
    return f"sewing field {units.pair(*plan.hoop_mm)}{oval}; {plan.holding}"


def topping_mm(size_mm: tuple[float, float]) -> tuple[float, float]:
    """Return the sheet of topping that a design of so many mm takes: whole mm, with a margin all round."""
    margin = constants("orders")["topping_margin_mm"].value
    width, height = (float(math.ceil(side + 2 * margin)) for side in size_mm)
    return width, height


def _stack_rows(plan: Plan, size_mm: tuple[float, float], *, lace: bool) -> list[tuple[str, str]]:
    behind = backing_in_words(plan.choice)
    label = "Stitch it on" if lace else "Behind it"
    over = f"{plan.topping.kind}, {both(*topping_mm(size_mm))}" if plan.topping else "no topping"
    if behind == "nothing":
        return [(label, "nothing"), ("Over it", over)]
    return [
        (label, f"{behind}, {held_in_words(plan)}"),
        ("Cut", f"each layer {both(*plan.sheet_mm)}"),
        ("Over it", over),
    ]


def _threads(paper: Paper, piece: Piece, used: Sequence[Block]) -> None:
    paper.heading("Threads, in order of use")
    known = any(block.needle is not None for block in used)
    total = piece.quantity + piece.spares
    head = ("Block", "Needle", "Thread", "m a piece", f"m for {total}", "Stitches", "Mind")
    rows = [
        (
            str(block.number),
            str(block.needle) if known else "____",
            block.name if block.rgb is None or block.name == block.rgb else f"{block.name} ({block.rgb})",
            f"{block.metres:.1f}",
            f"{block.metres * total:.0f}",
            f"{block.stitches:,}",
            "; ".join(block.remarks),
        )
        for block in used
    ]
    sides: tuple[Side, ...] = ("left", "left", "left", "right", "right", "right", "left")
    small = len(used) > _MANY
    paper.table(
        head,
        rows,
        widths=(0.07, 0.08, 0.30, 0.10, 0.10, 0.10, 0.25),
        sides=sides,
        size_pt=7.0 if small else 8.0,
    )


def _steps(paper: Paper, plan: Plan, units: Units) -> None:
    """Write the steps as boxes to tick, in two columns where they fit side by side."""
    steps = plan.steps
    left = [("Before", steps.before), ("While sewing", steps.sewing)]
    right = [("After stitching", steps.finishing), ("Mind", plan.cautions)]
    half = FIELD_MM / 2 - _GUTTER_MM / 2
    height = max(
        sum(paper.height_of_items(map(units.sentence, texts), _STEP_PT, half) for _, texts in side)
        for side in (left, right)
    )
    paper.need(min(height, _WHOLE_PAGE_MM))
    if height > _WHOLE_PAGE_MM:
        for title, texts in (*left, *right):
            _list(paper, title, texts, units)
        return
    top, ends = paper.y_mm, []
    for x, side in ((0.0, left), (half + _GUTTER_MM, right)):
        paper.move_to(top)
        with paper.column(x, half):
            for title, texts in side:
                _list(paper, title, texts, units)
            ends.append(paper.y_mm)
    paper.move_to(max(ends))


def _list(paper: Paper, title: str, texts: Sequence[str], units: Units) -> None:
    if texts:
        paper.heading(title)
        paper.items(map(units.sentence, texts), _STEP_PT, ticked=title != "Mind")


def _measures(paper: Paper, checked: Checked, judged: OnGoods, units: Units) -> None:
    rows_to_come = _ROW_MM * (4 + min(_GAPS_MEASURED, len(judged.findings.gaps)))
    paper.need(rows_to_come + 12.0 + _SIGN_OFF_MM)
    paper.heading("What the first piece measured")
    if judged.setup.holding == "cap-frame":
        paper.paragraph(
            "A cap is curved, strapped and seamed: nothing is predicted. Write down what you see.", 8.0
        )
    width, height = checked.design.size_mm
    rows = [
        ("size across", "from edge to edge", units.bare(width), "", "", "", ""),
        ("size up", "from edge to edge", units.bare(height), "", "", "", ""),
    ]
    if judged.setup.holding != "cap-frame" and not judged.response.pull_in.beyond_range:
        _, cells, _ = gap_table(judged, checked.regions, units)
        gaps = gaps_by_trouble(judged)
        for number, (cell, gap) in enumerate(list(zip(cells, gaps, strict=False))[:_GAPS_MEASURED]):
            outline, borders, meant, sewn, between, limit = cell[:6]
            place = f"{outline} at {borders}, {units.point(gap.at)}"
            rows.append((f"gap {_LETTERS[number]}", place, meant, f"{sewn} ({between})", limit, "", ""))
        pucker = judged.findings.pucker
        wave = (
            f"{units.bare(pucker.amplitude_mm)} ({units.bare(pucker.low_mm)} to {units.bare(pucker.high_mm)})"
        )
        allowed = units.bare((judged.setup.limits or constants("limits"))["pucker_mm"].value)
        rows.append(("height of waves", f"worst near {units.point(pucker.at)}", "-", wave, allowed, "", ""))
    head = (
        "What",
        "Where",
        f"In file, {units.plural}",
        "Expected (5-95 %)",
        "Limit",
        "In the hoop",
        "Finished",
    )
    sides: tuple[Side, ...] = ("left", "left", "right", "right", "right", "left", "left")
    paper.table(head, rows, widths=(0.13, 0.27, 0.10, 0.19, 0.08, 0.115, 0.115), sides=sides, size_pt=7.5)
    runs = any(is_run(gap, checked.regions) for gap in judged.findings.gaps)
    counted = ", of runs from their middle line" if runs else ""
    said = f"Gaps: + bare cloth, - overlap{counted}. Places: x right, y up from the design's middle. "
    paper.paragraph(f"{said}{_miss(judged)} {checked.sureness.says}", 7.0, soft=True)


def _miss(judged: OnGoods) -> str:
    if judged.response.pull_in.beyond_range:
        return "The goods would distort more than can be computed: no gap is given."
    return f"That this set-up misses a limit is {chance_words(judged.findings.chance_of_missing)}."


def _sign_off(paper: Paper, checked: Checked) -> None:
    paper.need(_SIGN_OFF_MM)
    paper.heading(f"First piece, sewn from file {checked.design.sha256[:12]}")
    paper.choices(
        ("outlines meet", "lies flat", "nothing shows through", "ends cut", "back clean", "spelling read"),
        8.0,
    )
    paper.choices(("go on with the rest", "change it first (write why on the back)"), 8.0)
    paper.lines_to_fill(("Machine", "Name", "Date"))
