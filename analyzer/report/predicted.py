"""The rows of the screen's tables of what is predicted, as plain text; no layout here.

Where the cloth strains beyond what the model holds for, the numbers stay in the JSON and the screen says
so in words.
"""

from __future__ import annotations

from dataclasses import replace

from analyzer.findings import RULES, chance_words
from analyzer.findings.types import Finding, GapVerdict
from analyzer.goods.constants import constants
from analyzer.pipeline import OnGoods
from analyzer.regions.types import RegionKind, Regions
from analyzer.report.fill_in import gaps_by_trouble, meant_mm, worst_gap
from analyzer.report.tables import Table
from analyzer.report.words import Units, layers_in_words

BEYOND = "It will distort badly, more than can be computed."
_BEYOND_NAME = "beyond-range"
RUN_GAP = "The gap of a run is counted from its middle line: its own thread covers half its width of it."
UNKNOWN = "How large it is, is more than can be computed."


def beyond_words(judged: OnGoods) -> str:
    """Return what is said of goods that distort beyond the model: the finding's own words if it is there."""
    said = (item.because for item in judged.findings.items if item.name == _BEYOND_NAME)
    return next(said, BEYOND)


def said_of(item: Finding, judged: OnGoods | None) -> Finding:
    """Return a finding as screens say it: predicted ones without numbers where none can be given."""
    if judged is None or not judged.response.pull_in.beyond_range:
        return item
    if item.name == _BEYOND_NAME:
        return replace(item, measured=None, limit=None)
    if item.name in RULES and RULES[item.name].needs == "response":
        return replace(item, measured=None, limit=None, chance=None, because=UNKNOWN, advice="")
    return item


def bare_cloth_allowed(judged: OnGoods, regions: Regions, units: Units) -> str:
    """Return the bare cloth allowed at outlines; both figures where thin outlines are allowed less."""
    setup, base = judged.setup, judged.findings.tolerance_mm
    limits = setup.limits or constants("limits")
    if setup.cloth.family == "none":
        return units.length(max(base, limits["gap_bare_lace_mm"].value))
    pile = setup.cloth.pile_mm
    piled = pile is not None and pile.value > limits["nap_mm"].value
    thin = limits["gap_bare_thin_mm"].value
    outlined = any(is_run(gap, regions) for gap in judged.findings.gaps)
    if setup.tolerance_given or piled or thin >= base or not outlined:
        return units.length(base)
    return f"{units.length(base)} ({units.length(thin)} at thin outlines)"


def movement_rows(judged: OnGoods, units: Units) -> list[tuple[str, str]]:
    """Return where and how far the cloth moves, on these goods with this stack."""
    pull, pucker = judged.response.pull_in, judged.findings.pucker
    if pull.beyond_range:
        return [("All over", beyond_words(judged))]
    across = _across(pull.across_mm, units)
    limits = judged.setup.limits or constants("limits")
    allowed = units.length(limits["pucker_mm"].value)
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
        *_rinsed_row(judged, units),
        ("Reach", f"the cloth is still disturbed {units.length(pull.reach_mm)} away from the stitching"),
        (
            "Pucker",
            f"waves higher than {allowed} are {chance_words(pucker.chance)}: expect "
            f"{units.length(pucker.amplitude_mm)} ({units.bare(pucker.low_mm)} to "
            f"{units.length(pucker.high_mm)}) at {units.point(pucker.at)}",
        ),
    ]


