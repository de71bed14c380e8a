"""Changing a settings file so that what was written in it by hand stays: notes, order, other entries.

A change is made on the text and then checked: read again, the text must hold what it held before with only
the wanted change, and every line that is a note. What cannot be changed like that is refused, not damaged.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections import Counter
from collections.abc import Callable, MutableMapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from analyzer.errors import BadJob
from analyzer.goods.lines import line_of

MOST_BYTES = 200_000  #: of one settings file
_HEADER = re.compile(r"^\s*\[")

Doc = MutableMapping[str, Any]
Way = tuple[str | int, ...]  #: to an entry; entries of an array of tables are counted from 1


def text_of(file: Path | None) -> str:
    """Return a file's text with its line ends as they are, empty where there is no file.

    Raises:
        BadJob: it is no UTF-8 text, or too long to be a settings file.

    """
    if file is None or not file.is_file():
        return ""
    content = file.read_bytes()
    if len(content) > MOST_BYTES:
        raise BadJob(f"{file.name} is longer than {MOST_BYTES:,} bytes: change it by hand")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        raise BadJob(f"{file.name}: this is no UTF-8 text") from None


def mark_of(*texts: str) -> str:
    """Return what tells whether files were changed since they were shown."""
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()


def edited(text: str, change: Callable[[Doc], None]) -> str:
    """Return a TOML text after a change, everything else as it was.

    Args:
        text: the file as it is.
        change: is given the text as a mapping, and once more what it means as plain values.

    Raises:
        BadJob: it is no TOML, or the change cannot be made without touching something else.

    """
    mark = "\ufeff" * text.startswith("\ufeff")
    body = text.removeprefix(mark)
    try:
        wanted = tomllib.loads(body)
        change(wanted)
        doc = tomlkit.parse(body)
        change(doc)
        made = doc.as_string()
    except tomllib.TOMLDecodeError as error:
        raise BadJob(f"what the file holds is no TOML: {error}") from None
    except (TOMLKitError, KeyError, RecursionError):
        raise _by_hand() from None
    return mark + _sound(body, made, wanted)


def without(text: str, way: Way) -> str:
    """Return a TOML text without one entry; notes that follow it belong to what comes next and stay.

    Raises:
        BadJob: the entry is not written in one piece.

    """

    def drop(doc: Doc) -> None:
        within: Any = doc
        for key in way[:-1]:
            within = within[key]
        del within[way[-1] - 1 if isinstance(way[-1], int) else way[-1]]

    wanted = deepcopy(tomllib.loads(text.removeprefix("\ufeff")))
    drop(wanted)
    for table in [key for key, value in wanted.items() if value in ({}, [])]:
        if table == way[0]:
            del wanted[table]
    first = line_of(text, way)
    lines = text.splitlines(keepends=True)
    if first is None or not _HEADER.match(lines[first - 1]):
        return edited(text, drop)
    last = first
    while last < len(lines) and (not _HEADER.match(lines[last]) or _belongs(text, last + 1, way)):
        last += 1
    while last > first and (not lines[last - 1].strip() or lines[last - 1].lstrip().startswith("#")):
        last -= 1
    return _sound(text, "".join(lines[: first - 1] + lines[last:]), wanted, first, last)


def _belongs(text: str, number: int, way: Way) -> bool:
    """Say whether the header in a line is a table within an entry, such as [goods.polo.along]."""
    held = tomllib.loads("\n".join([text.splitlines()[number - 1], "x = 1"]))
    for key in way:
        held = held[0] if isinstance(held, list) else held
        if isinstance(key, int):
            continue
        if key not in held:
            return False
        held = held[key]
    return isinstance(held, dict) and "x" not in held


def _sound(old: str, made: str, wanted: object, first: int = 1, last: int = 0) -> str:
    """Return a changed text after a look at what it means; notes outside of lines first to last must stay."""
    try:
        holds = tomllib.loads(made.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError:
        raise _by_hand() from None
    lines = old.splitlines()
    kept = _notes("\n".join(lines[: first - 1] + lines[max(last, first - 1) :]))
    if holds != wanted or kept - _notes(made):
        raise _by_hand()
    return made


def _notes(text: str) -> Counter[str]:
    return Counter(line.strip() for line in text.splitlines() if line.lstrip().startswith("#"))


def _by_hand() -> BadJob:
    return BadJob(
        "the file is written in a way that this form cannot change without touching something else; "
        "change it as text, at the foot of My things"
    )


def free_name(folder: Path, stem: str) -> str:
    """Return the name of a TOML file that is not there yet."""
    names = [f"{stem}.toml", *(f"{stem}-{number}.toml" for number in range(2, 1000))]
    return next(name for name in names if not (folder / name).exists())
