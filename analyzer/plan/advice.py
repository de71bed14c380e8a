"""The plan's texts, kept as data beside the code."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType


@cache
def _texts() -> Mapping[str, Mapping[str, str]]:
    text = files("analyzer.plan").joinpath("advice.toml").read_text(encoding="utf-8")
    return MappingProxyType(
        {group: MappingProxyType(entries) for group, entries in tomllib.loads(text).items()}
    )


def say(group: str, name: str, **filled: object) -> str:
    """Return the text ``name`` of ``group`` with its words in braces filled in."""
    return _texts()[group][name].format(**filled)
