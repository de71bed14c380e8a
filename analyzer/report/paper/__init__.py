"""From a check to paper: the risk report, the sewing sheet, the note to whoever digitized the file.

This room computes nothing. Numbers come through the same words as the screen's.
"""

from __future__ import annotations

from analyzer.pipeline import Checked
from analyzer.report.paper.note import add_digitizer_note, asked, digitizer_note, spelling_proof
from analyzer.report.paper.pages import Paper
from analyzer.report.paper.risk import add_risk_report, risk_report
from analyzer.report.paper.sheet import add_sewing_sheet, foot_line, head_line, sewing_sheet
from analyzer.report.paper.types import Occasion, Piece

__all__ = [
    "Occasion",
    "Paper",
    "Piece",
    "check_report",
    "digitizer_note",
    "risk_report",
    "sewing_sheet",
    "spelling_proof",
]


def check_report(checked: Checked, units: str = "mm") -> bytes:
    """Return one check on paper: the risk report, the sewing sheet and, where there is one, the note."""
    piece = Piece(checked)
    paper = Paper(
        f"{piece.called}: risk report and sewing sheet",
        head=head_line(piece, None, "risk report"),
        foot=foot_line(checked),
        subject=f"{checked.design.name} sha256 {checked.design.sha256}",
    )
    add_risk_report(paper, [piece], None, units=units)
    paper.new_page(head=head_line(piece, None, "sewing sheet"))
    add_sewing_sheet(paper, piece, units)
    if asked(piece):
        paper.new_page(head=head_line(piece, None, "note to the digitizer"))
        add_digitizer_note(paper, piece, units)
    return paper.bytes()
