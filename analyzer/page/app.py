"""The local page: routes and what they show. Workers compute; the page stays quick meanwhile."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import anyio
import jinja2
from starlette.applications import Starlette
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from analyzer import __version__
from analyzer.errors import PrehoopError
from analyzer.formats import known
from analyzer.job import Job
from analyzer.page.choices import CARE_WORDS, choices, job_of
from analyzer.page.guard import Guard
from analyzer.page.store import Store, Upload
from analyzer.page.tasks import Wanted, copied_name
from analyzer.page.workers import Busy, Hall, Task
from analyzer.report.html import page_script, page_style
from analyzer.report.numbers import sound_text
from analyzer.report.words import OUTCOMES

_SOON_S = 1.0  #: how long a request waits for an answer before it shows how far it is
_FILES = 50  #: uploads at a time
_KEYS = ("goods", "care", "back", "holding", "hoop", "thread", "topping", "backing", "colour", "units")
#: what can be taken away -> kind of task, ending of the file's name, media type
DOWNLOADS = {
    "risk-report": ("pdf", "-risk-report.pdf", "application/pdf"),
    "sewing-sheet": ("sheet", "-sewing-sheet.pdf", "application/pdf"),
    "report": ("html", "-report.html", "text/html; charset=utf-8"),
    "check": ("json", "-check.json", "application/json"),
    "countered": ("countered", "", "application/octet-stream"),
}


@dataclass(frozen=True, slots=True)
class Page:
    """What one running page works with."""

    store: Store
    hall: Hall
    base: Callable[[], Job]  #: what the user's own settings say; asked anew each time
    book: Path | None
    settings_file: Path | None
    basket: dict[str, tuple[str, dict[str, str], int, str]]  #: line -> token, choices, quantity, placement


def make_app(
    base: Callable[[], Job],
    port: int,
    *,
    book: Path | None = None,
    settings_file: Path | None = None,
    workers: int = 2,
) -> Starlette:
    """Return the page as an application that a server runs.

    Args:
        base: gives the job that the user's own settings describe.
        port: that it will be served on; requests that name another are refused.
        book: design book to look through.
        settings_file: the user's own settings, shown and written when they ask for it.
        workers: processes that compute.

    """
    store = Store()
    hall = Hall(store, workers)
    page = Page(store, hall, base, book, settings_file, {})

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        try:
            yield
        finally:
            await anyio.to_thread.run_sync(hall.close)
            store.close()

    from analyzer.page import book_view, order_view, own_view

    static = files("analyzer.page").joinpath("static")
    app = Starlette(
        routes=[
            Route("/", start),
            Route("/designs", upload, methods=["POST"]),
            Route("/designs/{token}", design),
            Route("/designs/{token}/answer", answer),
            Route("/designs/{token}/compare", compare),
            Route("/designs/{token}/take/{what}", take),
            Route("/designs/{token}/remove", remove, methods=["POST"]),
            Route("/tasks/{task}", progress),
            Route("/tasks/{task}/stop", stop, methods=["POST"]),
            *order_view.routes(),
            *book_view.routes(),
            *own_view.routes(),
            Route("/static/report.js", report_script),
            Route("/static/report.css", report_style),
            Mount("/static", StaticFiles(directory=str(static))),
        ],
        middleware=[Middleware(Guard, port=port)],
        exception_handlers={HTTPException: _http_error, Exception: _error},
        lifespan=lifespan,
    )
    app.state.page = page
    return app


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


async def _http_error(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    says = {404: "There is nothing here. It may have been removed, or the page was started anew."}
    return trouble(says.get(error.status_code, str(error.detail)), error.status_code)


async def _error(_: Request, error: Exception) -> Response:
    return trouble(f"Something went wrong inside prehoop ({type(error).__name__}); please report it.", 500)


def said_in(values: Mapping[str, Any] | FormData) -> dict[str, str]:
    """Return the choices that a request names."""
    return {key: str(values[key]) for key in _KEYS if key in values and str(values[key]).strip()}


async def report_script(_: Request) -> Response:
    """Hand out the script of the report that stands within the page."""
    return Response(page_script(), media_type="text/javascript")


async def report_style(_: Request) -> Response:
    """Hand out the style of the report that stands within the page."""
    return Response(page_style(), media_type="text/css")


async def start(request: Request) -> Response:
    """Show where to drop files, and what was dropped before."""
    page = page_of(request)
    endings = sorted({f".{ending}" for form in known().values() for ending in form.extensions})
    said = said_in(request.query_params)
    return show(
        "start.html",
        uploads=page.store.uploads(),
        endings=",".join(endings),
        choices=choices(said, page.base()),
        book=page.book is not None,
    )


async def upload(request: Request) -> Response:
    """Take in files and go on to the first of them."""
    page = page_of(request)
    async with request.form(max_files=_FILES, max_fields=50) as form:
        said = said_in(form)
        kept: list[Upload] = []
        for part in form.getlist("files"):
            if isinstance(part, UploadFile) and part.filename:
                content = await part.read()
                if content:
                    kept.append(page.store.add(shown_name(part.filename), content))
    if not kept:
        return trouble("No file came with that: choose one or more stitch files.")
    return RedirectResponse(f"/designs/{kept[0].token}?{urlencode(said)}", 303)


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


async def design(request: Request) -> Response:
    """Show one design with its choices; the answer follows by itself."""
    page, one = page_of(request), upload_of(request)
    said = said_in(request.query_params)
    others = [other for other in page.store.uploads() if other.token != one.token]
    return show(
        "design.html", design=one, choices=choices(said, page.base()), query=urlencode(said), others=others
    )


async def answer(request: Request) -> Response:
    """Show what comes out for the choices, or how far it is."""
    return await _answered(request, "answer")


async def _answered(request: Request, kind: str, extra: Mapping[str, str] | None = None) -> Response:
    page, one = page_of(request), upload_of(request)
    said = said_in(request.query_params) | dict(extra or {})
    try:
        job = job_of(said, page.base())
    except PrehoopError as error:
        return trouble(str(error), 200, part=True)
    units = "in" if said.get("units") == "in" else "mm"
    try:
        task = page.hall.ask(Wanted(kind, one.path, one.name, job, units))
    except Busy:
        return _overloaded()
    await anyio.to_thread.run_sync(partial(task.finished.wait, _SOON_S))
    return _of_task(page, task, request.url.query)


def _overloaded() -> Response:
    answer = trouble("Many designs are being looked at just now. Try again in a moment.", 503, part=True)
    answer.headers["retry-after"] = "5"
    return answer


def _of_task(page: Page, task: Task, query: str) -> Response:
    """Return what a task made, or how far it is."""
    if task.state in ("waiting", "working"):
        return show("progress.html", task=task, percent=round(100 * task.share))
    if task.state == "stopped":
        return trouble("Stopped. Change something, or ask again.", 200, part=True)
    if task.trouble is not None:
        return trouble(task.trouble, 200, part=True)
    content = page.store.answer(task.wanted.key)
    if content is None:
        return trouble("That answer is no longer kept: ask again.", 200, part=True)
    made = json.loads(content)
    token = next((one.token for one in page.store.uploads() if one.path == task.wanted.path), "")
    outcome = OUTCOMES.get(made["outcome"] or "", "measured")
    template = "summary.html" if task.wanted.kind == "summary" else "answer.html"
    context = {"made": made, "outcome": outcome, "token": token, "query": _query_of(task, query)}
    return show(template, goods=task.wanted.job.goods, **context)


def _query_of(task: Task, query: str) -> str:
    """Return the choices of a task as they stand in links."""
    if query:
        return query
    job = task.wanted.job
    backing = "+".join(job.backing) if isinstance(job.backing, tuple) else job.backing
    said = {
        "goods": job.goods, "care": job.care, "back": job.back, "holding": job.holding, "hoop": job.hoop,
        "thread": job.thread, "topping": job.topping, "backing": backing, "colour": job.colour,
        "units": task.wanted.units,
    }  # fmt: skip
    return urlencode({key: value for key, value in said.items() if value})


async def progress(request: Request) -> Response:
    """Show how far a task is, or what it made."""
    page = page_of(request)
    task = page.hall.task(request.path_params["task"])
    if task is None:
        return trouble("That is no longer known: ask again.", 200, part=True)
    await anyio.to_thread.run_sync(partial(task.finished.wait, 0.4))
    return _of_task(page, task, "")


async def stop(request: Request) -> Response:
    """Stop a task."""
    page = page_of(request)
    page.hall.stop(request.path_params["task"])
    return trouble("Stopped. Change something, or ask again.", 200, part=True)


async def compare(request: Request) -> Response:
    """Show two goods or two stacks side by side."""
    page, one = page_of(request), upload_of(request)
    said = said_in(request.query_params)
    second = {
        key: str(request.query_params[f"other_{key}"])
        for key in ("goods", "backing")
        if request.query_params.get(f"other_{key}", "").strip()
    }
    if "part" in request.query_params:
        extra = second if request.query_params["part"] == "second" else {}
        return await _answered(request, "summary", extra)
    return show(
        "compare.html",
        design=one,
        first=choices(said, page.base()),
        second=choices(said | second, page.base()),
        query=urlencode(said),
        other=urlencode({f"other_{key}": value for key, value in second.items()}),
        care_words=CARE_WORDS,
    )


async def take(request: Request) -> Response:
    """Hand out a report, a sheet, the JSON or the countered copy."""
    page, one = page_of(request), upload_of(request)
    what = request.path_params["what"]
    if what not in DOWNLOADS:
        raise HTTPException(404)
    kind, ending, media = DOWNLOADS[what]
    said = said_in(request.query_params)
    try:
        job = job_of(said, page.base())
    except PrehoopError as error:
        return trouble(str(error))
    units = "in" if said.get("units") == "in" else "mm"
    stem = Path(one.name).stem
    return await handed(page, Wanted(kind, one.path, one.name, job, units), stem, ending, media)


async def handed(page: Page, wanted: Wanted, stem: str, ending: str, media: str) -> Response:
    """Return a file that a task makes, or what is wrong."""
    try:
        task = page.hall.ask(wanted)
    except Busy:
        return _overloaded()
    await anyio.to_thread.run_sync(task.finished.wait)
    if task.trouble is not None or task.state == "stopped":
        return trouble(task.trouble or "Stopped.")
    content = page.store.answer(wanted.key)
    if content is None:
        return trouble("That is no longer kept: ask again.")
    name = f"{stem}{ending}" if ending else copied_name(wanted.name)
    headers = {"content-disposition": f"attachment; {_filename(name)}"}
    return Response(content, media_type=media, headers=headers)


def _filename(name: str) -> str:
    """Return a file's name for a header (RFC 6266): plain letters, and the true name encoded beside."""
    from urllib.parse import quote

    plain = "".join(mark if mark.isascii() and (mark.isalnum() or mark in "-_. ") else "_" for mark in name)
    return f"filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"


async def remove(request: Request) -> Response:
    """Forget an upload."""
    page_of(request).store.remove(upload_of(request).token)
    return RedirectResponse("/", 303)
