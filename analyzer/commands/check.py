"""``prehoop check``: look one or more designs over before hooping."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.console import allows_bold, progress, say_error, screen_width
from analyzer.commands.options import options
from analyzer.commands.settings import Settings, files_for, job_of, settings_for
from analyzer.errors import PrehoopError

if TYPE_CHECKING:
    from analyzer.job import Job
    from analyzer.report import Check, Document
    from analyzer.report.canvas import Form

EXAMPLES = """\b
Examples:
  prehoop check crest.dst
  prehoop check crest.dst --goods jersey
  prehoop check crest.dst --goods jersey --backing cutaway:85x2 --topping none
  prehoop check crest.dst --goods jersey --report crest.pdf --report crest.html
  prehoop check flags.jef --goods terry --hoop 130x180 --maps pictures
  prehoop check *.pes --goods cotton-twill --json

Exit code: 0 nothing at level fault, 1 at least one fault, 2 wrong usage or unreadable input, 130 interrupted.
"""


@click.command(epilog=EXAMPLES)
@click.argument("designs", nargs=-1, required=True, metavar="DESIGN...", type=click.Path(path_type=Path))
@options(
    "goods", "colour", "care", "back", "holding", "hoop", "machine", "thread", "needle", "speed", "tolerance",
    "topping", "applique", "backing", "stock", "records", "units", "json", "report", "maps", "maps-as",
    "force", "read-limit", "seed",
)  # fmt: skip
@click.pass_context
def check(
    ctx: click.Context,
    /,
    designs: tuple[Path, ...],
    as_json: bool,
    reports: tuple[Path, ...],
    maps: Path | None,
    maps_as: Form,
    force: bool,
    read_limits: tuple[tuple[str, float], ...],
    **_: Any,
) -> None:
    """Look one or more designs over before hooping.

    With --goods it gives an outcome and a plan; without, measures and a comparison of three goods.
    """
    jobs = jobs_for(ctx, designs)
    stems = distinct_stems(designs)
    papers = [_report_paths(reports, stem if len(designs) > 1 else None, force=force) for stem in stems]
    if maps is not None and not force:
        for stem, (_settings, job) in zip(stems, jobs, strict=True):
            _refuse_existing_maps(maps, stem, job, maps_as)
    documents: list[Document] = []
    written: list[str] = []
    endings: list[tuple[str, str]] = []
    unreadable = faults = False
    for number, (path, stem, paper, (settings, job)) in enumerate(
        zip(designs, stems, papers, jobs, strict=True)
    ):
        try:
            result = _look_over(path, job, dict(read_limits))
            if maps is not None:
                made = _write_maps(result, maps, stem, maps_as, force=force)
                written.append(f"{len(made)} cloth maps in {maps}")
            _write_reports(result, paper, units=settings["units"], force=force)
            written += map(str, paper)
        except (PrehoopError, OSError) as error:
            say_error(error, about=str(path))
            endings.append((path.name, "not looked over"))
            unreadable = True
            continue
        faults = faults or any(item.level == "fault" for item in result.findings)
        if as_json:
            from analyzer.report import document

            documents.append(document(result))
        else:
            endings.append(_show(result, settings["units"], number=number, alone=len(designs) == 1))
    if as_json:
        _show_json(documents, alone=len(designs) == 1)
    else:
        if len(designs) > 1:
            _show_endings(endings)
        if written:
            click.echo("\n".join(["Written:", *written]))
    ctx.exit(2 if unreadable else 1 if faults else 0)


def jobs_for(ctx: click.Context, designs: tuple[Path, ...]) -> list[tuple[Settings, Job]]:
    """Return settings and job for each design, which may lie under different settings files.

    Raises:
        PrehoopError: a file of the user's cannot be used, or a job is one that no design can have.

    """
    by_files: dict[tuple[Path, ...], tuple[Settings, Job]] = {}
    found = []
    for design in designs:
        files = files_for(design)
        if files not in by_files:
            settings = settings_for(ctx, files)
            job = job_of(settings)
            refuse_impossible(job)
            by_files[files] = settings, job
        found.append(by_files[files])
    return found


def refuse_impossible(job: Job) -> None:
    """Refuse a job that no design could be looked over for, before any is read.

    Raises:
        UnknownName: the job names something that is in no table.
        BadJob: the job contradicts itself or cannot be met.

    """
    from analyzer import goods
    from analyzer.pipeline import COMPARED_ON

    setups = [goods.resolve(job, name, (0.0, 0.0)) for name in ([job.goods] if job.goods else COMPARED_ON)]
    topping = job.topping.strip().lower() if job.topping is not None else "none"
    choice = goods.StackChoice((), None if topping == "none" else setups[0].tables.topping(topping).name)
    for one in job.stock or ():
        goods.parse_backing(one, setups[0].tables)
    if job.backing is not None:
        backings = goods.parse_backing(job.backing, setups[0].tables)
        for setup in setups:
            goods.build_stack(setup, replace(choice, backings=backings), job.calibration)


def distinct_stems(designs: tuple[Path, ...]) -> tuple[str, ...]:
    """Return a name for each design's maps: its file's stem, numbered where two files share one."""
    seen: Counter[str] = Counter()
    stems = []
    for path in designs:
        key = path.stem.casefold()  # file systems may not tell case apart
        seen[key] += 1
        stems.append(path.stem if seen[key] == 1 else f"{path.stem}-{seen[key]}")
    return tuple(stems)


def _look_over(path: Path, job: Job, limits: dict[str, float]) -> Check:
    from analyzer import check, read
    from analyzer.formats import raised

    with progress(path.name) as tell:
        return check(read(path, limits=raised(**limits)), job, tell)


def _write_maps(result: Check, folder: Path, stem: str, form: Form, *, force: bool) -> tuple[Path, ...]:
    from analyzer.report import maps

    with progress(f"{stem}: cloth maps"):
        return maps(result, folder, stem=stem, form=form, force=force)


def _report_paths(reports: tuple[Path, ...], stem: str | None, *, force: bool) -> tuple[Path, ...]:
    """Return where the reports of one design go, refused now rather than after the work when they cannot."""
    if not reports:
        return ()
    from analyzer.files import refuse_existing
    from analyzer.report.reports import report_paths

    paths = report_paths(reports, stem)
    if not force:
        refuse_existing(paths)
    return paths


def _write_reports(result: Check, paths: tuple[Path, ...], *, units: str, force: bool) -> None:
    if not paths:
        return
    from analyzer.report.reports import write_report

    for path in paths:
        with progress(path.name):
            write_report(result, path, units=units, force=force)


def _refuse_existing_maps(folder: Path, stem: str, job: Job, form: Form) -> None:
    from analyzer.files import refuse_existing
    from analyzer.report.files import job_map_names, map_paths

    refuse_existing(map_paths(folder, stem, job_map_names(job), form))


def _show(result: Check, units: str, *, number: int, alone: bool) -> tuple[str, str]:
    """Print one check; return the design's name and what a list of several says of it at the end."""
    from analyzer.report.terminal import ending, text

    bold = allows_bold()
    if number:
        click.echo("\n" + "-" * 40 + "\n")
    screen = text(result, units=units, width=screen_width(), bold=bold, repeat=alone)
    click.echo(screen, nl=False, color=bold)
    return ending(result)


def _show_endings(endings: list[tuple[str, str]]) -> None:
    from analyzer.report.terminal import summary

    bold = allows_bold()
    click.echo("\n" + "-" * 40 + "\n")
    click.echo(summary(endings, width=screen_width(), bold=bold), nl=False, color=bold)


def _show_json(documents: list[Document], *, alone: bool) -> None:
    from analyzer.report import encode

    if alone and not documents:
        return
    click.echo(encode(documents[0] if alone else tuple(documents)).decode("utf-8"), nl=False)
