"""The local page: its application, and the way in: dropping designs. Workers do the computing."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path
from urllib.parse import urlencode

import anyio
from starlette.applications import Starlette
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from analyzer.formats import known
from analyzer.job import Job
from analyzer.page import answers, book_view, order_view, own_view
from analyzer.page.choices import choices
from analyzer.page.frame import Page, page_of, said_in, show, shown_name, trouble, upload_of
from analyzer.page.guard import Guard
from analyzer.page.store import Store, Upload
from analyzer.page.tasks import Wanted
from analyzer.page.workers import Busy, Hall
from analyzer.report.html import page_script, page_style

_FILES = 50  #: uploads at a time


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
    page = Page(store, hall, base, book, settings_file, {}, asyncio.Semaphore(2))

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        try:
            yield
        finally:
            await anyio.to_thread.run_sync(hall.close)
            store.close()

    static = files("analyzer.page").joinpath("static")
    app = Starlette(
        routes=[
            Route("/", start),
            Route("/designs", upload, methods=["POST"]),
            Route("/designs/{token}", design),
            Route("/designs/{token}/others", others),
            Route("/designs/{token}/remove", remove, methods=["POST"]),
            *answers.routes(),
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


async def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    says = {404: "There is nothing here. It may have been removed, or the page was started anew."}
    part = "hx-request" in request.headers
    return trouble(says.get(error.status_code, str(error.detail)), error.status_code, part=part)


async def _error(_: Request, error: Exception) -> Response:
    return trouble(f"Something went wrong inside prehoop ({type(error).__name__}); please report it.", 500)


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
                async with page.taking:
                    content = await part.read()
                    name = shown_name(part.filename)
                    kept.append(await anyio.to_thread.run_sync(page.store.add, name, content))
    if not kept:
        return trouble("No file came with that: choose one or more stitch files.")
    return RedirectResponse(f"/designs/{kept[0].token}?{urlencode(said)}", 303)


async def design(request: Request) -> Response:
    """Show one design with its choices; the answer follows by itself."""
    page, one = page_of(request), upload_of(request)
    said = said_in(request.query_params)
    others = [(other, "") for other in _others(page, one)]
    return show(
        "design.html",
        design=one,
        choices=choices(said, page.base()),
        query=urlencode(said),
        others=others,
        seen=False,
    )


def _others(page: Page, one: Upload) -> list[Upload]:
    """Return the other files dropped, the newest first, as many as can be dropped at a time."""
    return [other for other in page.store.uploads() if other.token != one.token][:_FILES]


async def others(request: Request) -> Response:
    """Name the other files dropped, with what is wrong with those that cannot be read."""
    page, one = page_of(request), upload_of(request)
    files = _others(page, one)
    items = tuple((other.path, other.name, Job(), 1, "") for other in files)
    wrong = [""] * len(files)
    with contextlib.suppress(Busy):  # then they are named, and what is wrong is said where they are opened
        task = page.hall.ask(Wanted("glance", one.path, one.name, Job(), items=items))
        await answers.ended(task, float("inf"))
        content = page.store.answer(task.wanted.key)
        wrong = json.loads(content) if content else wrong
    said = urlencode(said_in(request.query_params))
    return show("others.html", design=one, query=said, others=list(zip(files, wrong, strict=True)), seen=True)


async def remove(request: Request) -> Response:
    """Forget an upload."""
    page_of(request).store.remove(upload_of(request).token)
    return RedirectResponse("/", 303)
