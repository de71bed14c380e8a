"""My things: the user's own goods, stock, machine and limits, as the settings file of every command."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import anyio
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from analyzer.errors import BadJob, PrehoopError
from analyzer.goods.own import tables_of
from analyzer.goods.own_files import machine_of, stock_of
from analyzer.goods.tables import Tables
from analyzer.job import OwnMaterials
from analyzer.page import own_goods, own_machine
from analyzer.page.frame import Page, page_of, show, trouble, whole
from analyzer.page.own_fields import LETTERS, Form, Wrong, shown
from analyzer.page.own_goods import KINDS
from analyzer.page.own_keep import UNREADABLE, Files, Moved, files_of, keep, without_folder
from analyzer.page.own_text import MOST_BYTES, edited, without

_EXAMPLE = """# What every check goes by. Lines that begin with # are notes.

[job]
# goods = "crew-polo"

[limits]
# hoop_edge_mm = 3
"""
_KEPT = {
    "goods": "The cloth is kept. It stands under Goods wherever a design is looked over.",
    "backings": "The backing is kept. It is chosen from wherever the backing that it is like would be.",
    "machine": "The machine is kept.",
    "stock": "The stock is kept.",
    "limits": "The limits are kept.",
    "text": "Kept.",
    "removed": "Removed.",
}
_MOVED = (
    "The file was changed meanwhile, by hand or in another tab. What you filled in is below: look it over, "
    "and keep it again to lay it over what the file holds now."
)


def routes() -> list[BaseRoute]:
    """Return the routes of one's own things."""
    return [
        Route("/own", own),
        Route("/own/text", save_text, methods=["POST"]),
        Route("/own/remove", remove, methods=["GET", "POST"]),
        Route("/own/{what}", one, methods=["GET", "POST"]),
    ]


def _settings(page: Page) -> Path:
    if page.settings_file is None:
        raise HTTPException(404, "The page was started without a settings file.")
    return page.settings_file


async def own(request: Request) -> Response:
    """Show what there is."""
    page = page_of(request)
    if page.settings_file is None:
        return show("own.html", can=False)
    said = _KEPT.get(request.query_params.get("kept", ""), "")
    return await anyio.to_thread.run_sync(_overview, page.settings_file, said, "", None)


def _overview(settings: Path, said: str, error: str, typed: str | None) -> Response:
    """Show everything that is one's own, and the text of the file."""
    text, seen, name = "", "", settings.name
    context: dict[str, Any] = {"lists": (), "machine": "", "stock": "", "limits": ()}
    try:
        files = files_of(settings)
        text, seen = files.text or _EXAMPLE, files.seen
        context = _listed(files)
    except PrehoopError as wrong:
        error = error or without_folder(str(wrong), settings.parent)
        if not seen:
            seen = UNREADABLE
            text = settings.read_bytes()[:MOST_BYTES].decode("utf-8", "replace")
    return show(
        "own.html", 422 if error else 200, can=True, name=name, text=text if typed is None else typed,
        seen=seen, said=said, error=error, **context,
    )  # fmt: skip


def _listed(files: Files) -> dict[str, Any]:
    tables = _tables(files)
    lists = []
    for kind in KINDS.values():
        entries = [
            (name, _about(kind, entry), urlencode({"name": name}))
            for name, entry in files.section(kind.table).items()
        ]
        lists.append((kind, entries))
    machine = _machine(files)
    frames = len(machine.get("frame", ()))
    about = (
        f"{shown(machine.get('name')) or 'unnamed'}: {shown(machine.get('needles'))} needles, "
        f"{shown(machine.get('speed_spm'))} stitches a minute, {frames} frame{'s' * (frames != 1)}"
    )
    stock = stock_of(files.part("stock")) if files.stock is not None and files.stock_text else ()
    words = own_machine.limit_words()
    return {
        "lists": lists,
        "machine": about if machine else "",
        "stock": own_machine.stock_words(stock, tables),
        "limits": [(words.get(name, name), shown(value)) for name, value in files.section("limits").items()],
    }


