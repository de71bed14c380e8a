"""What the page says, in plain words; every number with its place in the JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analyzer.findings import chance_words
from analyzer.findings.types import Finding
from analyzer.goods.constants import constants
from analyzer.pipeline import Checked, OnGoods
from analyzer.report import predicted, tables, words
from analyzer.report.fill_in import gaps_by_trouble, meant_mm
from analyzer.report.html.shape import Sheet
from analyzer.report.numbers import sound_text
from analyzer.report.schema import Document
from analyzer.report.terminal import answer_rows, ranked
from analyzer.report.words import Units

_BIDI = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)), "\ufffd")
_MOST_ROWS = 60


def clean(text: str) -> str:
    """Return text of a file fit for a page: sound Unicode, no control marks, none that turn lines round."""
    seen = "".join(
        mark if mark >= " " and not "\x7f" <= mark <= "\x9f" else "\ufffd" for mark in sound_text(text)
    )
    return seen.translate(_BIDI).replace("\ufffe", "\ufffd").replace("\uffff", "\ufffd")


@dataclass(frozen=True, slots=True)
class Number:
    """A number as it is shown: ``of`` is its place in the JSON, ``kind`` how it was rounded."""

    of: str
    kind: str
    text: str


class Numbers:
    """Numbers of the JSON document as the page says them."""

    def __init__(self, document: Document, units: Units) -> None:
        self._document, self._units = document, units

    def _value(self, of: str) -> Any:
        value: Any = self._document
        for step in of.split("."):
            value = (
                value[int(step)] if step.isdigit() else getattr(value, "advice" if step == "try" else step)
            )
        return value

    def mm(self, of: str, *, unit: bool = True) -> Number:
        """Return a length with its unit, or without."""
        value = self._value(of)
        if value is None:
            return Number(of, "mm", "-")
        return Number(of, "mm", self._units.length(value) if unit else self._units.bare(value))

    def signed(self, of: str) -> Number:
        """Return a signed length without its unit."""
        return Number(of, "signed", self._units.bare(self._value(of), signed=True))

    def count(self, of: str) -> Number:
        """Return a whole number."""
        return Number(of, "count", f"{self._value(of):,}")

    def tenths(self, of: str) -> Number:
        """Return a number to a tenth; a dash where there is none."""
        value = self._value(of)
        return Number(of, "tenths", "-" if value is None else f"{value:.1f}")

    def whole(self, of: str) -> Number:
        """Return a number without its fractions, thousands set off."""
        return Number(of, "whole", f"{self._value(of):,.0f}")

    def percent(self, of: str) -> Number:
        """Return a share as per cent."""
        return Number(of, "percent", f"{self._value(of):.0%}")

    def chance(self, of: str) -> Number:
        """Return a chance in words."""
        return Number(of, "chance", chance_words(self._value(of)))

    def word(self, of: str) -> Number:
        """Return a word as it stands."""
        return Number(of, "word", clean(str(self._value(of))))


@dataclass(frozen=True, slots=True)
class Found:
    """A finding on the page; ``mark`` is its place on the drawing, where it has one there."""

    number: int
    item: Finding
    level: str
    facts: str
    because: str
    advice: str
    mark: tuple[int, int] | None
    row: int  #: how many earlier marks lie in its place, so that their numbers stand over each other
    place: str


def findings(checked: Checked, sheet: Sheet, units: Units) -> tuple[Found, ...]:
    """Return the findings as they are said, worst first."""
    found: list[Found] = []
    for number, item in enumerate(ranked(checked), 1):
        mark = None if item.at is None else sheet.unit(item.at)
        left, top, width, height = sheet.box
        if mark is not None and not (left <= mark[0] <= left + width and top <= mark[1] <= top + height):
            mark = None
        found.append(
            Found(
                number,
                item,
                words.level(item.level),
                units.sentence(clean(tables.finding_facts(item, units))),
                units.sentence(clean(item.because)),
                units.sentence(clean(item.advice)),
                mark,
                0 if mark is None else sum(_near(one.mark, mark, width / 30.0) for one in found),
                units.point(item.at) if item.at is not None else "",
            )
        )
    return tuple(found)


def _near(one: tuple[int, int] | None, other: tuple[int, int], reach: float) -> bool:
    return one is not None and max(abs(one[0] - other[0]), abs(one[1] - other[1])) < reach


def answer(checked: Checked, found: Sequence[Found], units: Units) -> dict[str, Any]:
    """Return what stands on top: the outcome, the one thing wrong, what to put behind it."""
    plan, on = checked.plan, checked.judged
    worst = next((one for one in found if one.item.level in ("fault", "caution")), None)
    return {
        "outcome": words.OUTCOMES[plan.outcome] if plan else "measured and compared",
        "goods": words.goods_phrase(on.setup.cloth)
        if on
        else "on no goods yet: name them and a plan can be made",
        "rows": [(label, units.sentence(clean(text))) for label, text in answer_rows(checked)],
        "worst": worst,
    }


def gap_rows(checked: Checked, on: OnGoods, numbers: Numbers, units: Units) -> dict[str, Any]:
    """Return the gaps, likeliest trouble first, and the remarks below them."""
    ordered = gaps_by_trouble(on)
    shown = ordered[: int(constants("report")["groups_from"].value)]
    _, _, remarks = predicted.gap_table(on, checked.regions, units)
    if not ordered or on.response.pull_in.beyond_range:
        return {"rows": [], "remarks": remarks}
    kinds = {region.id: region.kind.value for region in checked.regions.items}
    rows = []
    for gap in shown:
        place = on.findings.gaps.index(gap)
        of = f"gaps.{place}"
        meant = meant_mm(gap, on.response)
        rows.append(
            {
                "outline": f"{kinds.get(gap.outline, '')} {gap.outline}",
                "borders": f"{kinds.get(gap.borders, '')} {gap.borders}",
                "in_file": "-" if meant is None else units.bare(meant, signed=True),
                "worst": numbers.signed(f"{of}.worst_mm"),
                "low": numbers.signed(f"{of}.low_mm"),
                "high": numbers.signed(f"{of}.high_mm"),
                "limit": units.bare(gap.limit_mm, signed=True),
                "over": numbers.mm(f"{of}.over_limit_mm_of_length", unit=False),
                "bare": numbers.chance(f"{of}.chance_bare"),
                "overlap": numbers.chance(f"{of}.chance_overlap"),
            }
        )
    return {"rows": rows, "remarks": [units.sentence(remark) for remark in remarks]}


def region_rows(checked: Checked, numbers: Numbers) -> dict[str, Any]:
    """Return the regions, each with its measures; the first sixty of very many."""
    rows = [
        {
            "name": f"{region.kind.value} {region.id}",
            "colour": region.colour + 1,
            "stitches": numbers.count(f"regions.{i}.stitches"),
            "rows": numbers.mm(f"regions.{i}.row_spacing_mm", unit=False),
            "length": numbers.mm(f"regions.{i}.stitch_length_mm", unit=False),
            "width": numbers.mm(f"regions.{i}.width_mm", unit=False),
            "thread": numbers.tenths(f"regions.{i}.thread_mm_per_mm2"),
            "needle": numbers.tenths(f"regions.{i}.penetrations_per_mm2"),
            "cover": numbers.percent(f"regions.{i}.coverage"),
            "layers": numbers.count(f"regions.{i}.layers_max"),
        }
        for i, region in enumerate(checked.regions.items[:_MOST_ROWS])
    ]
    more = len(checked.regions.items) - len(rows)
    return {"rows": rows, "more": more}


def colour_rows(checked: Checked, numbers: Numbers) -> list[dict[str, Any]]:
    """Return the colour blocks in sewing order; a colour is shown only where the file holds one."""
    return [
        {
            "number": i + 1,
            "rgb": thread.rgb,
            "name": clean(thread.name or "") or (thread.rgb or "no colour in the file"),
            "catalogue": clean(thread.catalogue or ""),
            "stitches": numbers.count(f"design.colours.{i}.stitches"),
            "thread": numbers.tenths(f"use.colours.{i}.thread_m"),
        }
        for i, thread in enumerate(checked.design.threads)
    ]


def settings(document: Document, checked: Checked, units: Units) -> list[tuple[str, str]]:
    """Return everything that the check went by; a dash where neither the job nor the goods decide."""
    job = document.job
    hoop = "-"
    if job.hoop is not None:
        oval = ", oval" if job.hoop.shape == "oval" else ""
        hoop = f"{job.hoop.name}: {units.pair(job.hoop.width_mm, job.hoop.height_mm)}{oval}"
    allowed = units.length(job.tolerance_mm) if job.tolerance_mm is not None else "-"
    if checked.judged is not None:
        allowed = predicted.bare_cloth_allowed(checked.judged, checked.regions, units)
    rows = [
        ("Goods", job.goods or "none named"),
        ("Colour of the goods", job.colour or "not known"),
        ("Care", job.care or "-"),
        ("Back", job.back or "-"),
        ("Holding", job.holding),
        ("Hoop", hoop),
        ("Thread", job.thread or "-"),
        ("Needle", job.needle or "-"),
        ("Speed", f"{job.speed_spm:.0f} stitches a minute" if job.speed_spm else "-"),
        ("Bare cloth allowed", allowed),
        ("Seed of the sampling", str(job.seed)),
    ]
    return [(label, clean(text)) for label, text in rows]
