"""``prehoop goods | backings | toppings | threads | needles | hoops``: list the tables with their sources."""

from __future__ import annotations

from pathlib import Path

import click

from analyzer.commands.console import allows_bold, screen_width
from analyzer.commands.options import options
from analyzer.commands.settings import files_for, settings_for

_TABLES = {
    "goods": "List the cloths that prehoop knows, and your own.",
    "backings": "List the kinds of backing, and your own, with their usual weights.",
    "toppings": "List the toppings.",
    "threads": "List the threads.",
    "needles": "List the needles.",
    "hoops": "List the hoops by their sewing fields.",
}
_SAYS = "A range in brackets is 5 to 95 %. known: measured, related (taken from a like thing) or guess."


def _make(table: str, summary: str) -> click.Command:
    @click.command(name=table, short_help=summary, help=f"{summary}\n\n{_SAYS}")
    @options("json")
    @click.pass_context
    def show(ctx: click.Context, /, as_json: bool) -> None:
        from analyzer.commands.listing import as_json_text, as_text
        from analyzer.goods import records, rows, tables_of

        tables = tables_of(settings_for(ctx, files_for(Path("here"))).own)
        if as_json:
            click.echo(as_json_text(records(table, tables)), nl=False)
            return
        headers, body = rows(table, tables)
        titles, bold = (2 if headers[1] == "what it is" else 1), allows_bold()
        click.echo(
            as_text(headers, body, width=screen_width(), bold=bold, titles=titles), nl=False, color=bold
        )

    return show


goods, backings, toppings, threads, needles, hoops = (_make(*table) for table in _TABLES.items())
