"""The rows of the screen's tables of what is measured and planned, as plain text; no layout here."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

from analyzer.cloth.types import Cover, RegionCover
from analyzer.design import Command
from analyzer.findings import chance_words
from analyzer.findings.types import Finding
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked, Sureness
from analyzer.plan.types import Plan
from analyzer.regions.types import Region, RegionKind
from analyzer.report import words
from analyzer.report.fill_in import colour_stitches
from analyzer.report.numbers import sound_text
from analyzer.report.words import Units

Table = tuple[tuple[str, ...], list[tuple[str, ...]], list[str]]

_HIDDEN = (RegionKind.UNDERLAY, RegionKind.TRAVEL, RegionKind.TIE)
_COLOURS_SHOWN = 8
_OF_COVER = ("thin-cover", "ground-shows", "hole-in-cover")  #: findings that the column of cover belongs to


def voids_in_words(cover: Cover, units: Units) -> str:
    """Return how many voids are wide enough to be seen, and how many of them are probably not meant."""
    smallest = constants("limits")["hole_radius_mm"].value
    voids = [void for void in cover.voids if void.radius_mm >= smallest]
    accidental = sum(not void.meant for void in voids)
    meaning = f", {accidental} of them probably not meant" if accidental else ""
    return f"{words.counted(len(voids), 'void')} wider than {units.length(2 * smallest)}{meaning}"


def file_rows(checked: Checked, units: Units) -> list[tuple[str, str]]:
    """Return what is in the file: size, stitches, colours, thread, time, and what reading remarked."""
    design, use = checked.design, checked.use
    size = units.pair(*design.size_mm)
    marks = [
        words.counted(design.count(Command.TRIM), "trim"),
        words.counted(design.count(Command.JUMP), "jump"),
        words.counted(design.count(Command.STOP), "stop"),
    ]
    cover = checked.cover
    density = float(cover.density.values.max()) if cover.density.values.size else 0.0
    rows = [
        ("Size", f"{size}, {design.format}; places below are x, y in {units.plural} from its middle"),
        ("Stitches", f"{design.stitches:,} ({', '.join(marks)})"),
        ("Colours", _colours(checked)),
        (
            "Thread, time",
            f"{use.thread_m:.1f} m upper, {use.bobbin_m:.1f} m bobbin; {_minutes(use.minutes)}",
        ),
        (
            "Cover",
            f"{cover.coverage:.0%} of {cover.stitched_mm2:,.0f} mm2 stitched lies under thread"
            f" ({ordinary_cover(cover)}); at its densest {density:.1f} mm of thread per mm2;"
            f" {voids_in_words(cover, units)}",
        ),
    ]
    if design.damaged:
        rows.append(("Damaged", sound_text(design.damaged)))
    rows += [("Note", sound_text(note)) for note in design.notes]
    return rows


def ordinary_cover(cover: Cover) -> str:
    """Return how thread was taken to lie, and what an ordinary fill then covers, for comparison."""
    spacing = constants("report")["ordinary_rows_mm"].value
    share = min(1.0, cover.thread_width_mm / spacing)
    return f"taken {cover.thread_width_mm:.1f} mm wide; a fill of rows {spacing:.1f} mm apart: {share:.0%}"


def _minutes(minutes: float) -> str:
    return f"about {minutes:.0f} min" if minutes >= 1.0 else "under a minute"


def _colours(checked: Checked) -> str:
    threads, counts = checked.design.threads, colour_stitches(checked.design)
    if all(thread.rgb is None and thread.name is None for thread in threads):
        return f"{words.counted(len(threads), 'block')}, no colours in the file"
    parts = [
        f"{sound_text(thread.name or thread.rgb or 'not named')} ({count:,})"
        for thread, count in zip(threads, counts, strict=True)
    ]
    more = len(parts) - _COLOURS_SHOWN
    return "; ".join(parts[:_COLOURS_SHOWN]) + (f"; and {more} more" if more > 0 else "")


def region_table(checked: Checked, units: Units, findings: Iterable[Finding] = ()) -> Table:
    """Return head, rows and remarks of the regions: one row each, or one a kind where there are many.

    How much each covers is shown where one of ``findings`` is about it.
    """
    covering = any(item.name in _OF_COVER for item in findings)
    items, measured = checked.regions.items, checked.cover.regions
    seen = [i for i, region in enumerate(items) if region.kind not in _HIDDEN]
    hidden = [i for i, region in enumerate(items) if region.kind in _HIDDEN]
    tail = (
        "stitches",
        "rows\napart",
        "stitch\nlength",
        "width",
        "thread\nmm/mm2",
        "needle\n/mm2",
        *(("cover",) if covering else ()),
        "most\nlayers",
    )
    remark = []
    if hidden:
        kinds = [items[i].kind.value for i in hidden]
        told = ", ".join(words.counted(kinds.count(kind), kind) for kind in dict.fromkeys(kinds))
        remark.append(f"Not listed: {told}.")
    if len(seen) > constants("report")["groups_from"].value:
        rows = [
            (
                words.counted(len(members), items[members[0]].kind.value),
                _colours_of([items[i] for i in members]),
                *_region_cells([items[i] for i in members], [measured[i] for i in members], units, covering),
            )
            for members in _groups(items, seen)
        ]
        extremes = "cover and layers are the extremes" if covering else "layers are the most"
        remark.insert(0, f"Medians over each kind and colour; {extremes}.")
    else:
        rows = [
            (
                f"{items[i].kind.value} {items[i].id}",
                str(items[i].colour + 1),
                *_region_cells([items[i]], [measured[i]], units, covering),
            )
            for i in seen
        ]
    return ("region", "colour", *tail), rows, remark


def _groups(items: Sequence[Region], seen: Sequence[int]) -> list[list[int]]:
    """Return the regions ``seen`` by kind and colour; by kind alone where that would be many groups too."""
    groups: dict[tuple[RegionKind, int | None], list[int]] = {}
    for i in seen:
        groups.setdefault((items[i].kind, items[i].colour), []).append(i)
    if len(groups) > constants("report")["groups_from"].value:
        groups = {}
        for i in seen:
            groups.setdefault((items[i].kind, None), []).append(i)
    return list(groups.values())


def _colours_of(regions: Sequence[Region]) -> str:
    colours = sorted({region.colour + 1 for region in regions})
    return str(colours[0]) if len(colours) == 1 else f"{len(colours)} colours"


def _region_cells(
    regions: Sequence[Region], measured: Sequence[RegionCover], units: Units, covering: bool
) -> tuple[str, ...]:
    def middle(values: Sequence[float | None]) -> str:
        known = [value for value in values if value is not None]
        return units.bare(statistics.median(known)) if known else "-"

    return (
        f"{sum(region.stitches for region in regions):,}",
        middle([region.row_spacing_mm for region in regions]),
        middle([region.stitch_length_mm for region in regions]),
        middle([region.width_mm for region in regions]),
        f"{statistics.median(cover.thread_mm_per_mm2 for cover in measured):.1f}",
        f"{statistics.median(cover.penetrations_per_mm2 for cover in measured):.1f}",
        *((f"{min(cover.coverage for cover in measured):.0%}",) if covering else ()),
        str(max(cover.layers_max for cover in measured)),
    )


def finding_facts(item: Finding, units: Units) -> str:
    """Return a finding's measure, limit, chance and place in one line."""
    parts = []
    if item.measured is not None:
        parts.append(words.measure(item.measured, item.unit, units))
        if item.limit is not None:
            parts[-1] += f", limit {words.measure(item.limit, item.unit, units)}"
    if item.chance is not None:
        parts.append(chance_words(item.chance))
    if item.at is not None:
        parts.append(f"at {units.point(item.at)}")
    if item.regions:
        numbers = ", ".join(str(i) for i in item.regions[:6]) + (" …" if len(item.regions) > 6 else "")
        parts.append(f"region{'s' if len(item.regions) > 1 else ''} {numbers}")
    return "; ".join(parts)


def plan_rows(plan: Plan, units: Units) -> list[tuple[str, str]]:
    """Return holding, hoop, needle and speed; backing and topping stand in the answer."""
    held = f"{plan.holding}, sewing field {units.pair(*plan.hoop_mm)}"
    return [("Set up", f"{held}; needle {plan.needle}; {plan.speed_spm:.0f} stitches a minute")]


def sureness_lines(sureness: Sureness) -> list[str]:
    """Return how far the predictions may be trusted."""
    if not sureness.mostly_from:
        return [sureness.says] if sureness.says else []
    if sureness.calibrated:
        basis = f"Calibrated by {words.counted(sureness.from_sewouts, 'sew-out')}."
    else:
        basis = "Uncalibrated estimates."
    known = f"The least known value that matters is {sureness.known}."
    if sureness.known == "guess":
        known = "The least known value that matters is a guess."
    if sureness.mostly_from:
        named = ", ".join(words.PARAMETERS.get(name, name) for name in sureness.mostly_from)
        known += f" The ranges come mostly from {named}."
    return [basis + " " + known, *([sureness.says] if sureness.says else [])]
