"""``prehoop counter``: write a copy of a design that comes out where the file means it."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.check import jobs_for
from analyzer.commands.console import progress, screen_width
from analyzer.commands.options import options
from analyzer.errors import BadJob

if TYPE_CHECKING:
    from analyzer import Check, Countered
    from analyzer.formats import Written
    from analyzer.report.words import Units

EXAMPLES = """\b
Examples:
  prehoop counter crest.dst --goods jersey -o crest-jersey.dst
  prehoop counter crest.pes --goods cotton-twill --backing tearaway:50 -o crest-twill.pes --json

Exit code: 0 a copy was written, 1 none was, since the cloth would distort further than can be computed,
2 wrong usage or unreadable input, 130 interrupted.
"""


@click.command(epilog=EXAMPLES)
@click.argument("design", metavar="DESIGN", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The copy; its ending names the format. Never the original.",
)
@options(
    "goods", "colour", "care", "back", "holding", "hoop", "machine", "thread", "needle", "speed", "tolerance",
    "topping", "applique", "backing", "stock", "units", "json", "force", "read-limit", "seed",
)  # fmt: skip
@click.pass_context
def counter(
    ctx: click.Context,
    /,
    design: Path,
    output: Path,
    as_json: bool,
    force: bool,
    read_limits: tuple[tuple[str, float], ...],
    **_: Any,
) -> None:
    """Write the countered copy of a design.

    Its stitches are moved so that, sewn on these goods with this backing, they end where the file means them.
    Without --backing it is made for the stack that check would choose. Sew the original out first.
    """
    from analyzer import check as check_design
    from analyzer.formats import raised, read, to_bytes, writable_format, write

    ((settings, job),) = jobs_for(ctx, (design,))
    if job.goods is None:
        raise BadJob("a countered copy is made for one cloth: name it with --goods")
    form = writable_format(output, force=force, original=design)
    original = read(design, limits=raised(**dict(read_limits)))
    to_bytes(original, form, output.name)  # what cannot be written is said before anything is computed
    with progress(design.name) as tell:
        result = check_design(original, job, tell, changes=False)
        copy = result.countered(tell)
    written = None
    if copy.design is not None:
        written = write(copy.design, output, force=force, original=design)
    if as_json:
        from analyzer.commands.listing import as_json_text

        click.echo(as_json_text(record(result, copy, written)), nl=False)
    else:
        click.echo(screen(result, copy, written, settings["units"]), nl=False)
    ctx.exit(0 if written else 1)


def record(result: Check, copy: Countered, written: Written | None) -> dict[str, Any]:
    """Return what there is to say as plain data; lengths in mm, unrounded."""
    from analyzer import __version__

    judged = result.judged
    assert judged is not None
    return {
        "schema": 1,
        "prehoop": {"version": __version__},
        "design": {
            "name": result.design.name,
            "format": result.design.format,
            "sha256": result.design.sha256,
        },
        "goods": judged.setup.cloth.name,
        "layers": [
            {"role": layer.role, "name": layer.name, "kind": layer.kind, "g_m2": layer.g_m2}
            for layer in judged.stack.layers
        ],
        "hoop": {"width_mm": judged.setup.hoop.width_mm, "height_mm": judged.setup.hoop.height_mm},
        "passes": copy.passes,
        "gap": {
            "before_mm": copy.before.gap_mm,
            "after_mm": copy.after.gap_mm,
            "rounded_mm": copy.rounded.gap_mm,
        },
        "place": {
            "before_mm": copy.before.place_mm,
            "after_mm": copy.after.place_mm,
            "rounded_mm": copy.rounded.place_mm,
        },
        "largest_move_mm": copy.largest_move_mm,
        "held_stitches": copy.held,
        "reason": copy.reason or None,
        "says": list(copy.says),
        "written": None
        if written is None
        else {"file": str(written.path), "format": written.format, "remarks": list(written.remarks)},
    }


def screen(result: Check, copy: Countered, written: Written | None, units: str) -> str:
    """Return what there is to say as a few lines of text."""
    from analyzer.report.words import Units, counted, goods_phrase, layers_in_words

    judged = result.judged
    assert judged is not None
    behind = layers_in_words(judged.stack.backings)
    behind += "" if judged.setup.cloth.family == "none" else " behind it"
    name = "no copy" if written is None else f"countered copy in {written.path}"
    lines = [f"{result.design.name} {goods_phrase(judged.setup.cloth)}, {behind}: {name}"]
    if written is not None:
        shown = Units(units)
        for what, before, after, rounded in (
            ("Gaps along outlines", copy.before.gap_mm, copy.after.gap_mm, copy.rounded.gap_mm),
            ("Stitches that show", copy.before.place_mm, copy.after.place_mm, copy.rounded.place_mm),
        ):
            if before is not None and after is not None and rounded is not None:
                lines.append(
                    f"{what} (predicted): off by up to {_small(before, shown)} in the file as it is; in the "
                    f"copy by {_small(after, shown)}, {_small(rounded, shown)} once rounded for the file."
                )
        passes = counted(copy.passes, "pass", "passes")
        lines.append(f"Largest move of a stitch: {_small(copy.largest_move_mm, shown)} ({passes}).")
    lines += [*copy.says, *(written.remarks if written else ())]
    first, *rest = (textwrap.wrap(line, screen_width() - 4, break_on_hyphens=False) for line in lines)
    return "\n".join([*first, *("\n    ".join(["  " + part[0], *part[1:]]) for part in rest)]) + "\n"


def _small(mm: float, units: Units) -> str:
    """Return a length as shown, and what shows as nothing as less than the least that shows."""
    shown = units.length(mm)
    least = units.length(0.1)
    return f"less than {least}" if shown == units.length(0.0) else shown
