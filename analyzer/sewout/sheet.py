"""The printed sheet that goes with the test piece: 1:1, how to hoop it, what to measure where."""

from __future__ import annotations

from analyzer.report.paper.pages import FIELD_MM, INK, MARGIN_MM, RULE, SOFT, Paper
from analyzer.sewout.piece import crosses_mm, measures, piece_design

_BAR_MM = 100.0
_STATES = ("in the hoop", "out of it, an hour later", "washed and dried")
_NUMBER_MM, _NAME_MM, _FILE_MM, _ROW_MM = 6.0, 42.0, 13.0, 8.5  #: of the table to write in
_HOW = (
    "Draw the four crosses on the cloth, 30 mm apart along the rows of the fill, with a fine pen that washes "
    "out. Use this drawing as a template only if the bar below measures 100.0 mm.",
    "Hoop cloth and backing as you always do, drum-flat and not stretched, the grain along the hoop, the "
    "design in the middle, the crosses just above and below the fill.",
    "Sew with the thread, needle, tension and speed of every day. Do not touch the hoop in between.",
    "Measure in the hoop, thread edge to thread edge, with a steel rule and a magnifier; widths and the "
    "fill at mid-length. Write to 0.1 mm what you see, not what you expect. A gap is bare cloth between the "
    "fill and the middle of the outline; write - where they overlap.",
    "Take it out of the hoop, let it lie flat for an hour, measure again; crosses teach in the hoop only. "
    "Wash and dry it as the goods will be, measure a third time: that is kept to compare.",
    "Sew three pieces if you can. Record with: prehoop sewout add FILE --goods ... --backing ...",
)


def sheet_pdf() -> bytes:
    """Return the sheet as a PDF of one design and a table to write in; the same bytes every time."""
    paper = Paper("Test piece", head="Test piece: sew it, measure it, record it", subject="sew-out")
    paper.title("Test piece")
    paper.paragraph(
        "What it teaches: how hard your machine pulls with this thread, how far satin edges come in, and how "
        "stiff this cloth is on this backing. About 3 minutes at 800 stitches a minute."
    )
    paper.lines_to_fill(("Goods", "Backing", "Hoop"))
    paper.lines_to_fill(("Machine", "Thread, needle", "Date"))
    _drawing(paper)
    paper.heading("How")
    paper.items(_HOW, ticked=True)
    paper.new_page()
    paper.heading("Measures, in mm (inches will do: say so when you record)")
    _boxes(paper)
    paper.paragraph(
        "Keep fingers away from the moving needle; stop the machine before reaching into the hoop. Follow "
        "the makers' instructions for pens, washing and pressing.",
        soft=True,
    )
    return paper.bytes()


def _boxes(paper: Paper) -> None:
    """Draw a row for each measure with boxes to write in: three states, three pieces each."""
    pdf = paper.pdf
    named = _NUMBER_MM + _NAME_MM + _FILE_MM
    wide = (FIELD_MM - named) / (3 * len(_STATES))

    def write(x: float, y: float, width: float, height: float, text: str, *, align: str = "L") -> None:
        pdf.set_xy(MARGIN_MM + x, y)
        pdf.cell(width, height, text, align=align)

    y = paper.y_mm + 1.0
    pdf.set_text_color(SOFT)
    pdf.set_font("DejaVu", "B", 7.5)
    for state, words in enumerate(_STATES):
        write(named + 3 * wide * state, y, 3 * wide, 4.5, words, align="C")
    write(_NUMBER_MM, y + 4.5, _NAME_MM, 4.5, "measure")
    write(_NUMBER_MM + _NAME_MM, y + 4.5, _FILE_MM, 4.5, "in file")
    for box in range(3 * len(_STATES)):
        write(named + wide * box, y + 4.5, wide, 4.5, f"piece {box % 3 + 1}", align="C")
    pdf.set_text_color(INK)
    pdf.set_font("DejaVu", "", 8)
    pdf.set_draw_color(RULE)
    top = y + 9.5
    rows = measures()
    for number, one in enumerate(rows):
        y = top + _ROW_MM * number
        write(0.0, y, _NUMBER_MM, _ROW_MM, str(number + 1))
        write(_NUMBER_MM, y, _NAME_MM, _ROW_MM, one.name)
        write(_NUMBER_MM + _NAME_MM, y, _FILE_MM, _ROW_MM, f"{one.meant_mm:.1f}")
    bottom = top + _ROW_MM * len(rows)
    for number in range(len(rows) + 1):
        y = top + _ROW_MM * number
        pdf.set_line_width(0.15)
        pdf.line(MARGIN_MM, y, MARGIN_MM + FIELD_MM, y)
    for box in range(3 * len(_STATES) + 1):
        x = MARGIN_MM + named + wide * box
        pdf.set_line_width(0.5 if box % 3 == 0 else 0.15)
        pdf.line(x, top, x, bottom)
    paper.move_to(bottom + 3.0)


def _drawing(paper: Paper) -> None:
    """Draw the piece at its size, numbered as in the tables, with a bar to check the printer by."""
    design = piece_design()
    x0, y0, x1, y1 = design.bounds_mm
    paper.heading("At its size (print at 100 %, not fitted to the page)")
    top = paper.y_mm + 5.0
    left = MARGIN_MM + (FIELD_MM - (x1 - x0)) / 2
    pdf = paper.pdf

    def at(x: float, y: float) -> tuple[float, float]:
        return left + x - x0, top + y1 - y

    pdf.set_draw_color(RULE)
    pdf.set_line_width(0.1)
    places = design.penetrations
    for number in range(1, len(places)):
        if design.joined[number]:
            pdf.line(*at(*places[number - 1]), *at(*places[number]))
    pdf.set_draw_color(INK)
    pdf.set_line_width(0.25)
    for x, y in crosses_mm().tolist():
        px, py = at(x, y)
        pdf.line(px - 1.5, py, px + 1.5, py)
        pdf.line(px, py - 1.5, px, py + 1.5)
    pdf.set_text_color(INK)
    pdf.set_font("DejaVu", "B", 8)
    for number, one in enumerate(measures(), 1):
        (ax, ay), (bx, by) = at(*one.start), at(*one.end)
        mx, my = (ax + bx) / 2, (ay + by) / 2
        if one.kind in ("sewn", "marks"):
            pdf.line(ax, ay, bx, by)
            my += 2.6 if one.start[1] < 0 else -2.4
        elif one.kind == "gap":
            mx += -4.0 if one.start[0] < 0 else 4.0
            my += 4.0
        elif one.start[0] > 30:
            mx += 12.5
        else:
            my += 12.5
        pdf.set_fill_color(255)
        pdf.set_xy(mx - 3.0, my - 1.9)
        pdf.cell(6.0, 3.8, str(number), align="C", fill=one.kind == "sewn")
    paper.move_to(top + (y1 - y0) + 7.0)
    y = paper.y_mm + 2.0
    pdf.set_line_width(0.3)
    pdf.line(MARGIN_MM, y, MARGIN_MM + _BAR_MM, y)
    for step in range(11):
        x = MARGIN_MM + step * _BAR_MM / 10
        pdf.line(x, y - (2.0 if step % 5 == 0 else 1.0), x, y)
    pdf.set_font("DejaVu", "", 8)
    pdf.set_text_color(SOFT)
    pdf.set_xy(MARGIN_MM + _BAR_MM + 2.0, y - 3.0)
    pdf.cell(70.0, 4.0, "100.0 mm: measure it before you use the drawing")
    pdf.set_text_color(INK)
    paper.move_to(y + 3.0)
