"""The risk report: what a customer should know of an order before it is sewn, and what they decide."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np
from matplotlib.colors import to_rgb

from analyzer import __version__
from analyzer.arrays import Floats
from analyzer.findings.types import Finding
from analyzer.pipeline import Checked, OnGoods
from analyzer.plan.cautions import for_the_wearer
from analyzer.report import words
from analyzer.report.drift import exaggeration
from analyzer.report.paper import customer, picture
from analyzer.report.paper.pages import FIELD_MM, MARGIN_MM, Paper
from analyzer.report.paper.sheet import foot_line, head_line
from analyzer.report.paper.threads import blocks
from analyzer.report.paper.types import Occasion, Piece
from analyzer.report.predicted import bare_cloth_allowed
from analyzer.report.terminal import backing_in_words
from analyzer.report.words import Units

_PICTURE_MM = 86.0
_GROUND = (226, 226, 226)
_RISKS = 8


@cache
def plain_words() -> dict[str, str]:
    """Return what each finding means to a customer, by its name."""
    text = files("analyzer.report.paper").joinpath("plain.toml").read_text(encoding="utf-8")
    return {name: str(said) for name, said in tomllib.loads(text).items()}


def risk_report(
    pieces: Sequence[Piece],
    occasion: Occasion | None = None,
    missing: Sequence[str] = (),
    changed: Sequence[str] = (),
    units: str = "mm",
) -> bytes:
    """Return the risk report of an order as a PDF.

    ``missing`` says what could not be looked over and why; ``changed`` what differs from the last report.
    """
    paper = Paper("Risk report", head=head_line(None, occasion, "risk report"), subject="risks of an order")
    add_risk_report(paper, pieces, occasion, missing, changed, units)
    return paper.bytes()


def add_risk_report(
    paper: Paper,
    pieces: Sequence[Piece],
    occasion: Occasion | None = None,
    missing: Sequence[str] = (),
    changed: Sequence[str] = (),
    units: str = "mm",
) -> None:
    """Lay a risk report out on ``paper``: for several pieces a list of them first."""
    alone = len(pieces) == 1 and not missing and not changed
    paper.title("Risk report")
    _occasion(paper, occasion)
    if not alone:
        _list(paper, pieces, missing, changed)
    for number, piece in enumerate(pieces):
        if number or not alone:
            paper.new_page(head=head_line(piece, occasion, "risk report"), foot=foot_line(piece.checked))
        _item(paper, piece, units)
    if not alone:
        paper.new_page(head=head_line(None, occasion, "risk report"), foot="")
    _decisions(paper, pieces)
    _cautions(paper, pieces)
    _validity(paper, pieces)


def _occasion(paper: Paper, occasion: Occasion | None) -> None:
    if occasion is None:
        return
    facts = (
        ("Order", occasion.number),
        ("For", occasion.customer),
        ("Due", occasion.due),
        ("Date", occasion.date),
    )
    rows = [(label, text) for label, text in facts if text] + [("Note", note) for note in occasion.notes]
    if rows:
        paper.table((), rows, widths=(0.14, 0.86), size_pt=9.0, bold_first=True)


def _list(paper: Paper, pieces: Sequence[Piece], missing: Sequence[str], changed: Sequence[str]) -> None:
    paper.heading("What is ordered, and what to expect")
    rows = []
    for piece in pieces:
        checked = piece.checked
        goods = checked.judged.setup.cloth.title if checked.judged else "goods not named"
        promise = customer.promise(checked)
        rows.append((_position(piece), piece.called, goods, str(piece.quantity), promise))
    paper.table(
        ("Item", "Design", "On", "Pieces", "What to expect"),
        rows,
        widths=(0.07, 0.28, 0.22, 0.08, 0.35),
        sides=("left", "left", "left", "right", "left"),
    )
    if missing:
        paper.heading("Not looked over")
        paper.items(missing)
    if changed:
        paper.heading("Changed since the last report")
        paper.items(changed)


def _position(piece: Piece) -> str:
    return "" if piece.position is None else str(piece.position)


def _item(paper: Paper, piece: Piece, units_name: str) -> None:
    checked = piece.checked
    units = Units(units_name, words.middle_of(checked.design))
    paper.title((f"{piece.position}. " if piece.position is not None else "") + piece.called, 13.0)
    if checked.plan is not None:
        paper.paragraph(customer.promise(checked), 10.5, bold=True)
    paper.table((), _facts(piece, units), widths=(0.16, 0.84), size_pt=8.5, bold_first=True)
    risks = [item for item in customer.risks(checked) if item.name in plain_words()][:_RISKS]
    _pictures(paper, checked, risks)
    _risks(paper, checked, risks, units)
    _changes(paper, checked, units)


def _facts(piece: Piece, units: Units) -> list[tuple[str, str]]:
    checked = piece.checked
    judged, plan = checked.judged, checked.plan
    rows = []
    if judged is not None:
        lace = judged.setup.cloth.family == "none"
        rows.append(("Sewn on", "nothing: free-standing lace" if lace else judged.setup.cloth.title))
    pieces = words.counted(piece.quantity, "piece")
    if piece.sizes:
        pieces += ": " + ", ".join(f"{count} x {size}" for size, count in piece.sizes)
    if piece.spares:
        pieces += customer.spares(piece)
    rows.append(("How many", pieces))
    if piece.placement:
        rows.append(("Where", piece.placement))
    rows.append(("Size", f"{units.pair(*checked.design.size_mm)}, {checked.design.stitches:,} stitches"))
    used = blocks(checked, piece.thread_names, None)
    unknown = all(thread.rgb is None and thread.name is None for thread in checked.design.threads)
    names = tuple(dict.fromkeys(block.name for block in used))
    colours = f"{len(names)}: " + ", ".join(names)
    if unknown and not any(piece.thread_names):
        colours = f"{len(used)}, to be chosen: the file names none"
    rows.append(("Colours", colours))
    if judged is not None and plan is not None:
        behind = backing_in_words(plan.choice)
        over = f"; over it {plan.topping.kind} while it is sewn" if plan.topping else ""
        rows.append(("Behind it", f"{behind}{over}"))
    if piece.names:
        rows.append(("Names", f"{len(piece.names)}, see the spelling proof"))
    return rows


def _pictures(paper: Paper, checked: Checked, risks: Sequence[Finding]) -> None:
    """Draw the design as drawn and, where it can be computed, as predicted."""
    judged = checked.judged
    paper.need(_PICTURE_MM + 12.0)
    top = paper.y_mm + 1.0
    marks = [
        picture.Mark(str(number + 1), item.at) for number, item in enumerate(risks) if item.at is not None
    ]
    predicted = judged is not None and judged.setup.holding != "cap-frame" and not _beyond(judged)
    gap = FIELD_MM - 2 * _PICTURE_MM
    first = picture.frame_of(checked, MARGIN_MM, top, _PICTURE_MM, _PICTURE_MM)
    _one_picture(paper, first, checked, checked.design.penetrations)
    said = ["As drawn in the file."]
    if predicted and judged is not None:
        drift = judged.response.drift
        largest = float(np.hypot(*drift.T).max(initial=0.0))
        factor = exaggeration(largest, max(checked.design.size_mm))
        second = picture.frame_of(checked, MARGIN_MM + _PICTURE_MM + gap, top, _PICTURE_MM, _PICTURE_MM)
        _one_picture(paper, second, checked, checked.design.penetrations + factor * drift)
        picture.draw_marks(paper, second, marks)
        times = f"movement enlarged {factor} times" if factor > 1 else "true to scale"
        said.append(f"As we expect it to come out ({times}).")
    else:
        picture.draw_marks(paper, first, marks)
    paper.move_to(top + _PICTURE_MM + 0.8)
    coloured = any(thread.rgb for thread in checked.design.threads)
    notes = [] if coloured else ["The file holds no colours: neutral tones."]
    if checked.job.colour is None:
        notes.append("The colour of the goods is not known: drawn grey.")
    sides = (
        f"Left: {said[0][0].lower()}{said[0][1:]} Right: {said[1][0].lower()}{said[1][1:]}"
        if predicted
        else said[0]
    )
    numbers = " Numbers: see the list." if marks else ""
    paper.paragraph(f"{sides}{numbers} {' '.join(notes)}", 7.5, soft=True)


def _one_picture(paper: Paper, frame: picture.Frame, checked: Checked, points: Floats) -> None:
    ground = _GROUND
    if checked.job.colour is not None:
        red, green, blue = (round(255 * part) for part in to_rgb(checked.job.colour))
        ground = red, green, blue
    picture.draw_ground(paper, frame, ground)
    tones = picture.tones_of(checked, ink=False)
    picture.draw_stitches(paper, frame, checked, points, tones, thread_mm=checked.cover.thread_width_mm)
    picture.draw_scale(paper, frame)
    picture.draw_edge(paper, frame)


def _beyond(judged: OnGoods) -> bool:
    return bool(judged.response.pull_in.beyond_range)


def _risks(paper: Paper, checked: Checked, risks: Sequence[Finding], units: Units) -> None:
    if not risks:
        paper.heading("Risks")
        paper.paragraph("Nothing that needs changing was found.")
        return
    paper.heading("What may be seen on the piece")
    rows = []
    for number, item in enumerate(risks):
        rows.append(
            (str(number + 1), plain_words()[item.name], customer.likely(item), customer.amount(item, units))
        )
    paper.table(
        ("", "What", "How likely over the limit", "How much, and our limit"),
        rows,
        widths=(0.05, 0.52, 0.19, 0.24),
    )
    more = len(customer.risks(checked)) - len(risks)
    if more > 0:
        paper.paragraph(f"And {words.counted(more, 'smaller remark')}, in the check itself.", soft=True)


def _changes(paper: Paper, checked: Checked, units: Units) -> None:
    better = customer.improvements(checked, units)
    if better:
        paper.heading("What would make it better")
        paper.items(better)


def _decisions(paper: Paper, pieces: Sequence[Piece]) -> None:
    paper.need(30.0 + 6.0 * len(pieces))
    paper.heading("Your decision")
    for piece in pieces:
        if len(pieces) > 1:
            paper.paragraph(f"{_position(piece)}  {piece.called}", 9.0, bold=True)
        paper.choices(
            ("sew it as it is: I accept the risks named", "show me a sample first", "change it first")
        )
    paper.lines_to_fill(("Name", "Date", "Signature"))


def _cautions(paper: Paper, pieces: Sequence[Piece]) -> None:
    """Write what to mind in wearing and washing; how to work the machine stands on the sewing sheets."""
    said = [
        text
        for piece in pieces
        if piece.checked.plan is not None and piece.checked.judged is not None
        for text in for_the_wearer(piece.checked.judged.setup, piece.checked.plan.choice)
    ]
    if said:
        paper.heading("In wear and wash")
        paper.items(dict.fromkeys(said), 8.0)


def _validity(paper: Paper, pieces: Sequence[Piece]) -> None:
    paper.heading("What this holds for")
    lines: list[str] = []
    for piece in pieces:
        checked = piece.checked
        number = f"Item {piece.position}: " if piece.position is not None else ""
        lines.append(
            f"{number}{checked.design.name}, sha256 {checked.design.sha256}; {settings_said(checked)}"
        )
    paper.items(lines, 7.5)
    paper.items(customer.sureness(pieces), 7.5)
    paper.paragraph(
        "Sizes, stitches, density and thread are measured from the file; what the cloth does is predicted by "
        f"prehoop {__version__} and is an estimate. It holds for these files, goods, backing, hoop, thread "
        "and needle only; a sewn sample goes before any of it, and so do the makers' instructions.",
        7.5,
    )


def settings_said(checked: Checked) -> str:
    """Return everything that a check went by, in one line."""
    judged, job = checked.judged, checked.job
    if judged is None:
        return f"no goods named; seed {job.seed}"
    setup = judged.setup
    colour = f", colour {setup.colour}" if setup.colour else ""
    hoop = f"hoop {setup.hoop.width_mm:.0f} x {setup.hoop.height_mm:.0f} mm"
    behind = backing_in_words(checked.plan.choice) if checked.plan else "nothing"
    return (
        f"{setup.cloth.name}{colour}, {setup.care}, back {setup.back}, {setup.holding}, {hoop}, "
        f"thread {setup.thread.name}, needle {setup.needle.name}, {setup.speed_spm:.0f} stitches a minute, "
        f"bare cloth allowed {bare_cloth_allowed(judged, checked.regions, Units())}, backing {behind}, "
        f"seed {job.seed}"
    )
