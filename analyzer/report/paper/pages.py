"""The page that everything on paper is laid out on: words, tables, boxes to tick, lines to write on.

Pages are A4. What stands on them fits Letter too: the printed field is what both have in common. Nothing
depends on the clock, so the same content gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, Literal

from fpdf import FPDF
from fpdf.enums import Align, TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace

from analyzer import __version__
from analyzer.report.paper.letters import FONTS, printable

#: A4 210 x 297, US Letter 215.9 x 279.4 mm (ISO 216; ANSI Y14.1)
WIDTH_MM, LETTER_HEIGHT_MM = 210.0, 279.4
MARGIN_MM = 14.0
TOP_MM = 12.0
FOOT_MM = LETTER_HEIGHT_MM - 10.0  #: lowest that anything is printed
FIELD_MM = WIDTH_MM - 2 * MARGIN_MM
INK, SOFT, RULE = 20, 85, 150  #: tones of grey, 0 black to 255 white; words are never lighter than SOFT
FAMILY = "DejaVu"
LINE_MM_PER_PT = 0.42  #: height of a line over the size of its letters
_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)

Side = Literal["left", "right", "centre"]
_SIDES = {"left": Align.L, "right": Align.R, "centre": Align.C}


class _Leaf(FPDF):
    """An A4 page with a head line and a foot line."""

    def __init__(self, head: str, foot: str) -> None:
        super().__init__(orientation="portrait", unit="mm", format="A4")
        self.head, self.foot_text = head, foot

    def header(self) -> None:
        self.set_xy(MARGIN_MM, TOP_MM - 5)
        self.set_font(FAMILY, "", 7)
        self.set_text_color(SOFT)
        self.cell(FIELD_MM * 0.8, 4, self.head)
        self.cell(FIELD_MM * 0.2, 4, f"page {self.page_no()} of {{nb}}", align=Align.R)
        self.set_draw_color(RULE)
        self.set_line_width(0.2)
        self.line(MARGIN_MM, TOP_MM, WIDTH_MM - MARGIN_MM, TOP_MM)
        self.set_text_color(INK)
        self.set_xy(MARGIN_MM, TOP_MM + 2.5)

    def footer(self) -> None:
        self.set_xy(MARGIN_MM, FOOT_MM - 3.5)
        self.set_font(FAMILY, "", 6)
        self.set_text_color(SOFT)
        self.cell(FIELD_MM, 3.5, self.foot_text)
        self.set_text_color(INK)


class Paper:
    """Pages in the making."""

    def __init__(self, title: str, *, head: str, foot: str = "", subject: str = "") -> None:
        """Begin with one page. ``head`` and ``foot`` stand on every page, with its number and the version."""
        self.pdf = _Leaf(printable(head), _foot(foot))
        for style, file in FONTS.items():
            self.pdf.add_font(FAMILY, style, file)
        self.pdf.set_text_shaping(True)
        self.pdf.set_creation_date(_EPOCH)
        self.pdf.set_title(printable(title))
        self.pdf.set_subject(printable(subject))
        self.pdf.set_lang("en")
        self.pdf.set_producer(f"prehoop {__version__}")
        self.pdf.set_margins(MARGIN_MM, TOP_MM + 2.5, MARGIN_MM)
        self.pdf.set_auto_page_break(True, margin=297.0 - FOOT_MM + 5.0)
        self.pdf.add_page()
        self.pdf.set_text_color(INK)

    @property
    def y_mm(self) -> float:
        """How far down the page the next thing begins."""
        return float(self.pdf.get_y())

    @property
    def left_mm(self) -> float:
        """Height that is left on this page."""
        return FOOT_MM - 5.0 - self.y_mm

    def move_to(self, y_mm: float) -> None:
        """Go on at ``y_mm`` from the top of the page."""
        self.pdf.set_xy(self.pdf.l_margin, y_mm)

    def new_page(self, head: str | None = None, foot: str | None = None) -> None:
        """Begin another page, from here on with another head or foot where one is given."""
        if head is not None:
            self.pdf.head = printable(head)
        self.pdf.add_page()  # prints the foot of the page that ends
        if foot is not None:
            self.pdf.foot_text = _foot(foot)

    def need(self, height_mm: float) -> None:
        """Begin another page unless so much height is left on this one."""
        if self.left_mm < height_mm:
            self.new_page()

    def space(self, height_mm: float) -> None:
        """Leave some height empty."""
        self.move_to(self.y_mm + height_mm)

    def title(self, text: str, size_pt: float = 17.0) -> None:
        """Write the title of the page."""
        self._text(text, size_pt, bold=True)
        self.space(1.0)

    def heading(self, text: str) -> None:
        """Begin a part; at the foot of a page it goes to the next one with what follows."""
        self.need(16.0)
        self.space(2.0)
        self._text(text, 10.5, bold=True)
        self.space(0.5)

    def paragraph(self, text: str, size_pt: float = 9.0, *, bold: bool = False, soft: bool = False) -> None:
        """Write a paragraph over the whole width."""
        self._text(text, size_pt, bold=bold, soft=soft)
        self.space(0.8)

    def _text(self, text: str, size_pt: float, *, bold: bool = False, soft: bool = False) -> None:
        self._font(size_pt, bold=bold, soft=soft)
        self.pdf.multi_cell(
            0, size_pt * LINE_MM_PER_PT, printable(text), align=Align.L, new_x=XPos.LMARGIN, new_y=YPos.NEXT
        )
        self.pdf.set_text_color(INK)

    def _font(self, size_pt: float, *, bold: bool = False, soft: bool = False) -> None:
        self.pdf.set_font(FAMILY, "B" if bold else "", size_pt)
        self.pdf.set_text_color(SOFT if soft else INK)

    def items(self, texts: Iterable[str], size_pt: float = 8.5, *, ticked: bool = False) -> None:
        """Write a list, each item behind a dash or, ``ticked``, behind a box to tick."""
        for text in texts:
            self._font(size_pt)
            line_mm = size_pt * LINE_MM_PER_PT
            inset = 5.5 if ticked else 3.5
            self.need(self._height(text, line_mm, self.pdf.epw - inset))
            x, y = self.pdf.l_margin, self.y_mm
            if ticked:
                self.box(x + 0.5, y + 0.5, line_mm - 1.0)
            else:
                self.pdf.set_xy(x, y)
                self.pdf.cell(inset, line_mm, "-")
            self.pdf.set_xy(x + inset, y)
            self.pdf.multi_cell(
                self.pdf.epw - inset, line_mm, printable(text), align=Align.L,
                new_x=XPos.LMARGIN, new_y=YPos.NEXT,
            )  # fmt: skip
            self.space(0.4)

    def height_of_items(self, texts: Iterable[str], size_pt: float, width_mm: float) -> float:
        """Return how high a list in a column of ``width_mm`` would be, mm, with a heading over it."""
        self._font(size_pt)
        line_mm = size_pt * LINE_MM_PER_PT
        return sum(self._height(text, line_mm, width_mm - 5.5) + 0.4 for text in texts) + 9.0

    def _height(self, text: str, line_mm: float, width_mm: float) -> float:
        """Return how high a paragraph in the present font would be, mm."""
        lines: Any = self.pdf.multi_cell(
            width_mm, line_mm, printable(text), align=Align.L, dry_run=True, output="LINES"
        )
        return line_mm * len(lines)

    def box(self, x_mm: float, y_mm: float, side_mm: float = 3.2) -> None:
        """Draw a box to tick."""
        self.pdf.set_draw_color(INK)
        self.pdf.set_line_width(0.25)
        self.pdf.rect(x_mm, y_mm, side_mm, side_mm)

    def choices(self, texts: Sequence[str], size_pt: float = 9.0) -> None:
        """Write boxes to tick side by side."""
        self.need(6.0)
        x = self.pdf.l_margin
        for text in texts:
            self._font(size_pt)
            wide = float(self.pdf.get_string_width(printable(text))) + 6.0
            if x > self.pdf.l_margin and x + wide > self.pdf.l_margin + self.pdf.epw:
                self.space(5.5)
                x = self.pdf.l_margin
            y = self.y_mm
            self.box(x + 0.3, y + 0.8)
            self.pdf.set_xy(x + 4.5, y)
            self.pdf.cell(wide - 4.0, 4.8, printable(text))
            self.move_to(y)
            x += wide + 4.0
        self.space(6.0)

    def lines_to_fill(self, labels: Sequence[str], size_pt: float = 8.0) -> None:
        """Write labels side by side, each before a line to write on."""
        self.need(11.0)
        wide = self.pdf.epw / len(labels)
        y = self.y_mm + 5.5
        for number, label in enumerate(labels):
            x = self.pdf.l_margin + number * wide
            self._font(size_pt, soft=True)
            self.pdf.set_xy(x, y - 3.5)
            said = float(self.pdf.get_string_width(printable(label))) + 2.0
            self.pdf.cell(said, 4.0, printable(label))
            self.pdf.set_draw_color(SOFT)
            self.pdf.set_line_width(0.2)
            self.pdf.line(x + said, y, x + wide - 4.0, y)
        self.pdf.set_text_color(INK)
        self.move_to(y + 2.0)

    def table(
        self,
        head: Sequence[str],
        rows: Iterable[Sequence[str]],
        *,
        widths: Sequence[float],
        sides: Sequence[Side] | None = None,
        size_pt: float = 8.0,
        bold_first: bool = False,
    ) -> None:
        """Write a table that may run over pages and repeats its head there.

        ``widths`` are shares of the width; ``sides`` say how each column is set.
        """
        self._font(size_pt)
        self.pdf.set_draw_color(RULE)
        self.pdf.set_line_width(0.15)
        with self.pdf.table(
            col_widths=tuple(widths),
            text_align=tuple(_SIDES[side] for side in sides or ("left",) * len(widths)),
            line_height=size_pt * LINE_MM_PER_PT,
            padding=(0.5, 1.0),
            headings_style=FontFace(family=FAMILY, emphasis="BOLD", size_pt=size_pt - 0.5, color=SOFT),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            first_row_as_headings=bool(head),
            align=Align.L,
            width=self.pdf.epw,
        ) as table:
            for cells in (*([head] if head else ()), *rows):
                row = table.row()
                for number, cell in enumerate(cells):
                    strong = bold_first and number == 0
                    style = FontFace(family=FAMILY, emphasis="BOLD", size_pt=size_pt) if strong else None
                    row.cell(printable(cell), style=style)
        self.space(1.2)

    @contextmanager
    def column(self, x_mm: float, width_mm: float) -> Iterator[None]:
        """Write into a column of the page that begins ``x_mm`` from the left of the field."""
        left, right = self.pdf.l_margin, self.pdf.r_margin
        y = self.y_mm
        self.pdf.set_left_margin(MARGIN_MM + x_mm)
        self.pdf.set_right_margin(WIDTH_MM - MARGIN_MM - x_mm - width_mm)
        self.move_to(y)
        try:
            yield
        finally:
            self.pdf.set_left_margin(left)
            self.pdf.set_right_margin(right)
            self.move_to(self.y_mm)

    def framed(self, text: str, size_pt: float = 11.0, *, within_mm: float | None = None) -> None:
        """Write a few words in a strong frame, at the right end of the present line of writing."""
        self._font(size_pt, bold=True)
        said = printable(text)
        wide = float(self.pdf.get_string_width(said)) + 6.0
        right = self.pdf.l_margin + (within_mm or self.pdf.epw)
        y = self.y_mm
        self.pdf.set_draw_color(INK)
        self.pdf.set_line_width(0.6)
        self.pdf.rect(right - wide, y, wide, size_pt * 0.62)
        self.pdf.set_xy(right - wide, y)
        self.pdf.cell(wide, size_pt * 0.62, said, align=Align.C)
        self.move_to(y)

    def bytes(self) -> bytes:
        """Return the finished PDF."""
        return bytes(self.pdf.output())


def _foot(text: str) -> str:
    return f"{printable(text)}  ·  prehoop {__version__}" if text else f"prehoop {__version__}"
