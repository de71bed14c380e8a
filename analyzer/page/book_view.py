"""The design book on the page: small pictures, filters, and a way to open a design from it."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlencode

import anyio
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from analyzer.errors import PrehoopError
from analyzer.library.answers import Answer, ask, goods_in
from analyzer.library.book import Book
from analyzer.library.thumb import drawn
from analyzer.library.walking import content_of, found_at
from analyzer.page.frame import page_of, show, trouble, whole
from analyzer.page.store import Upload
from analyzer.report.words import OUTCOMES

_SHOWN = 60


def routes() -> list[BaseRoute]:
    """Return the routes of the design book."""
    return [Route("/book", book), Route("/book/open", open_design, methods=["POST"])]


def _question(params: dict[str, str]) -> str | None:
    """Return the filters of the form as a question to the book."""
    parts = []
    if params.get("name"):
        quoted = params["name"][:100].replace("'", "''")
        parts.append(f"name ~ '{quoted}'")
    if params.get("outcome") and params.get("on"):
        parts.append(f"{params['on']}.outcome = '{params['outcome']}'")
    for key, sign in (("most_stitches", "<="), ("most_width", "<=")):
        most = whole(params.get(key, ""), 10**9)
        if most is not None:
            column = "stitches" if key == "most_stitches" else "width_mm"
            parts.append(f"{column} {sign} {most}")
    if params.get("status"):
        parts.append("status != 'read'")
    if params.get("where"):
        parts.append(f"({params['where'][:1000]})")
    return " and ".join(parts) or None


def _asked(file: Path, params: dict[str, str]) -> tuple[Answer, tuple[str, ...], dict[str, str]]:
    with Book(file) as opened:
        answer = ask(opened, _question(params), sort=params.get("sort") or None, limit=_SHOWN)
        pictures: dict[str, str] = {}
        for record in answer.records():
            sha256 = str(record["sha256"])
            thumb = opened.base.execute("SELECT thumb FROM designs WHERE sha256 = ?", (sha256,)).fetchone()[0]
            tones = opened.base.execute("SELECT rgb FROM threads WHERE sha256 = ? ORDER BY block", (sha256,))
            if thumb:
                pictures[sha256] = drawn(thumb, tuple(row[0] for row in tones))
        return answer, goods_in(opened), pictures


async def book(request: Request) -> Response:
    """Show the designs that fit."""
    page = page_of(request)
    if page.book is None:
        return show("book.html", book=False)
    params = {key: value for key, value in request.query_params.items() if value.strip()}
    said = ""
    try:
        answer, goods, pictures = await anyio.to_thread.run_sync(_asked, page.book, params)
    except PrehoopError as error:
        said = str(error).replace(str(page.book), "the design book")
        try:
            answer, goods, pictures = await anyio.to_thread.run_sync(_asked, page.book, {})
        except PrehoopError:
            return trouble(said)
    return show(
        "book.html",
        book=True,
        answer=answer,
        records=answer.records(),
        goods=goods,
        pictures=pictures,
        params=request.query_params,
        outcomes=OUTCOMES,
        said=said,
    )


def _content(file: Path, sha256: str) -> tuple[str, bytes] | None:
    """Return name and bytes of a design of the book, found where the book says that it is."""
    with Book(file) as opened:
        rows = opened.base.execute("SELECT root, key, name FROM files WHERE sha256 = ?", (sha256,)).fetchall()
    for root, key, name in rows:
        found = found_at(Path(root), bytes(key))
        if found is not None:
            return str(name), content_of(found)
    return None


async def open_design(request: Request) -> Response:
    """Take a design of the book into the page."""
    page = page_of(request)
    async with request.form(max_files=0, max_fields=10) as form:
        sha256, goods = str(form.get("sha256", "")), str(form.get("goods", ""))
    if page.book is None:
        return trouble("The page was started without a design book.", 404)
    try:
        held = await anyio.to_thread.run_sync(_content, page.book, sha256)
    except (PrehoopError, OSError, ValueError) as error:
        return trouble(f"It cannot be opened: {getattr(error, 'strerror', None) or error}")
    if held is None:
        return trouble("It is no longer where the book says: scan the folder again.", 404)
    upload: Upload = page.store.add(*held)
    return RedirectResponse(f"/designs/{upload.token}?{urlencode({'goods': goods} if goods else {})}", 303)
