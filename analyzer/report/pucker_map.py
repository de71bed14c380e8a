"""The cloth map of pucker: how much cloth is drawn together where, and where waves are likeliest to stand."""

from __future__ import annotations

from typing import Any

import numpy as np

from analyzer.findings import chance_words
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked, OnGoods
from analyzer.report.canvas import Form, Sheet
from analyzer.report.predicted import beyond_words
from analyzer.report.scales import amounts
from analyzer.report.words import Units, goods_phrase, layers_in_words

_PALE = "#b4b4b4"
_LEAST_SHOWN_PERCENT = 1.0  #: end of the scale, at least


def pucker_map(checked: Checked, on: OnGoods, form: Form) -> bytes:
    """Draw the contraction of the cloth in the hoop, and where it is likeliest to ripple out of it.

    Where the cloth distorts beyond what can be computed there is no amount.
    """
    title = f"Pucker: {checked.design.name} {goods_phrase(on.setup.cloth, short=True)}"
    behind = f"Behind it: {layers_in_words(on.stack.backings)}."
    if on.response.pull_in.beyond_range:
        sheet = Sheet(checked, title, f"{behind} {beyond_words(on)}")
        sheet.frame(on.setup.hoop)
        _stitches(sheet, _PALE, 1.0)
        return sheet.render(form)
    told, pucker = Units(), on.findings.pucker
    allowed = (on.setup.limits or constants("limits"))["pucker_mm"].value
    sheet = Sheet(
        checked,
        title,
        f"{behind} How much the cloth is drawn together (estimate); beside the stitching it must go"
        " somewhere when the hoop comes off. Ring: waves are likeliest here,"
        f" {told.bare(pucker.amplitude_mm)} mm high (5-95 %: {told.bare(pucker.low_mm)} to"
        f" {told.bare(pucker.high_mm)}). Higher than {told.bare(allowed)} mm: {chance_words(pucker.chance)}.",
    )
    sheet.frame(on.setup.hoop)
    percent = 100.0 * on.response.strain
    top = max(float(np.quantile(percent, 0.999)), _LEAST_SHOWN_PERCENT)
    image = sheet.axes.imshow(
        percent,
        origin="lower",
        extent=on.response.grid.extent_mm,
        cmap=amounts(),
        vmin=0.0,
        vmax=top,
        interpolation="bilinear",
        zorder=1,
    )
    sheet.look()
    _stitches(sheet, "#202020", 0.35)
    ring: dict[str, Any] = {"marker": "o", "markersize": 22, "fillstyle": "none", "clip_on": True}
    sheet.axes.plot(*pucker.at, **ring, color="white", markeredgewidth=3.4, zorder=6)
    sheet.axes.plot(*pucker.at, **ring, color="black", markeredgewidth=1.6, zorder=7)
    sheet.scale(image, "cloth drawn together, %", over=float(percent.max(initial=0.0)) > top)
    return sheet.render(form)


def _stitches(sheet: Sheet, colour: str, share: float) -> None:
    """Draw the stitches as thin lines, ``share`` of a thread wide."""
    width = max(0.25, share * sheet.checked.cover.thread_width_mm * sheet.points_per_mm())
    sheet.stitches(sheet.segments(), colors=colour, linewidths=width, alpha=0.55, zorder=2)
