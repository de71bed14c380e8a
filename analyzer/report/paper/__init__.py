"""From a check to paper: the risk report, the sewing sheet, the note to whoever digitized the file.

This room computes nothing. Numbers come through the same words as the screen's.
"""

from __future__ import annotations

from analyzer.report.paper.pages import Paper
from analyzer.report.paper.sheet import sewing_sheet
from analyzer.report.paper.types import Occasion, Piece

__all__ = ["Occasion", "Paper", "Piece", "sewing_sheet"]