def _about(kind: own_goods.Kind, entry: Mapping[str, Any]) -> str:
    values = own_goods.values_of(kind, "", entry)
    weight = values["weight"].replace(" ", ", ")
    return f"like {values['like']}" + (f", {weight} g/m2" if weight else "")


def _tables(files: Files) -> Tables:
    return tables_of((OwnMaterials(files.text, files.settings.name),))


def _machine(files: Files) -> Mapping[str, Any]:
    """Return what the machine's file holds, which the reader has accepted; nothing where there is none."""
    file = files.part("machine")
    if file.table:
        machine_of(file)
    return file.table


async def one(request: Request) -> Response:
    """Show a form, or keep what it says."""
    page, what = page_of(request), request.path_params["what"]
    settings = _settings(page)
    if what not in (*KINDS, "machine", "stock", "limits"):
        raise HTTPException(404)
    name = request.query_params.get("name", "")
    if request.method != "POST":
        try:
            form, files = await anyio.to_thread.run_sync(_form, settings, what, name, {})
        except PrehoopError as error:
            return trouble(without_folder(str(error), settings.parent))
        return _shown(replace(form, seen=files.seen), what, name)
    async with request.form(max_files=0, max_fields=800, max_part_size=64_000) as sent:
        said = {key: str(value).strip()[:LETTERS] for key, value in sent.items()}
    return await anyio.to_thread.run_sync(_kept, page, settings, what, name, said)


def _shown(form: Form, what: str, name: str, status: int = 200) -> Response:
    query = urlencode({"name": name}) if name else ""
    return show("own_form.html", status, form=form, what=what, query=query)


def _form(settings: Path, what: str, name: str, said: Mapping[str, str]) -> tuple[Form, Files]:
    """Return a form as the files are, and the files; ``said`` may ask for more rows."""
    files = files_of(settings)
    values = _values(files, what, name)
    if what in KINDS:
        return own_goods.form_of(KINDS[what], values, new=not name), files
    if what == "machine":
        frames = len(_machine(files).get("frame", ()))
        asked = whole(said.get("rows", ""), own_machine.MOST_FRAMES) or 0
        rows = min(own_machine.MOST_FRAMES, max(frames + 2, asked))
        form = own_machine.machine_form(values, rows)
        return replace(form, hidden=(("rows", str(rows)),)), files
    if what == "stock":
        return own_machine.stock_form(values, _tables(files)), files
    return own_machine.limits_form(values), files


def _values(files: Files, what: str, name: str) -> dict[str, str]:
    if what in KINDS:
        _tables(files)
        if not name:
            return {}
        entry = files.section(what).get(name)
        if entry is None:
            raise BadJob(f"there is none called {name} any more")
        return own_goods.values_of(KINDS[what], name, entry)
    if what == "machine":
        return own_machine.machine_values(_machine(files))
    if what == "stock":
        file = files.part("stock")
        return own_machine.stock_values(stock_of(file) if file.table else (), _tables(files))
    return own_machine.limits_values(files.section("limits"))


def _kept(page: Page, settings: Path, what: str, name: str, said: dict[str, str]) -> Response:
    """Keep what a form says, or show it again with what is wrong beside each field."""
    if "more" in said:
        rows = whole(said.get("rows", ""), own_machine.MOST_FRAMES) or 0
        said["rows"] = str(min(rows + 4, own_machine.MOST_FRAMES))
    errors: dict[str, str] = {}
    error, form = "", None
    try:
        form, files = _form(settings, what, name, said)
        form = replace(form, seen=files.seen)
        if "more" in said:
            return _shown(form.filled(said, {}), what, name)
        keep(files, said.get("seen", ""), _changes(files, what, name, said), page.base)
        return RedirectResponse(f"/own?{urlencode({'kept': what})}", 303)
    except Wrong as wrong:
        errors = wrong.errors
    except Moved:
        error = _MOVED
    except PrehoopError as wrong:
        error = without_folder(str(wrong), settings.parent)
    if form is None:
        return trouble(error)
    return _shown(form.filled(said, errors, error), what, name, 422)


