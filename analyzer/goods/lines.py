"""Where a key stands in a TOML text, so that a message about it can name the line.

The library that reads TOML keeps no positions. This looks for the line again: exact for keys written one to
a line, the line of the table or of the value around it for keys inside inline tables.
"""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*(?P<name>[^\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(
    r"^\s*(?P<name>(?:[\w-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[\w-]+|\"[^\"]*\"|'[^']*'))*)\s*="
)
_PART = re.compile(r"[\w-]+|\"[^\"]*\"|'[^']*'")

Path = tuple[str | int, ...]


def line_of(text: str, path: Path) -> int | None:
    """Return the line (from 1) of a key in a TOML text, or of the nearest thing around it.

    ``path`` is the way to the key: ("goods", "crew-polo", "weight_g_m2"), ("frame", 2, "shape"); entries of
    an array of tables are counted from 1.
    """
    found, depth = None, 0
    table: Path = ()
    counts: dict[Path, int] = {}
    fence = ""
    for number, line in enumerate(text.splitlines(), 1):
        if fence:
            fence = "" if fence in line else fence
            continue
        here: Path | None = None
        if header := _HEADER.match(line):
            table = _parts(header["name"])
            if header[1] == "[[":
                counts[table] = counts.get(table, 0) + 1
                table = (*table, counts[table])
            here = table
        elif key := _KEY.match(line):
            here = (*table, *_parts(key["name"]))
        if here is not None and len(here) > depth and path[: len(here)] == here:
            found, depth = number, len(here)
        for quote in ('"""', "'''"):
            if line.count(quote) == 1:
                fence = quote
    return found


def place(source: str, text: str, path: Path) -> str:
    """Return "FILE, line N" for a key, or only the file where it is not found."""
    line = line_of(text, path)
    return source if line is None else f"{source}, line {line}"


def _parts(name: str) -> Path:
    return tuple(part.strip("\"'") for part in _PART.findall(name))
