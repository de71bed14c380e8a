"""The printed sheet that goes with the test piece: 1:1, how to hoop it, what to measure where."""

from __future__ import annotations

from analyzer.report.paper.pages import FIELD_MM, INK, MARGIN_MM, RULE, SOFT, Paper
from analyzer.sewout.piece import crosses_mm, measures, piece_design

_BAR_MM = 100.0
_STATES = ("hooped", "released", "washed")
_HOW = (
    "Draw the four crosses on the cloth, 30 mm apart along the rows of the fill, with a fine pen that washes "
    "out. Use this drawing as a template only if the bar below measures 100.0 mm.",
    "Hoop cloth and backing as you always do, drum-flat and not stretched, the grain along the hoop, the "
    "design in the middle, the crosses just above and below the fill.",
    "Sew with the thread, needle, tension and speed of every day. Do not touch the hoop in between.",
    "Measure in the hoop, thread edge to thread edge, with a steel rule and a magnifier; widths and the "
    "fill at mid-length. Write to 0.1 mm what you see, not what you expect. A gap is bare cloth between the "
    "fill and the middle of the outline; write - where they overlap.",
    "Take it out of the hoop, let it lie flat for an hour, measure again. Wash and dry it as the goods will "
    "be, measure a third time. Only what was measured in the hoop teaches the prediction.",
    "Sew three pieces if you can. Record with: prehoop sewout add FILE --goods ... --backing ...",
)


def sheet_pdf() -> bytes:
    """Return the sheet as a PDF of one design and three tables; the same bytes every time."""
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
    for state in _STATES:
        paper.paragraph(
            {"hooped": "Hooped", "released": "Out of the hoop, an hour later", "washed": "Washed and dried"}[
                state
            ],
            bold=True,
        )
        paper.table(
            ("", "measure", "in the file", "piece 1", "piece 2", "piece 3"),
            [
                (str(number), one.name, f"{one.meant_mm:.1f}", "", "", "")
                for number, one in enumerate(measures(), 1)
            ],
            widths=(0.05, 0.32, 0.12, 0.17, 0.17, 0.17),
        )
    paper.paragraph(
        "Keep fingers away from the moving needle; stop the machine before reaching into the hoop. Follow "
        "the makers' instructions for pens, washing and pressing.",
        soft=True,
    )
    return paper.bytes()


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
