"""The note to whoever digitized the file, and the proof of names to be read before they are sewn."""

from __future__ import annotations

from analyzer.plan.types import Rework
from analyzer.report import words
from analyzer.report.paper import picture
from analyzer.report.paper.letters import LACKING, lacks, spelled
from analyzer.report.paper.pages import MARGIN_MM, Paper
from analyzer.report.paper.sheet import foot_line, head_line
from analyzer.report.paper.types import Occasion, Piece
from analyzer.report.terminal import backing_in_words
from analyzer.report.words import Units

_PICTURE_MM = 110.0


def digitizer_note(piece: Piece, occasion: Occasion | None = None, units: str = "mm") -> bytes | None:
    """Return the note that asks for changes to the file, as a PDF; None where nothing needs changing."""
    if not asked(piece):
        return None
    paper = Paper(
        f"Changes to {piece.called}",
        head=head_line(piece, occasion, "note to the digitizer"),
        foot=foot_line(piece.checked),
    )
    add_digitizer_note(paper, piece, units)
    return paper.bytes()


def asked(piece: Piece) -> tuple[Rework, ...]:
    """Return the changes for the digitizer, those of single regions; a countered copy is the shop's own."""
    plan = piece.checked.plan
    return () if plan is None else tuple(one for one in plan.rework if one.region is not None)


def add_digitizer_note(paper: Paper, piece: Piece, units_name: str = "mm") -> None:
    """Lay the note out on ``paper``: a numbered place on the picture for every change."""
    checked = piece.checked
    plan, judged = checked.plan, checked.judged
    if plan is None or judged is None:
        return
    units = Units(units_name, words.middle_of(checked.design))
    paper.title(f"Please change: {piece.called}", 14.0)
    paper.paragraph(
        f"{checked.design.name} would be sewn {words.goods_phrase(judged.setup.cloth)}, "
        f"{backing_in_words(plan.choice)} behind it. Each change was tried in the model by itself; its "
        "effect is an estimate. Colours are counted in sewing order from 1, places are x, y from the middle "
        "of the design, x right, y up."
    )
    by_id = {region.id: region for region in checked.regions.items}
    rows, marks = [], []
    for number, one in enumerate(asked(piece), start=1):
        region = None if one.region is None else by_id.get(one.region)
        at = None
        if region is not None:
            x0, y0, x1, y1 = region.bbox_mm
            own = checked.design.penetrations[region.first : region.last + 1]
            middle = (x0 + x1) / 2, (y0 + y1) / 2
            nearest = own[((own - middle) ** 2).sum(axis=1).argmin()]
            at = float(nearest[0]), float(nearest[1])
        if at is not None:
            marks.append(picture.Mark(str(number), at))
        where = (
            "whole design"
            if region is None
            else f"colour {region.colour + 1}, {region.kind.value} {region.id}"
        )
        rows.append(
            (
                str(number),
                where,
                units.point(at) if at is not None else "",
                units.sentence(one.what),
                units.sentence(one.effect),
            )
        )
    top = paper.y_mm + 1.0
    frame = picture.frame_of(checked, MARGIN_MM, top, _PICTURE_MM, _PICTURE_MM)
    picture.draw_stitches(
        paper, frame, checked, checked.design.penetrations, picture.tones_of(checked, ink=True), thread_mm=0.0
    )
    picture.draw_centre(paper, frame)
    picture.draw_marks(paper, frame, marks)
    picture.draw_scale(paper, frame)
    picture.draw_edge(paper, frame)
    paper.move_to(top + _PICTURE_MM + 2.0)
    paper.table(
        ("", "What", f"At, {units.plural}", "Change", "Then (estimate)"),
        rows,
        widths=(0.05, 0.16, 0.13, 0.36, 0.30),
        size_pt=8.5,
    )


def spelling_proof(piece: Piece, occasion: Occasion | None = None) -> bytes:
    """Return the names of a piece, as they will be sewn and letter by letter, to be signed."""
    paper = Paper(
        f"Spelling proof: {piece.called}",
        head=head_line(piece, occasion, "spelling proof"),
        foot=foot_line(piece.checked),
    )
    paper.title(f"Spelling proof: {piece.called}", 14.0)
    paper.paragraph(
        f"{words.counted(len(piece.names), 'name')}, one a piece. Please read each letter by letter, accents "
        "and blanks (␣) too. They are sewn exactly as they stand here; what was proofed is not replaced."
    )
    if any(lacks(name) for name in piece.names):
        paper.paragraph(LACKING, soft=True)
    seen: dict[str, int] = {}
    for name in piece.names:
        seen[name.casefold()] = seen.get(name.casefold(), 0) + 1
    rows = [
        (str(number), name, spelled(name), "twice or more" if seen[name.casefold()] > 1 else "", "")
        for number, name in enumerate(piece.names, start=1)
    ]
    paper.table(
        ("", "As sewn", "Letter by letter", "Mind", "Right?"),
        rows,
        widths=(0.06, 0.32, 0.38, 0.14, 0.10),
        size_pt=11.0,
    )
    paper.paragraph("I have read every name; they are right, or corrected above in writing.", 10.0)
    paper.lines_to_fill(("Name", "Date", "Signature"))
    return paper.bytes()
