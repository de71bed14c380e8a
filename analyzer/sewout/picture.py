"""Predicted against measured, before and after learning: as lines of text and as a drawing."""

from __future__ import annotations

import io
from collections.abc import Sequence

from analyzer.sewout.teaching import Line

_INK, _SOFT = "#1a1a1a", "#6b6b6b"


def change_of(line: Line, meant_mm: float) -> tuple[float, float, float | None]:
    """Return how far a measure is predicted to differ from the file, before and after, and did, mm."""
    read = None if line.read_mm is None else line.read_mm - meant_mm
    return line.before[0] - meant_mm, line.after[0] - meant_mm, read


def drawing(lines: Sequence[tuple[Line, float]], form: str, units: str = "mm") -> bytes:
    """Draw ``lines`` with what the file has of each, mm, as "svg" or "png"; the same bytes every time.

    Lengths stand in ``units``, "mm" or "in".
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    scale = 25.4 if units == "in" else 1.0
    with mpl.rc_context({"svg.hashsalt": "prehoop", "font.family": "DejaVu Sans", "font.size": 8}):
        figure = Figure(figsize=(7.2, 1.2 + 0.3 * max(1, len(lines))), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        for row, (line, meant) in enumerate(lines):
            for offset, (middle, low, high), colour, marker in (
                (-0.17, line.before, _SOFT, "o"),
                (0.17, line.after, _INK, "s"),
            ):
                axes.plot(
                    [(low - meant) / scale, (high - meant) / scale],
                    [row + offset] * 2,
                    color=colour,
                    linewidth=1.6,
                )
                axes.plot([(middle - meant) / scale], [row + offset], marker, color=colour, markersize=4)
            if line.read_mm is not None:
                axes.plot(
                    [(line.read_mm - meant) / scale], [row], "x", color="#9a4a00", markersize=7, mew=1.8
                )
        axes.set_yticks(range(len(lines)))
        axes.set_yticklabels([f"{line.record}  {line.name}{' (odd)' * line.odd}" for line, _ in lines])
        axes.invert_yaxis()
        axes.axvline(0.0, color=_SOFT, linewidth=0.6)
        axes.set_xlabel(f"sewn minus file, {units}")
        axes.set_title(
            "round: predicted before   square: predicted after   cross: measured   lines: 5-95 %", fontsize=8
        )
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=150, metadata={"Date": None} if form == "svg" else None)
    return out.getvalue()
