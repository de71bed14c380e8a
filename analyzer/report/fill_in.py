"""From the values of a check to its JSON document: every number made a plain, finite Python number."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np

from analyzer import __version__
from analyzer.cloth.types import Cover, Use
from analyzer.design import Command, Design
from analyzer.findings.gaps import median_along
from analyzer.findings.types import Finding, GapVerdict, PuckerVerdict
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import Hoop, Stack
from analyzer.mechanics.types import Response
from analyzer.pipeline import Checked, OnGoods
from analyzer.regions.types import Regions
from analyzer.report import schema as d
from analyzer.report.fill_in_plan import plan_part
from analyzer.report.numbers import box, chance, maybe, number, numbers, point, sound_text

_T = TypeVar("_T")


def document(checked: Checked) -> d.Document:
    """Return the document of ``checked``.

    Raises:
        NotConverged: a number is not finite.

    """
    judged, plan = checked.judged, checked.plan
    findings = judged.findings if judged else checked.measured
    return d.Document(
        schema=1,
        prehoop=d.Tool(version=__version__),
        outcome=plan.outcome if plan else None,
        job=_job(checked),
        design=_design(checked.design),
        use=_use(checked.use),
        regions=_regions(checked.regions, checked.cover),
        cover=_cover(checked.cover),
        stack=_stack(judged.stack) if judged else None,
        pull_in=_pull_in(judged.response) if judged else None,
        gaps=tuple(_gap(gap) for gap in findings.gaps) if judged else (),
        pucker=_pucker(findings.pucker) if judged else None,
        findings=tuple(_finding(item) for item in findings.items),
        plan=plan_part(plan) if plan else None,
        sureness=d.SurenessPart(
            calibrated=checked.sureness.calibrated,
            from_sewouts=int(checked.sureness.from_sewouts),
            known=checked.sureness.known,
            mostly_from=tuple(checked.sureness.mostly_from),
            says=checked.sureness.says,
        ),
        comparison=tuple(_comparison(one) for one in checked.comparison),
    )


def _job(checked: Checked) -> d.JobPart:
    """Fill the job in from the setup; without goods, from what all setups of the comparison agree on."""
    job = checked.job
    setups = [checked.judged.setup] if checked.judged else [one.setup for one in checked.comparison]

    def settled(pick: Callable[[Setup], _T]) -> _T | None:
        values = [pick(setup) for setup in setups]
        return values[0] if values and all(value == values[0] for value in values) else None

    return d.JobPart(
        goods=checked.judged.setup.cloth.name if checked.judged else None,
        care=settled(lambda s: s.care),
        back=settled(lambda s: s.back),
        hoop=_hoop(settled(lambda s: s.hoop)),
        thread=settled(lambda s: s.thread.name),
        needle=settled(lambda s: s.needle.name),
        speed_spm=maybe("job.speed_spm", settled(lambda s: s.speed_spm)),
        tolerance_mm=maybe("job.tolerance_mm", settled(lambda s: s.tolerance_mm)),
        holding=settled(lambda s: s.holding) or job.holding,
        colour=job.colour,
        seed=job.seed,
    )


def _hoop(hoop: Hoop | None) -> d.HoopPart | None:
    if hoop is None:
        return None
    return d.HoopPart(
        width_mm=number("job.hoop.width_mm", hoop.width_mm),
        height_mm=number("job.hoop.height_mm", hoop.height_mm),
        shape=hoop.shape,
        name=hoop.name,
    )


def colour_stitches(design: Design) -> tuple[int, ...]:
    """Return the number of stitches of each colour block."""
    counts = np.bincount(design.colour[design.joined], minlength=len(design.threads))
    return tuple(int(count) for count in counts)


def _design(design: Design) -> d.DesignPart:
    width, height = design.size_mm
    return d.DesignPart(
        name=sound_text(design.name),
        format=design.format,
        sha256=design.sha256,
        width_mm=number("design.width_mm", width),
        height_mm=number("design.height_mm", height),
        penetrations=len(design.penetrations),
        stitches=design.stitches,
        jumps=design.count(Command.JUMP),
        trims=design.count(Command.TRIM),
        colour_changes=design.count(Command.COLOUR_CHANGE),
        stops=design.count(Command.STOP),
        colours=tuple(
            d.ColourPart(
                rgb=thread.rgb, name=sound_text(thread.name) if thread.name else None, stitches=count
            )
            for thread, count in zip(design.threads, colour_stitches(design), strict=True)
        ),
        notes=tuple(sound_text(note) for note in design.notes),
    )


def _use(use: Use) -> d.UsePart:
    return d.UsePart(
        thread_m=number("use.thread_m", use.thread_m),
        bobbin_m=number("use.bobbin_m", use.bobbin_m),
        minutes=number("use.minutes", use.minutes),
        colours=tuple(d.ColourUse(thread_m=number("use.colours", m)) for m in use.colours_thread_m),
    )


def _regions(regions: Regions, cover: Cover) -> tuple[d.RegionPart, ...]:
    return tuple(
        d.RegionPart(
            id=int(region.id),
            kind=region.kind.value,
            colour=int(region.colour),
            first=int(region.first),
            last=int(region.last),
            stitches=int(region.stitches),
            area_mm2=number("regions.area_mm2", measured.area_mm2),
            row_spacing_mm=maybe("regions.row_spacing_mm", region.row_spacing_mm),
            stitch_length_mm=number("regions.stitch_length_mm", region.stitch_length_mm),
            width_mm=maybe("regions.width_mm", region.width_mm),
            direction_deg=maybe("regions.direction_deg", region.direction_deg),
            thread_mm_per_mm2=number("regions.thread_mm_per_mm2", measured.thread_mm_per_mm2),
            penetrations_per_mm2=number("regions.penetrations_per_mm2", measured.penetrations_per_mm2),
            coverage=number("regions.coverage", measured.coverage),
            layers_max=int(measured.layers_max),
            covers=tuple(int(i) for i in region.covers),
            outline_of=tuple(int(i) for i in region.outline_of),
            bbox=box("regions.bbox", region.bbox_mm),
        )
        for region, measured in zip(regions.items, cover.regions, strict=True)
    )


def _cover(cover: Cover) -> d.CoverPart:
    return d.CoverPart(
        stitched_mm2=number("cover.stitched_mm2", cover.stitched_mm2),
        covered_mm2=number("cover.covered_mm2", cover.covered_mm2),
        coverage=number("cover.coverage", cover.coverage),
        thread_width_mm=number("cover.thread_width_mm", cover.thread_width_mm),
        resolution_mm=number("cover.resolution_mm", cover.resolution_mm),
        voids=tuple(
            d.VoidPart(
                area_mm2=number("cover.voids.area_mm2", void.area_mm2),
                at=point("cover.voids.at", void.at),
                meant=bool(void.meant),
            )
            for void in cover.voids
        ),
    )


def _stack(stack: Stack) -> d.StackPart:
    rows = [numbers("stack.membrane_n_per_m", row) for row in stack.membrane.tolist()]
    first, second, third = ((a, b, c) for a, b, c in rows)
    return d.StackPart(
        layers=tuple(
            d.LayerPart(
                role=layer.role,
                name=layer.name,
                kind=layer.kind,
                g_m2=number("stack.layers.g_m2", layer.g_m2),
                turn_deg=number("stack.layers.turn_deg", layer.turn_deg),
            )
            for layer in stack.layers
        ),
        membrane_n_per_m=(first, second, third),
        bending_unm=number("stack.bending_unm", stack.bending_unm),
    )


def _pull_in(response: Response) -> d.PullInPart:
    pull, unhooped = response.pull_in, response.unhooped
    return d.PullInPart(
        max_mm=number("pull_in.max_mm", pull.max_mm),
        visible_mm=number("pull_in.visible_mm", pull.visible_mm),
        at=point("pull_in.at", pull.at),
        along_mm=number("pull_in.along_mm", pull.along_mm),
        across_mm=number("pull_in.across_mm", pull.across_mm),
        reach_mm=number("pull_in.reach_mm", pull.reach_mm),
        strain_p95=number("pull_in.strain_p95", pull.strain_p95),
        beyond_range=bool(pull.beyond_range),
        unhooped_mm=None if unhooped is None else number("pull_in.unhooped_mm", unhooped.moved_mm),
    )


def _gap(gap: GapVerdict) -> d.GapPart:
    return d.GapPart(
        outline=int(gap.outline),
        borders=int(gap.borders),
        worst_mm=number("gaps.worst_mm", gap.worst_mm),
        low_mm=number("gaps.low_mm", gap.low_mm),
        high_mm=number("gaps.high_mm", gap.high_mm),
        median_mm=number("gaps.median_mm", gap.median_mm),
        at=point("gaps.at", gap.at),
        over_limit_mm_of_length=number("gaps.over_limit_mm_of_length", gap.over_limit_mm_of_length),
        chance_bare=chance("gaps.chance_bare", gap.chance_bare),
        chance_overlap=chance("gaps.chance_overlap", gap.chance_overlap),
    )


def _pucker(pucker: PuckerVerdict) -> d.PuckerPart:
    return d.PuckerPart(
        chance=chance("pucker.chance", pucker.chance),
        amplitude_mm=number("pucker.amplitude_mm", pucker.amplitude_mm),
        low_mm=number("pucker.low_mm", pucker.low_mm),
        high_mm=number("pucker.high_mm", pucker.high_mm),
        at=point("pucker.at", pucker.at),
    )


def _finding(item: Finding) -> d.FindingPart:
    where = f"findings.{item.name}"
    return d.FindingPart(
        name=item.name,
        level=item.level.value,
        regions=tuple(int(i) for i in item.regions),
        at=None if item.at is None else point(where, item.at),
        measured=maybe(where, item.measured),
        limit=maybe(where, item.limit),
        unit=item.unit,
        chance=None if item.chance is None else chance(where, item.chance),
        because=item.because,
        advice=item.advice,
    )


def meant_mm(gap: GapVerdict, response: Response) -> float | None:
    """Return the gap that the file itself leaves at the worst place of ``gap``; None where unknown.

    It is the running median along the outline that the gap is judged by.
    """
    for draws in response.gaps:
        if (draws.outline, draws.borders) == (gap.outline, gap.borders) and len(draws.at):
            nearest = int(np.argmin(np.hypot(*(draws.at - np.array(gap.at)).T)))
            window_mm = constants("limits")["gap_meant_window_mm"].value
            return float(median_along(draws.meant_mm, draws.at, draws.station_mm, window_mm)[nearest])
    return None


def gaps_by_trouble(on: OnGoods) -> tuple[GapVerdict, ...]:
    """Return the gaps, likeliest to pass its limit first; of equally likely ones, what moves most."""

    def trouble(gap: GapVerdict) -> tuple[float, float, int, int]:
        moved = abs(gap.worst_mm - (meant_mm(gap, on.response) or 0.0))
        return -max(gap.chance_bare, gap.chance_overlap), -moved, gap.outline, gap.borders

    return tuple(sorted(on.findings.gaps, key=trouble))


def worst_gap(on: OnGoods) -> GapVerdict | None:
    """Return the first of :func:`gaps_by_trouble`."""
    return next(iter(gaps_by_trouble(on)), None)


def _comparison(one: OnGoods) -> d.ComparisonPart:
    worst = worst_gap(one)
    return d.ComparisonPart(
        goods=one.setup.cloth.name,
        tolerance_mm=number("comparison.tolerance_mm", one.setup.tolerance_mm),
        stack=_stack(one.stack),
        pull_in=_pull_in(one.response),
        worst_gap=_gap(worst) if worst else None,
        pucker=_pucker(one.findings.pucker),
        chance=chance("comparison.chance", one.findings.chance_of_missing),
        decided_by=one.findings.decided_by,
    )
