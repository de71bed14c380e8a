"""``prehoop order``: the paperwork of an order."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analyzer.commands.check import jobs_for
from analyzer.commands.console import complain, progress, screen_width
from analyzer.commands.options import options

if TYPE_CHECKING:
    from analyzer.job import Job
    from analyzer.orders import Finished

EXAMPLES = """\b
Examples:
  prehoop order regatta.toml --out paperwork
  prehoop order regatta.toml --out paperwork --machine loft.toml --force
  prehoop order items.csv --out paperwork

An order file:
  [order]
  number = "R-14"
  customer = "Regatta committee"
  [[item]]
  design = "crest.dst"
  goods = "jersey"
  sizes = { S = 6, M = 12, L = 6 }
  placement = "left chest, middle 75 mm below the shoulder seam"

Options that describe a job hold for every item that does not say it itself.

Exit code: 0 nothing at level fault, 1 at least one fault, 2 wrong usage, or something of the order could not
be looked over (the rest is written), 130 interrupted (finished sewing sheets are kept).
"""


@click.command(epilog=EXAMPLES)
@click.argument("order_file", metavar="ORDER", type=click.Path(path_type=Path))
@click.option(
    "--out",
    "folder",
    required=True,
    metavar="FOLDER",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where the paperwork goes; made when missing.",
)
@options(
    "goods", "colour", "care", "back", "holding", "hoop", "machine", "thread", "needle", "speed", "tolerance",
    "topping", "applique", "backing", "stock", "units", "json", "force", "seed",
)  # fmt: skip
@click.pass_context
def order(
    ctx: click.Context, /, order_file: Path, folder: Path, as_json: bool, force: bool, units: str, **_: Any
) -> None:
    """Make the paperwork of an order: risks, sewing sheets, materials.

    One risk report for the customer, a sewing sheet for every item, spelling proofs of names, notes to
    whoever digitized a file, and a materials list: thread, cones, bobbins, sheets cut from rolls, minutes,
    money. An item that cannot be looked over is said to be missing; everything else is made.
    """
    from analyzer.orders import paperwork, read_order

    asked = read_order(order_file)

    def base(design: Path) -> Job:
        ((_settings, job),) = jobs_for(ctx, (design,))
        return job

    with progress(order_file.name) as tell:
        done = paperwork(asked, folder, base, tell, units=units, force=force)
    if as_json:
        from analyzer.orders.document import encode

        click.echo(encode(done.document).decode("utf-8"), nl=False)
    else:
        click.echo(_screen(done, folder), nl=False)
    for text in done.document.missing:
        complain(f"{text}; everything else was made")
    faults = any(
        item.level == "fault" for one in done.looked if one.check is not None for item in one.check.findings
    )
    ctx.exit(2 if done.document.missing else 1 if faults else 0)


def _screen(done: Finished, folder: Path) -> str:
    """Return what the order came to, for the terminal."""
    from analyzer.orders.screen import order_screen

    return order_screen(done, folder, width=screen_width())
