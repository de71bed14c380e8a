"""One design for the design book: read, measured, and screened on the goods that were asked for.

Runs in a process of its own, so everything that goes in and comes out is plain values.
"""

from __future__ import annotations

import hashlib

from analyzer import cloth, findings, goods, pipeline
from analyzer.cloth import Cover, Use
from analyzer.design import Command, Design
from analyzer.errors import NotConverged, PrehoopError
from analyzer.findings.types import Findings
from analyzer.formats import read_bytes
from analyzer.job import Job, OwnMaterials
from analyzer.library.screening import Measured, noted_of, screened, verdict_of
from analyzer.library.sketch import packed, sketch
from analyzer.library.thumb import thumb
from analyzer.library.types import Asked, Measures, Record, Verdict
from analyzer.regions import Edges, Regions, cut
from analyzer.regions.types import RegionKind
from analyzer.report.fill_in import colour_stitches, worst_gap
from analyzer.report.numbers import sound_text

_USUAL = "poplin"  #: thread, speed and thickness of what is measured before any goods are named
_RASTER_MM = 0.1217  #: of what is not planned in full; a void in nine is then another, area within 1 %


def look_at(name: str, content: bytes, asked: Asked) -> Record:
    """Return all that one file comes to; never raises for anything that a file can hold."""
    sha256 = hashlib.sha256(content).hexdigest()
    try:
        design = read_bytes(name, content)
    except PrehoopError as error:
        reason = str(error).removeprefix(f"{name}: ")
        return Record(sha256, len(content), "unreadable", sound_text(reason), None)
    try:
        measures, verdicts = _measured(design, asked)
    except PrehoopError as error:
        return Record(sha256, len(content), "unreadable", sound_text(str(error)), None)
    if design.damaged:
        return Record(sha256, len(content), "damaged", sound_text(design.damaged), measures, verdicts)
    return Record(sha256, len(content), "read", None, measures, verdicts)


def _measured(design: Design, asked: Asked) -> tuple[Measures, tuple[Verdict, ...]]:
    jobs = [_job(name, asked) for name in asked.goods]
    setups = [goods.resolve(job, job.goods or "", design.size_mm) for job in jobs]
    edges = Edges()
    regions = cut(design, edges)
    usual = goods.resolve(Job(), _USUAL, design.size_mm)
    lace = any(setup.cloth.family == "none" for setup in setups)
    cover = cloth.measure(
        design,
        regions,
        thread_width_mm=usual.thread.laid_width_mm.value,
        resolution_mm=cloth.RESOLUTION_MM if asked.full else _RASTER_MM,
        small_finer=asked.full,
        lace=lace,
    )
    use = cloth.use(design, thickness_mm=usual.cloth.sewn_thickness_mm, speed_spm=usual.speed_spm)
    own = findings.measure(design, regions, cover, use)
    if asked.full:
        verdicts = tuple(_full(design, job) for job in jobs)
    else:
        verdicts = tuple(one.verdict for one in screened(Measured(design, regions, cover, use), setups))
    return _measures(design, regions, cover, use, own), verdicts


def _job(name: str, asked: Asked) -> Job:
    own = tuple(OwnMaterials(text, source) for text, source in asked.own)
    return Job(goods=name, care=asked.care, own=own)


def _full(design: Design, job: Job) -> Verdict:
    """Return what the whole plan says of one goods."""
    checked = pipeline.check(design, job, changes=False)
    judged, chosen = checked.judged, checked.plan
    if judged is None or chosen is None:
        raise NotConverged("a check on goods came back without a plan")
    found, setup = judged.findings, judged.setup
    holds = found.chance_of_missing <= setup.chance_accepted
    return verdict_of(setup.cloth.name, chosen.outcome, found, worst_gap(judged), chosen.choice, holds=holds)


def _measures(design: Design, regions: Regions, cover: Cover, use: Use, own: Findings) -> Measures:
    kinds = [region.kind for region in regions.items]
    width, height = design.size_mm
    threads = tuple(
        (thread.rgb, sound_text(thread.name) if thread.name else None, count)
        for thread, count in zip(design.threads, colour_stitches(design), strict=True)
    )
    return Measures(
        format=design.format,
        stitches=design.stitches,
        colours=len(design.threads),
        jumps=design.count(Command.JUMP),
        trims=design.count(Command.TRIM),
        stops=design.count(Command.STOP),
        width_mm=width,
        height_mm=height,
        thread_m=use.thread_m,
        bobbin_m=use.bobbin_m,
        minutes=use.minutes,
        stitched_mm2=cover.stitched_mm2,
        coverage=cover.coverage,
        density_max=float(cover.density.values.max()) if cover.density.values.size else 0.0,
        regions=len(kinds),
        fills=kinds.count(RegionKind.FILL),
        satins=kinds.count(RegionKind.SATIN),
        runs=kinds.count(RegionKind.RUN),
        lettering_mm=min((line.height_mm for line in regions.lettering), default=None),
        appliques=len(regions.appliques),
        voids=len(cover.voids),
        threads=threads,
        thumb=thumb(design),
        sketch=packed(sketch(design)),
        noted=noted_of("", own.items),
    )
