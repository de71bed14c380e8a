"""The schema of the design book, version by version: each is a script that brings the one before it up.

A new book goes the same way as an old one. A step that is done is never changed; a change is a further step.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from importlib.resources import files

SCHEMA = 3  #: the present version

#: one backing of a stack in words, such as ``tearaway 64 g/m2 (1.9 oz/yd2), 2 layers``
_BACKING = re.compile(r"(?P<kind>[a-z][a-z-]*) (?P<g_m2>\d+(?:\.\d+)?) g/m2[^,;]*, (?P<layers>\d+) layer")


def step(base: sqlite3.Connection, version: int) -> None:
    """Bring a book from the version before to ``version``; called inside a transaction."""
    base.create_function("kinds_in", 1, kinds_in, deterministic=True)
    base.create_function("weight_in", 1, weight_in, deterministic=True)
    base.create_function("layers_in", 1, layers_in, deterministic=True)
    script = files("analyzer.library").joinpath("schema", f"{version}.sql").read_text(encoding="utf-8")
    for statement in _statements(script):
        base.execute(statement)
    base.execute(f"PRAGMA user_version = {version}")


def _statements(script: str) -> Iterator[str]:
    """Yield the statements of a script of ours, in which neither text nor comments hold the marks of SQL."""
    bare = "\n".join(line.split("--")[0] for line in script.splitlines())
    yield from (statement for statement in bare.split(";") if statement.strip())


def kinds_in(stack: str) -> str:
    """Return the kinds of backing in a stack in words."""
    return ", ".join(found["kind"] for found in _BACKING.finditer(stack))


def weight_in(stack: str) -> float:
    """Return the weight of all backing in a stack in words, g/m2."""
    return sum(float(found["g_m2"]) * int(found["layers"]) for found in _BACKING.finditer(stack))


def layers_in(stack: str) -> int:
    """Return the layers of backing in a stack in words."""
    return sum(int(found["layers"]) for found in _BACKING.finditer(stack))
