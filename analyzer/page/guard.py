"""What keeps other sites and other machines away from the page, and what a request may weigh."""

from __future__ import annotations

import re

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

UPLOAD_BYTES = 64_000_000  #: of one request
_DIGITS = re.compile(r"[0-9]{1,15}")
_NAMES = ("127.0.0.1", "localhost", "[::1]")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
#: a report opens as a page of its own and brings its own policy
_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class TooLarge(Exception):
    """A request sends more than it may."""


class Guard:
    """Refuses requests that were not made by the page itself, and those that are too large.

    A name that resolves to this machine (DNS rebinding) is told by its Host header; a form on another site by
    Origin or Sec-Fetch-Site, which browsers send and scripts cannot change (Fetch standard, forbidden names).
    """

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.hosts = {f"{name}:{port}" for name in _NAMES} | (set(_NAMES) if port == 80 else set())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope["method"], headers)
        if refusal is not None:
            await PlainTextResponse(refusal[1], refusal[0])(scope, receive, self._hardened(send))
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > UPLOAD_BYTES:
                raise TooLarge
            return message

        try:
            await self.app(scope, counted, self._hardened(send))
        except TooLarge:
            answer = PlainTextResponse(f"Too much at once: at most {UPLOAD_BYTES // 1_000_000} MB.", 413)
            await answer(scope, receive, self._hardened(send))

    def _refusal(self, method: str, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "").lower()
        if host not in self.hosts:
            return 421, "This page answers to 127.0.0.1 only."
        origin = headers.get("origin")
        if origin is not None and origin.lower() != f"http://{host}":
            return 403, "This request comes from another site."
        site = headers.get("sec-fetch-site")
        if site in ("cross-site", "same-site"):
            return 403, "This request comes from another site."
        if method not in ("GET", "HEAD", "POST"):
            return 405, "Only GET and POST."
        if method == "POST":
            if origin is None and site is None:
                return 403, "A browser says where a form comes from; this request does not."
            length = headers.get("content-length")
            if length is not None and (not _DIGITS.fullmatch(length) or int(length) > UPLOAD_BYTES):
                return 413, f"Too much at once: at most {UPLOAD_BYTES // 1_000_000} MB."
        return None

    @staticmethod
    def _hardened(send: Send) -> Send:
        async def hardened(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("content-security-policy", POLICY)
            await send(message)

        return hardened