def _changes(files: Files, what: str, name: str, said: Mapping[str, str]) -> dict[Path, str]:
    """Return the files that a form changes, as they should become."""
    settings, before = files.settings, _values(files, what, name)
    if what in KINDS:
        called = name or own_goods.name_of(said.get("name", ""))
        if not name and called in files.section(what):
            raise Wrong({"name": f"there is one called {called} already: open that, or choose another name"})
        kind = KINDS[what]
        return {settings: own_goods.changed_text(files.text, settings.name, kind, called, said, before)}
    if what == "limits":
        return {settings: own_machine.limits_text(files.text, said, before)}
    file = files.part(what)
    if what == "machine":
        made = own_machine.machine_text(file.text, file.path, said, before)
        return {file.path: made} | _naming(files, what, file.path)
    tables = _tables(files)
    items = own_machine.stock_of_form(said, tables)
    if not items:
        return _naming(files, what, None)
    return {file.path: own_machine.stock_text(file.text, file.path, items, tables)} | _naming(
        files, what, file.path
    )


def _naming(files: Files, what: str, path: Path | None) -> dict[Path, str]:
    """Return the settings with the name of the machine's or the stock's file, or without it."""
    held = files.machine if what == "machine" else files.stock
    if held == path:
        return {}

    def change(doc: Any) -> None:
        if path is None:
            del doc["job"][what]
            return
        if "job" not in doc:
            import tomlkit

            doc["job"] = {} if type(doc) is dict else tomlkit.table()
        doc["job"][what] = path.name

    return {files.settings: edited(files.text, change)}


async def remove(request: Request) -> Response:
    """Ask whether to remove an entry, and remove it."""
    page = page_of(request)
    settings = _settings(page)
    if request.method != "POST":
        table, name = (request.query_params.get(key, "") for key in ("table", "name"))
        try:
            files = await anyio.to_thread.run_sync(files_of, settings)
        except PrehoopError as error:
            return trouble(without_folder(str(error), settings.parent))
        if table not in KINDS or name not in files.section(table):
            raise HTTPException(404)
        return show("own_remove.html", kind=KINDS[table], name=name, seen=files.seen)
    async with request.form(max_files=0, max_fields=10) as sent:
        said = {key: str(value)[:200] for key, value in sent.items()}
    return await anyio.to_thread.run_sync(_removed, page, settings, said)


def _removed(page: Page, settings: Path, said: Mapping[str, str]) -> Response:
    table, name = said.get("table", ""), said.get("name", "")
    try:
        files = files_of(settings)
        if table not in KINDS or name not in files.section(table):
            return trouble("It is no longer there.", 404)
        keep(files, said.get("seen", ""), {settings: without(files.text, (table, name))}, page.base)
    except Moved:
        return trouble("The file was changed meanwhile: open My things again.", 409)
    except PrehoopError as error:
        return trouble(f"It stays: {without_folder(str(error), settings.parent)}")
    return RedirectResponse("/own?kept=removed", 303)


async def save_text(request: Request) -> Response:
    """Keep the settings as text, unless something in them is wrong: then say what, and keep nothing."""
    page = page_of(request)
    settings = _settings(page)
    async with request.form(max_files=0, max_fields=5, max_part_size=4 * MOST_BYTES) as form:
        text = str(form.get("text", "")).replace("\r\n", "\n")
        seen = str(form.get("seen", ""))
    if len(text.encode("utf-8", "replace")) > MOST_BYTES:
        return trouble(f"That is longer than {MOST_BYTES:,} bytes.", 413)
    return await anyio.to_thread.run_sync(_text_kept, page, settings, text, seen)


def _text_kept(page: Page, settings: Path, text: str, seen: str) -> Response:
    error = ""
    try:
        try:
            files = files_of(settings)
        except PrehoopError:  # what is there cannot be read: this is how it is mended
            files = Files(settings, "", None, "", None, "")
        keep(files, seen, {settings: text}, page.base)
        return RedirectResponse("/own?kept=text", 303)
    except Moved:
        error = _MOVED
    except PrehoopError as wrong:
        error = without_folder(str(wrong), settings.parent)
    return _overview(settings, "", f"{error} Nothing was kept.", text)
