"""Tables on the screen: one entry after another, so that many columns and long sources fit 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import click
import msgspec


def as_json_text(records: Any) -> str:
    """Return plain data as indented JSON."""
    return msgspec.json.format(msgspec.json.encode(records), indent=2).decode("utf-8") + "\n"


def as_text(
    headers: Sequence[str], rows: Sequence[Sequence[str]], *, width: int, bold: bool, titles: int = 2
) -> str:
    """Return rows as entries: the first ``titles`` cells as its title, then the others by their headers.

    The last header's cell (the source) stands on lines of its own.
    """
    blocks = []
    for row in rows:
        title = textwrap.fill("  ".join(row[:titles]), width, subsequent_indent="  ", break_on_hyphens=False)
        if bold:
            title = click.style(row[0], bold=True) + title.removeprefix(row[0])
        facts = [f"{head} {cell}" for head, cell in zip(headers, row, strict=True) if cell not in ("", "-")]
        body = _wrapped("; ".join(facts[titles:-1]), width), _wrapped(facts[-1], width)
        blocks.append("\n".join([title, *filter(None, body)]))
    return "\n".join(blocks) + "\n"


def _wrapped(text: str, width: int) -> str:
    return textwrap.fill(
        text,
        width,
        initial_indent="    ",
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )
