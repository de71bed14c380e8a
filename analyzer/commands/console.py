"""What the commands say on the terminal: results to stdout, errors and progress to stderr."""

from __future__ import annotations

import io
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

import click

_WIDEST = 100


class Progress(Protocol):
    """What a long call is given to say how far it has come."""

    def __call__(self, *told: object) -> None:
        """Say so."""


def prepare_streams() -> None:
    """Make stdout and stderr UTF-8 whatever the locale, with undecodable names shown and not raised."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")


def complain(message: str) -> None:
    """Write one line to stderr."""
    click.echo("prehoop: " + " ".join(message.split()), err=True)


def say_error(error: BaseException, about: str | None = None) -> None:
    """Write an error as one line, with the file that it is about where the error itself does not say."""
    if isinstance(error, click.ClickException):
        message = error.format_message()
    elif isinstance(error, OSError) and error.strerror:
        message = f"{error.filename}: {error.strerror.lower()}" if error.filename else error.strerror
    else:
        message = str(error) or type(error).__name__
    if about and about not in message:
        message = f"{about}: {message}"
    complain(message)


def allows_bold() -> bool:
    """Return whether stdout takes terminal sequences: a terminal, not dumb, and NO_COLOR not set."""
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR"):
        return True
    return sys.stdout.isatty() and os.environ.get("TERM", "") != "dumb"


def screen_width() -> int:
    """Return the width to set text in: the terminal's up to a readable limit, 80 where there is none."""
    return min(_WIDEST, shutil.get_terminal_size((80, 24)).columns) if sys.stdout.isatty() else 80


@contextmanager
def progress(label: str) -> Iterator[Progress | None]:
    """Show that work on ``label`` goes on, on stderr and only on a terminal; None where nobody watches."""
    if not sys.stderr.isatty() or os.environ.get("TERM", "") == "dumb":
        yield None
        return
    from rich.console import Console
    from rich.markup import escape

    with Console(stderr=True).status(escape(label)) as status:

        def tell(*told: object) -> None:
            status.update(escape(" · ".join([label, *(_told(part) for part in told)])))

        yield tell


def _told(part: object) -> str:
    return f"{part:.0%}" if isinstance(part, float) and 0.0 <= part <= 1.0 else str(part)