def _rinsed_row(judged: OnGoods, units: Units) -> list[tuple[str, str]]:
    """Return what lace does when its backing is rinsed away; nothing for goods that stay."""
    if judged.setup.cloth.family != "none":
        return []
    moves = judged.response.unhooped
    if moves is None:
        return [("Rinsed", "not computed: its threads do not hold together by themselves")]
    return [
        (
            "Rinsed",
            f"places shift by up to {units.length(moves.moved_mm)} against each other; it shortens by "
            f"{units.length(max(moves.along_mm, 0.0))} along its stitches and "
            f"{_across(moves.across_mm, units)} across them",
        )
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
    if judged.response.pull_in.beyond_range:
        return (), [], [f"{beyond_words(judged)} No gap can be given."]
    shown = gaps[: int(constants("report")["groups_from"].value)]
    kinds = {region.id: region.kind.value for region in regions.items}
    rows = [_gap_row(gap, judged, kinds, units) for gap in shown]
    remark = [
        "In file: what the file itself leaves at that place. Limit: of the side, bare cloth or overlap, that"
        " comes nearer to it. Over: length beyond it. Bare, overlap: how likely each passes its limit."
    ]
    if any(is_run(gap, regions) for gap in shown):
        remark.append(RUN_GAP)
    if any(_left_by_file(gap, judged) for gap in shown):
        remark.append(
            "As in file: the file itself leaves bare cloth there, and it will show; the chance is only of the"
            " cloth adding more than is allowed to it."
        )
    if len(gaps) > len(shown):
        remark.append(f"And {len(gaps) - len(shown)} more gaps, none likelier to miss than these.")
    head = ("region", "borders", "in\nfile", f"sewn\n{units.plural}", "5-95 %", "limit", "over", "bare",
            "overlap")  # fmt: skip
    return head, rows, remark


def is_run(gap: GapVerdict, regions: Regions) -> bool:
    """Say whether the outline of a gap is a run, whose gap is counted from its middle line."""
    return any(region.id == gap.outline and region.kind == RegionKind.RUN for region in regions.items)


def _gap_row(gap: GapVerdict, judged: OnGoods, kinds: dict[int, str], units: Units) -> tuple[str, ...]:
    meant = meant_mm(gap, judged.response)
    bare = chance_words(gap.chance_bare)
    if _left_by_file(gap, judged) and gap.chance_bare < constants("limits")["even_from"].value:
        bare = "as in file"
    return (
        f"{kinds.get(gap.outline, '')} {gap.outline}",
        f"{kinds.get(gap.borders, '')} {gap.borders}",
        "-" if meant is None else units.bare(meant, signed=True),
        units.bare(gap.worst_mm, signed=True),
        _range(gap, units),
        units.bare(gap.limit_mm, signed=True),
        units.bare(gap.over_limit_mm_of_length),
        _folded(bare),
        _folded(chance_words(gap.chance_overlap)),
    )


def _left_by_file(gap: GapVerdict, judged: OnGoods) -> bool:
    """Say whether the file leaves more bare cloth there than is allowed, so that the limit lies above that.

    The limit is then the gap of the file and the tolerance together.
    """
    allowed = judged.findings.tolerance_mm
    if judged.setup.cloth.family == "none":
        allowed = max(allowed, constants("limits")["gap_bare_lace_mm"].value)
    return gap.limit_mm > allowed + 1e-6


def _folded(chance: str) -> str:
    """Return words on two short lines where they are too long for a column."""
    return chance.replace("very ", "very\n").replace("as in ", "as in\n")


def _range(gap: GapVerdict, units: Units) -> str:
    return f"{units.bare(gap.low_mm, signed=True)} to {units.bare(gap.high_mm, signed=True)}"


def comparison_table(lines: tuple[OnGoods, ...], units: Units) -> Table:
    """Return head, rows and remarks of the comparison of goods, each with what is behind it."""
    rows = [_comparison_row(one, units) for one in lines]
    remark = []
    if any(one.response.pull_in.beyond_range for one in lines):
        remark.append(f"Beyond: {BEYOND[0].lower()}{BEYOND[1:]}")
    head = (
        "goods",
        "behind it",
        f"drift\n{units.plural}",
        f"worst gap\n{units.plural}",
        "5-95 %",
        "misses\na limit",
    )
    return head, rows, remark


def _comparison_row(one: OnGoods, units: Units) -> tuple[str, ...]:
    start = one.setup.cloth.name, layers_in_words(one.stack.backings)
    if one.response.pull_in.beyond_range:
        return (*start, "beyond", "-", "-", "-")
    end = _folded(chance_words(one.findings.chance_of_missing))
    drift, gap = units.bare(one.response.pull_in.visible_mm), worst_gap(one)
    if gap is None:
        return (*start, drift, "none", "-", end)
    return (*start, drift, units.bare(gap.worst_mm, signed=True), _range(gap, units), end)
