"""``prehoop formats``: what is read and written, and what each format can hold."""

from __future__ import annotations

import dataclasses
from typing import Any

import click

from analyzer.commands.console import allows_bold, screen_width
from analyzer.commands.options import options

HOLDS = ("colours", "trims", "stops", "sequins")
HEADERS = ("name", "what it is", "files", "here", "states", "lost:")


@click.command()
@options("json")
def formats(as_json: bool) -> None:
    """List the stitch file formats that are read and written, and what each can hold."""
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
            "read, written" if one["written"] else "read",
            ", ".join(what for what in HOLDS if one[what]) or "stitches and moves only",
            _lost(one),
        )
        for one in records
    ]
    bold = allows_bold()
    click.echo(as_text(HEADERS, rows, width=screen_width(), bold=bold), nl=False, color=bold)


def _lost(form: dict[str, Any]) -> str:
    """Return what does not come through in a format: what it cannot state, and what is known beside that."""
    missing = [what for what in HOLDS if not form[what]]
    cut = [] if form["ends"] else ["a file cut short may not be noticed"]
    return "; ".join(filter(None, [", ".join(missing), form["lost"], *cut])) or "-"
