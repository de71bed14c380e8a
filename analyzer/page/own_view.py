"""My things: the user's own goods, stock, machine and limits, as the settings file of every command."""

from __future__ import annotations

import os
from pathlib import Path

import anyio
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from analyzer.errors import PrehoopError
from analyzer.files import write_whole
from analyzer.page.app import page_of, show, trouble

_MOST = 200_000  #: letters
_EXAMPLE = """# What every check goes by. Lines that begin with # are notes.

[job]
# goods = "crew-polo"
# machine = "loft.toml"        # beside this file; frames, needles, heads, speed
# stock = "shelf.toml"         # beside this file; choose only from these backings

[limits]
# hoop_edge_mm = 3

# [goods.crew-polo]
# like = "pique"
# weight_g_m2 = 205
"""


def routes() -> list[BaseRoute]:
    """Return the routes of one's own things."""
    return [Route("/own", own), Route("/own", save, methods=["POST"])]


def _read(file: Path) -> str:
    return file.read_text(encoding="utf-8") if file.is_file() else _EXAMPLE


async def own(request: Request) -> Response:
    """Show the settings as they are."""
    page = page_of(request)
    if page.settings_file is None:
        return show("own.html", text="", name="", said="", kept=False, can=False)
    text = await anyio.to_thread.run_sync(_read, page.settings_file)
    return show("own.html", text=text, name=page.settings_file.name, said="", kept=False, can=True)


async def save(request: Request) -> Response:
    """Keep the settings, unless something in them is wrong: then say what, and keep nothing."""
    page = page_of(request)
    if page.settings_file is None:
        return trouble("The page was started without a settings file.", 404)
    async with request.form(max_files=0, max_fields=5, max_part_size=4 * _MOST) as form:
        text = str(form.get("text", "")).replace("\r\n", "\n")
    if len(text) > _MOST:
        return trouble(f"That is longer than {_MOST:,} letters.", 413)
    said = await anyio.to_thread.run_sync(_kept, page.settings_file, text, page.base)
    return show("own.html", text=text, name=page.settings_file.name, said=said, kept=not said, can=True)


def _kept(file: Path, text: str, base: object) -> str:
    """Write the settings and read them again; put the old ones back when they are refused, and say why."""
    assert callable(base)
    old = file.read_bytes() if file.is_file() else None
    file.parent.mkdir(parents=True, exist_ok=True)
    try:
        write_whole(file, text.encode("utf-8"), force=True)
        base()
    except (PrehoopError, OSError) as error:
        if old is None:
            file.unlink(missing_ok=True)
        else:
            write_whole(file, old, force=True)
        return str(error).replace(str(file.parent) + os.sep, "")
    return ""
