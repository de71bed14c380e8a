"""The rows of the screen's tables of what is predicted, as plain text; no layout here.

Where the cloth strains beyond what the model holds for, the numbers stay in the JSON and the screen says
so in words.
"""

from __future__ import annotations

from analyzer.findings import chance_words
from analyzer.findings.types import GapVerdict
from analyzer.goods.constants import constants
from analyzer.mechanics.types import Response
from analyzer.pipeline import OnGoods
from analyzer.regions.types import Regions
from analyzer.report.fill_in import gaps_by_trouble, meant_mm, worst_gap
from analyzer.report.tables import Table
from analyzer.report.words import Units, layers_in_words

BEYOND = "It will distort badly, more than can be computed."


def movement_rows(judged: OnGoods, units: Units) -> list[tuple[str, str]]:
    """Return where and how far the cloth moves, on these goods with this stack."""
    pull, pucker = judged.response.pull_in, judged.findings.pucker
    if pull.beyond_range:
        return [("All over", BEYOND), ("Pucker", f"{chance_words(pucker.chance)}")]
    across = _across(pull.across_mm, units)
    return [
        (
            "Pull-in",
            f"the stitched area shortens by {units.length(pull.along_mm)} along its stitches and {across}"
            " across them",
        ),
        (
            "Most drift",
            f"{units.length(pull.visible_mm)} at {units.point(pull.at)}: what was sewn there early has moved"
            " so far by the end",
        ),
        ("Reach", f"the cloth is still disturbed {units.length(pull.reach_mm)} away from the stitching"),
        (
            "Pucker",
            f"{chance_words(pucker.chance)}; a wave of {units.length(pucker.amplitude_mm)} at "
            f"{units.point(pucker.at)} (5-95 %: {units.bare(pucker.low_mm)} to "
            f"{units.length(pucker.high_mm)})",
        ),
    ]


def _across(narrowing_mm: float, units: Units) -> str:
    """Return what happens to the width across the stitches."""
    amount = units.length(abs(narrowing_mm))
    if amount == units.length(0.0):
        return "keeps its width"
    return f"{'narrows' if narrowing_mm > 0 else 'spreads'} by {amount}"


def gap_table(judged: OnGoods, regions: Regions, units: Units) -> Table:
    """Return head, rows and remarks of the gaps, likeliest trouble first."""
    gaps = gaps_by_trouble(judged)
    if not gaps:
        return (), [], ["No outline follows another region's edge, so there is no gap to predict."]
    shown = gaps[: int(constants("report")["groups_from"].value)]
    kinds = {region.id: region.kind.value for region in regions.items}
    rows = [_gap_row(gap, judged.response, kinds, units) for gap in shown]
    tolerance = units.length(judged.findings.tolerance_mm)
    remark = [
        "In file: the gap that the file itself leaves at that place. Over: length of outline beyond the"
        f" limit. Bare, overlap: how likely each passes its limit (bare cloth: {tolerance} unless a finding"
        " says other)."
    ]
    if judged.response.pull_in.beyond_range:
        remark.insert(0, BEYOND)
    if len(gaps) > len(shown):
        remark.append(f"And {len(gaps) - len(shown)} more outlines, none likelier to miss than these.")
    head = ("outline", "borders", "in file", f"sewn {units.name}", "5-95 %", "over", "bare", "overlap")
    return head, rows, remark


def _gap_row(gap: GapVerdict, response: Response, kinds: dict[int, str], units: Units) -> tuple[str, ...]:
    meant = meant_mm(gap, response)
    sewn = units.bare(gap.worst_mm, signed=True), _range(gap, units), units.bare(gap.over_limit_mm_of_length)
    return (
        f"{kinds.get(gap.outline, '')} {gap.outline}",
        f"{kinds.get(gap.borders, '')} {gap.borders}",
        "-" if meant is None else units.bare(meant, signed=True),
        *(("-", "-", "-") if response.pull_in.beyond_range else sewn),
        chance_words(gap.chance_bare).replace("very ", "very\n"),
        chance_words(gap.chance_overlap).replace("very ", "very\n"),
    )


def _range(gap: GapVerdict, units: Units) -> str:
    return f"{units.bare(gap.low_mm, signed=True)} to {units.bare(gap.high_mm, signed=True)}"


def comparison_table(lines: tuple[OnGoods, ...], units: Units) -> Table:
    """Return head, rows and remarks of the comparison of goods, each with what is behind it."""
    rows = [_comparison_row(one, units) for one in lines]
    remark = []
    if any(one.response.pull_in.beyond_range for one in lines):
        remark.append(f"beyond: {BEYOND[0].lower()}{BEYOND[1:]}")
    head = (
        "goods",
        "behind it",
        f"drift\n{units.name}",
        f"worst gap\n{units.name}",
        "5-95 %",
        "misses\na limit",
    )
    return head, rows, remark


def _comparison_row(one: OnGoods, units: Units) -> tuple[str, ...]:
    start = one.setup.cloth.name, layers_in_words(one.stack.backings)
    end = chance_words(one.findings.chance_of_missing).replace("very ", "very\n")
    if one.response.pull_in.beyond_range:
        return (*start, "beyond", "-", "-", end)
    drift, gap = units.bare(one.response.pull_in.visible_mm), worst_gap(one)
    if gap is None:
        return (*start, drift, "none", "-", end)
    return (*start, drift, units.bare(gap.worst_mm, signed=True), _range(gap, units), end)
