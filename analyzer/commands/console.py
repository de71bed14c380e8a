"""What the commands say on the terminal: results to stdout, errors and progress to stderr."""

from __future__ import annotations

import io
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

_WIDEST = 100
_LINE = 78
_EVERY_S = 0.2


def prepare_streams() -> None:
    """Make stdout and stderr UTF-8 whatever the locale; undecodable names come out as they came in."""
    errors = "backslashreplace" if sys.platform == "win32" else "surrogateescape"
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors=errors)


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
def progress(label: str) -> Iterator[Callable[[str, float], None] | None]:
    """Show that work on ``label`` goes on, on stderr and only on a terminal; None where nobody watches."""
    if not sys.stderr.isatty() or os.environ.get("TERM", "") == "dumb":
        yield None
        return
    from rich.console import Console
    from rich.markup import escape

    with Console(stderr=True).status(escape(label)) as status:

        def tell(what: str, share: float) -> None:
            status.update(escape(f"{label}: {what}"))

        yield tell


class ProgressLine:
    """One line on stderr that says how far long work is; silent when nobody watches."""

    def __init__(self) -> None:
        self.shown, self.last = sys.stderr.isatty(), 0.0

    def due(self) -> bool:
        """Say whether somebody watches and the line has stood a moment."""
        return self.shown and time.monotonic() - self.last >= _EVERY_S

    def say(self, line: str) -> None:
        """Put ``line`` in the place of the one before."""
        self.last = time.monotonic()
        click.echo(f"\r{line:<{_LINE}}", nl=False, err=True)

    def end(self) -> None:
        """Leave the line."""
        if self.shown:
            click.echo("\r" + " " * _LINE + "\r", nl=False, err=True)


def span(seconds: float) -> str:
    """Return a time to wait, in words."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
