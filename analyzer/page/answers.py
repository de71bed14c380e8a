"""What a design comes to on the page: the answer, two side by side, and what can be taken away."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlencode

import anyio
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from analyzer.errors import PrehoopError
from analyzer.page.choices import CARE_WORDS, choices, job_of
from analyzer.page.frame import Page, page_of, said_in, show, trouble, upload_of
from analyzer.page.tasks import Wanted, copied_name
from analyzer.page.workers import Busy, Task
from analyzer.report.words import OUTCOMES

_SOON_S = 1.0  #: how long a request waits for an answer before it shows how far it is
#: what can be taken away -> kind of task, ending of the file's name, media type
DOWNLOADS = {
    "risk-report": ("pdf", "-risk-report.pdf", "application/pdf"),
    "sewing-sheet": ("sheet", "-sewing-sheet.pdf", "application/pdf"),
    "report": ("html", "-report.html", "text/html; charset=utf-8"),
    "check": ("json", "-check.json", "application/json"),
    "countered": ("countered", "", "application/octet-stream"),
}


def routes() -> list[BaseRoute]:
    """Return the routes of answers."""
    return [
        Route("/designs/{token}/answer", answer),
        Route("/designs/{token}/compare", compare),
        Route("/designs/{token}/take/{what}", take),
        Route("/tasks/{task}", progress),
        Route("/tasks/{task}/stop", stop, methods=["POST"]),
    ]


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
        return _overloaded(str(request.url.path) + "?" + request.url.query)
    await ended(task, _SOON_S)
    return _of_task(page, task, request.url.query)


async def ended(task: Task, within_s: float) -> None:
    """Wait for a task without holding a thread: as many may wait as like."""
    until = anyio.current_time() + within_s
    while not task.finished.is_set() and anyio.current_time() < until:
        await anyio.sleep(0.02)


def _overloaded(again: str | None = None) -> Response:
    text = "Many designs are being looked at just now. Try again in a moment."
    answer = show("again.html", 503, text=text, again=again) if again else trouble(text, 503)
    answer.headers["retry-after"] = "5"
    return answer


def _of_task(page: Page, task: Task, query: str) -> Response:
    """Return what a task made, or how far it is."""
    if task.state in ("waiting", "working"):
        return show("progress.html", task=task, percent=round(100 * task.share))
    token = next((one.token for one in page.store.uploads() if one.path == task.wanted.path), "")
    if task.state == "stopped":
        part = "compare" if task.wanted.kind == "summary" else "answer"
        again = f"/designs/{token}/{part}?{_query_of(task, '')}{'&part=first' * (part == 'compare')}"
        return show("again.html", text="Stopped. Change something, or look it over again.", again=again)
    if task.trouble is not None:
        return trouble(task.trouble, 200, part=True)
    content = page.store.answer(task.wanted.key)
    if content is None:
        return trouble("That answer is no longer kept: ask again.", 200, part=True)
    made = json.loads(content)
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
    await ended(task, 0.4)
    return _of_task(page, task, "")


async def stop(request: Request) -> Response:
    """Stop a task."""
    page = page_of(request)
    page.hall.stop(request.path_params["task"])
    return await progress(request)


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
    await ended(task, float("inf"))
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
