"""What every part of the page uses: what it works with, how it shows something, how it reads a request."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse

from analyzer import __version__
from analyzer.job import Job
from analyzer.page.store import Store, Upload
from analyzer.page.workers import Hall
from analyzer.report.numbers import sound_text

_KEYS = ("goods", "care", "back", "holding", "hoop", "thread", "topping", "backing", "colour", "units")


@dataclass(frozen=True, slots=True)
class Page:
    """What one running page works with."""

    store: Store
    hall: Hall
    base: Callable[[], Job]  #: what the user's own settings say; asked anew each time
    book: Path | None
    settings_file: Path | None
    basket: dict[str, tuple[str, dict[str, str], int, str]]  #: line -> token, choices, quantity, placement
    taking: asyncio.Semaphore  #: uploads that are held in memory at a time


def page_of(request: Request) -> Page:
    """Return what the page works with."""
    page: Page = request.app.state.page
    return page


_templates = jinja2.Environment(
    loader=jinja2.FunctionLoader(
        lambda name: files("analyzer.page").joinpath("templates", name).read_text(encoding="utf-8")
    ),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def show(template: str, status: int = 200, **context: Any) -> HTMLResponse:
    """Return a page or a part of one; everything in it is text unless a template says otherwise."""
    return HTMLResponse(_templates.get_template(template).render(version=__version__, **context), status)


def trouble(text: str, status: int = 400, *, part: bool = False) -> HTMLResponse:
    """Return one line that says what is wrong and what to do."""
    return show("trouble_part.html" if part else "trouble.html", status, text=sound_text(text))


def whole(text: str, most: int) -> int | None:
    """Return a typed whole number of at least 1, None where it is none or more than ``most``."""
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) <= 9):
        return None
    return int(plain) if 1 <= int(plain) <= most else None


def said_in(values: Mapping[str, Any] | FormData) -> dict[str, str]:
    """Return the choices that a request names."""
    return {key: str(values[key]) for key in _KEYS if key in values and str(values[key]).strip()}


def shown_name(name: str) -> str:
    """Return the last part of a name that a browser sent, fit to be shown; it is never used as a path."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(mark if mark.isprintable() else "?" for mark in sound_text(last))[:120] or "design"


def upload_of(request: Request) -> Upload:
    """Return the upload that a request is about, or answer that there is none."""
    found = page_of(request).store.upload(request.path_params["token"])
    if found is None:
        raise HTTPException(404)
    return found
