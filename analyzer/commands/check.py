"""``prehoop check``: look one or more designs over before hooping."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.console import allows_bold, progress, say_error, screen_width
from analyzer.commands.options import options
from analyzer.errors import PrehoopError, UnknownName
from analyzer.job import Job

if TYPE_CHECKING:
    from analyzer.report import Check, Document

EXAMPLES = """\b
Examples:
  prehoop check crest.dst
  prehoop check crest.dst --goods jersey
  prehoop check crest.dst --goods jersey --backing cutaway:85x2 --topping none
  prehoop check flags.jef --goods terry --hoop 130x180 --maps pictures
  prehoop check *.pes --goods cotton-twill --json

Exit code: 0 nothing at level fault, 1 at least one fault, 2 wrong usage or unreadable input, 130 interrupted.
"""


@click.command(epilog=EXAMPLES)
@click.argument("designs", nargs=-1, required=True, metavar="DESIGN...", type=click.Path(path_type=Path))
@options(
    "goods", "colour", "care", "back", "holding", "hoop", "machine", "thread", "needle", "speed", "tolerance",
    "topping", "backing", "stock", "units", "json", "maps", "force", "read-limit", "seed",
)  # fmt: skip
@click.pass_context
def check(
    ctx: click.Context,
    /,
    designs: tuple[Path, ...],
    units: str,
    as_json: bool,
    maps: Path | None,
    force: bool,
    read_limits: tuple[tuple[str, float], ...],
    **settings: Any,
) -> None:
    """Look one or more designs over before hooping.

    With --goods it gives an outcome and a plan; without, measures and a comparison of three goods.
    """
    job = make_job(settings)
    stems = distinct_stems(designs)
    documents: list[Document] = []
    unreadable = faults = False
    for number, (path, stem) in enumerate(zip(designs, stems, strict=True)):
        try:
            result = _look_over(path, job, dict(read_limits))
            if maps is not None:
                _write_maps(result, maps, stem, force=force)
        except UnknownName:
            raise  # every other design would meet it too
        except (PrehoopError, OSError) as error:
            say_error(error, about=str(path))
            unreadable = True
            continue
        faults = faults or any(item.level == "fault" for item in result.findings)
        if as_json:
            from analyzer.report import document

            documents.append(document(result))
        else:
            _show(result, units, first=number == 0)
    if as_json:
        _show_json(documents, alone=len(designs) == 1)
    ctx.exit(2 if unreadable else 1 if faults else 0)


def make_job(settings: dict[str, Any]) -> Job:
    """Return the job that the options describe.

    Raises:
        BadJob: the machine's or the stock's file cannot be used.

    """
    from analyzer.commands.own_files import read_machine, read_stock

    machine, stock = settings["machine"], settings["stock"]
    return Job(
        goods=settings["goods"],
        care=settings["care"],
        back=settings["back"],
        holding=settings["holding"],
        hoop=settings["hoop"],
        thread=settings["thread"],
        needle=settings["needle"],
        speed_spm=settings["speed"],
        tolerance_mm=settings["tolerance"],
        colour=settings["colour"],
        backing=settings["backing"] or None,
        topping=settings["topping"],
        stock=read_stock(stock) if stock else None,
        machine=read_machine(machine) if machine else None,
        seed=settings["seed"],
    )


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


def _write_maps(result: Check, folder: Path, stem: str, *, force: bool) -> None:
    from analyzer.report import maps

    with progress(f"{stem}: cloth maps"):
        maps(result, folder, stem=stem, force=force)


def _show(result: Check, units: str, *, first: bool) -> None:
    from analyzer.report import text

    bold = allows_bold()
    if not first:
        click.echo("\n" + "-" * 40 + "\n")
    click.echo(text(result, units=units, width=screen_width(), bold=bold), nl=False, color=bold)


def _show_json(documents: list[Document], *, alone: bool) -> None:
    from analyzer.report import encode

    if alone and not documents:
        return
    click.echo(encode(documents[0] if alone else tuple(documents)).decode("utf-8"), nl=False)
