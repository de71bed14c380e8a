"""The options that several commands share, each defined once."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from analyzer.choices import BACKS, CARES, HOLDINGS

_F = TypeVar("_F", bound=Callable[..., Any])
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
READ_LIMITS = ("megabytes", "stitches", "metres", "seconds", "memory")
BOOK = ".prehoop.sqlite"  #: the design book of a folder, unless it is given another place
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


def book_in(path: Path) -> Path:
    """Return a design book, given itself or the folder that was scanned."""
    return path / BOOK if path.is_dir() else path


class Length(click.ParamType[float]):
    """A length: ``0.5``, ``0.5mm``, ``0.02in``; becomes mm."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the length in mm, or complain."""
        from analyzer.report.words import parse_length_mm

        try:
            return parse_length_mm(str(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


class Colour(click.ParamType[str]):
    """A colour as ``#RRGGBB``."""

    name = "colour"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the colour in lower case, or complain."""
        if not _COLOUR.fullmatch(str(value)):
            self.fail(
                f"'{value}' is no colour; write six hexadecimal digits, for example #1f4e79", param, ctx
            )
        return str(value).lower()


class ReadLimit(click.ParamType[tuple[str, float]]):
    """A limit of reading and its value: ``stitches=1000000``."""

    name = "limit"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, float]:
        """Return the limit's name and its value, or complain."""
        limit, _, number = str(value).partition("=")
        if limit not in READ_LIMITS:
            self.fail(f"'{limit}' is no limit of reading; write {' or '.join(READ_LIMITS)}", param, ctx)
        try:
            size = float(number)
        except ValueError:
            size = 0.0
        if not 0.0 < size < float("inf"):
            self.fail(f"'{number}' is no size above zero; write for example {limit}=1000", param, ctx)
        return limit, size


OPTIONS: dict[str, Callable[[_F], _F]] = {
    "goods": click.option(
        "--goods",
        metavar="NAME",
        help="Cloth of the goods table (prehoop goods lists it).",
    ),
    "colour": click.option("--colour", type=Colour(), metavar="#RRGGBB", help="Colour of the goods."),
    "care": click.option(
        "--care", type=click.Choice(CARES), help="How the goods will be cleaned (the goods' own)."
    ),
    "back": click.option("--back", type=click.Choice(BACKS), help="Whether the back shows or touches skin."),
    "holding": click.option(
        "--holding",
        type=click.Choice(HOLDINGS),
        default="hooped",
        show_default=True,
        help="How the goods are held.",
    ),
    "hoop": click.option(
        "--hoop",
        metavar="WxH|oWxH|NAME",
        help="Sewing field in mm, or in inches as 5x7in; oval with o (the smallest that fits).",
    ),
    "machine": click.option(
        "--machine", type=_FILE, metavar="FILE", help="My machine: frames, needles, speed (TOML)."
    ),
    "thread": click.option("--thread", metavar="NAME", help="Upper thread of the threads table."),
    "needle": click.option("--needle", metavar="NAME", help="Needle of the needles table."),
    "speed": click.option(
        "--speed", type=click.FloatRange(min=0.0, min_open=True), metavar="SPM", help="Stitches a minute."
    ),
    "tolerance": click.option(
        "--tolerance",
        type=Length(),
        metavar="LENGTH",
        help="Bare cloth allowed at an outline, in mm or as 0.02in (by goods and outline).",
    ),
    "topping": click.option("--topping", metavar="KIND|none", help="Judge with this topping."),
    "applique": click.option(
        "--applique", metavar="NAME", help="Cloth of an applique's piece (the goods' own)."
    ),
    "units": click.option(
        "--units",
        type=click.Choice(["mm", "in"]),
        default="mm",
        show_default=True,
        help="Of what is shown; what is given is in mm unless it says in.",
    ),
    "stock": click.option(
        "--stock", type=_FILE, metavar="FILE", help="Choose only from what is there (TOML)."
    ),
    "backing": click.option(
        "--backing",
        multiple=True,
        metavar="KIND:WEIGHT[xLAYERS]",
        help="Judge this stack instead of choosing one (85, 85gsm, 2.5oz; repeatable), or none.",
    ),
    "records": click.option(
        "--records",
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        help="Records of measured sew-outs (your own, kept by prehoop).",
    ),
    "json": click.option("--json", "as_json", is_flag=True, help="The result as JSON."),
    "maps": click.option(
        "--maps",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="FOLDER",
        help="Write the cloth maps.",
    ),
    "maps-as": click.option(
        "--maps-as",
        type=click.Choice(["png", "svg"]),
        default="png",
        show_default=True,
        help="Whether cloth maps are pictures or drawings.",
    ),
    "report": click.option(
        "--report",
        "reports",
        type=click.Path(dir_okay=False, path_type=Path),
        multiple=True,
        metavar="FILE",
        help="Write a report; its name ends in .html or .pdf. Repeatable.",
    ),
    "force": click.option("--force", is_flag=True, help="Write over files that are there already."),
    "read-limit": click.option(
        "--read-limit",
        "read_limits",
        type=ReadLimit(),
        multiple=True,
        metavar="NAME=VALUE",
        help="Let a file be larger or take longer: megabytes, stitches, metres, seconds, memory (megabytes).",
    ),
    "seed": click.option(
        "--seed",
        type=click.IntRange(min=0),
        default=0,
        show_default=True,
        help="For sampling the uncertainties.",
    ),
}


def options(*names: str) -> Callable[[_F], _F]:
    """Return a decorator that gives a command the shared options ``names``, listed in that order."""

    def decorate(command: _F) -> _F:
        for name in reversed(names):
            command = OPTIONS[name](command)
        return command

    return decorate
