"""``prehoop settings``: what a check would go by here, and where each value comes from."""

from __future__ import annotations

from pathlib import Path

import click

from analyzer.commands.check import check
from analyzer.commands.options import options
from analyzer.commands.settings import FILE_NAME, Setting, files_for, settings_for

EXAMPLES = """\b
Examples:
  prehoop settings
  prehoop settings orders/crest.dst
"""


@click.command(epilog=EXAMPLES)
@click.argument("design", required=False, type=click.Path(path_type=Path))
@options("json")
def settings(design: Path | None, as_json: bool) -> None:
    """Show what a check goes by, and where each value comes from: for DESIGN, or for designs here.

    The nearest prehoop.toml, from the design's folder upwards, goes before the user's own file; both go
    before the defaults, and options of the command line before all.
    """
    plain = check.make_context("prehoop check", [str(design or Path("design"))])
    found = settings_for(plain, files_for(design or Path("design")))
    every = {
        **found.options,
        **{f"limits.{name}": setting for name, setting in found.limits.items()},
        **{f"silence {name}": setting for name, setting in found.silenced.items()},
    }
    if as_json:
        from analyzer.commands.listing import as_json_text

        records = {name: {"value": _plain(one), "from": one.source} for name, one in every.items()}
        click.echo(
            as_json_text({"files": [str(path) for path in found.files], "settings": records}), nl=False
        )
        return
    if not found.files:
        click.echo(f"no {FILE_NAME} applies here")
    for name, setting in every.items():
        shown = "-" if setting.value in (None, ()) else _plain(setting)
        click.echo(f"{name:22}{shown!s:26}{setting.source}")
    for materials in found.own:
        click.echo(f"{'own materials':22}{'':26}{materials.source}")


def _plain(setting: Setting) -> str | float | bool | list[str] | None:
    """Return a value as plain data."""
    value = setting.value
    if isinstance(value, tuple):
        return [str(one) for one in value]
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)
