"""Which stitch formats are read, which are also written, and what each can hold."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

import pyembroidery

from analyzer.formats.decoded import UNIT_MM

_STITCHED = ("embroidery", "stitch", "debug")  # pyembroidery's categories that hold stitches


@dataclass(frozen=True, slots=True)
class Format:
    """One stitch format; ``colours``, ``trims``, ``stops``, ``sequins``: whether a file states them.

    ``ends`` says whether a file has an end record, so that a cut is noticed; ``lost`` what does not come
    through in it, one phrase, empty where nothing is known to be.
    """

    name: str  #: upper-case canonical extension, "DST"
    about: str  #: how its data are laid out, one phrase
    extensions: tuple[str, ...]  #: without the dot
    read: bool
    written: bool
    colours: bool
    trims: bool
    stops: bool
    sequins: bool
    ends: bool
    lost: str
    step_mm: float | None = None  #: longest step of one record, where the format is written


@cache
def known() -> Mapping[str, Format]:
    """Return all formats that are read, by name; read-only."""
    holds = tomllib.loads(
        resources.files("analyzer.formats").joinpath("data/formats.toml").read_text("utf-8")
    )
    formats = {}
    for entry in pyembroidery.supported_formats():
        extension = entry["extension"]
        if entry["category"] not in _STITCHED or entry.get("reader") is None:
            continue  # pictures, and lists of thread colours without stitches
        formats[extension.upper()] = Format(
            name=extension.upper(),
            about=holds["about"].get(extension, "a stitch format"),
            extensions=_extensions(entry),
            read=True,
            written=extension in holds["written"],
            **{what: extension in holds[what] for what in ("colours", "trims", "stops", "sequins", "ends")},
            lost=holds["lost"].get(extension, ""),
            step_mm=holds["written"][extension] * UNIT_MM if extension in holds["written"] else None,
        )
    return MappingProxyType(dict(sorted(formats.items())))


def _extensions(entry: Mapping[str, Any]) -> tuple[str, ...]:
    # one entry of the library's table gives a bare string where the others give a tuple, one keeps its dot
    listed = entry["extensions"]
    every = (listed,) if isinstance(listed, str) else tuple(listed)
    return tuple(dict.fromkeys(name.lower().lstrip(".") for name in (entry["extension"], *every)))


@cache
def by_extension() -> Mapping[str, str]:
    """Return the name of the format for each extension (lower case, without the dot)."""
    return MappingProxyType({extension: f.name for f in known().values() for extension in f.extensions})
