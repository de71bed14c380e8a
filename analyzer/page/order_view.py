"""The order on the page: what was put into it, and its paperwork as one archive."""

from __future__ import annotations

import secrets
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from analyzer.errors import PrehoopError
from analyzer.page.answers import handed
from analyzer.page.choices import job_of
from analyzer.page.frame import page_of, said_in, show, trouble, whole
from analyzer.page.tasks import Wanted

_LINES = 100
_MOST = 100_000


def routes() -> list[BaseRoute]:
    """Return the routes of the order."""
    return [
        Route("/order", order),
        Route("/order/add", add, methods=["POST"]),
        Route("/order/drop", drop, methods=["POST"]),
        Route("/order/paper", paper, methods=["POST"]),
    ]


async def order(request: Request) -> Response:
    """Show what is in the order."""
    page = page_of(request)
    lines = []
    for line, (token, said, quantity, placement) in page.basket.items():
        upload = page.store.upload(token)
        if upload is not None:
            link = f"/designs/{token}?{urlencode(said)}"
            lines.append((line, upload.name, said.get("goods", ""), quantity, placement, link))
    return show("order.html", lines=lines)


async def add(request: Request) -> Response:
    """Put a design into the order."""
    page = page_of(request)
    async with request.form(max_files=0, max_fields=50) as form:
        token, said = str(form.get("token", "")), said_in(form)
        placement = str(form.get("placement", "")).strip()[:200]
        asked = str(form.get("quantity", ""))
    if page.store.upload(token) is None:
        return trouble("That file is no longer here: drop it again.", 404)
    pieces = whole(asked, _MOST)
    if pieces is None:
        return trouble(f"How many pieces? Give a whole number from 1 to {_MOST:,}.")
    if "goods" not in said and page.base().goods is None:
        return trouble("Choose the goods first: an order is made for them.")
    if len(page.basket) >= _LINES:
        return trouble(
            f"An order on the page holds {_LINES} lines; write a larger one as a file (prehoop order)."
        )
    page.basket[secrets.token_urlsafe(8)] = (token, said, pieces, placement)
    return RedirectResponse("/order", 303)


async def drop(request: Request) -> Response:
    """Take a line out of the order."""
    async with request.form(max_files=0, max_fields=10) as form:
        page_of(request).basket.pop(str(form.get("line", "")), None)
    return RedirectResponse("/order", 303)


async def paper(request: Request) -> Response:
    """Hand out the paperwork of the order."""
    page = page_of(request)
    async with request.form(max_files=0, max_fields=10) as form:
        number = str(form.get("number", "")).strip()[:80]
    items = []
    try:
        for token, said, quantity, placement in page.basket.values():
            upload = page.store.upload(token)
            if upload is not None:
                items.append((upload.path, upload.name, job_of(said, page.base()), quantity, placement))
    except PrehoopError as error:
        return trouble(str(error))
    if not items:
        return trouble("The order is empty: put designs into it first.")
    path, name, job, *_ = items[0]
    wanted = Wanted("order", path, name, job, items=tuple(items), title=number)
    return await handed(page, wanted, "order", ".zip", "application/zip")
