"""``prehoop formats``: what is read, and what each format can hold."""

from __future__ import annotations

import dataclasses

import click

from analyzer.commands.console import allows_bold, screen_width
from analyzer.commands.options import options

HOLDS = ("colours", "trims", "stops", "sequins")
HEADERS = ("name", "what it is", "files", "here", "states")


@click.command()
@options("json")
def formats(as_json: bool) -> None:
    """List the stitch file formats that are read, and what each can hold."""
    from analyzer.commands.listing import as_json_text, as_text
    from analyzer.formats import known

    records = [dataclasses.asdict(one) for one in known().values()]
    if as_json:
        click.echo(as_json_text(records), nl=False)
        return
    rows = [
        (
            one["name"],
            one["about"],
            ", ".join(one["extensions"]),
            "read and written" if one["written"] else "read only",
            ", ".join(what for what in HOLDS if one[what]) or "none of " + ", ".join(HOLDS),
        )
        for one in records
    ]
    bold = allows_bold()
    click.echo(as_text(HEADERS, rows, width=screen_width(), bold=bold), nl=False, color=bold)
