"""What every request must pass before anything else sees it.

One middleware denies by default: a request comes in only with a host name of this machine, from this application's
own pages or from the address bar, with the cookie of this session, and with a body of bounded size. The cookie is
given once, for the start link that ``truerun serve`` prints.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["BODY_LIMIT", "FILE_LIMIT", "HEADERS", "Door", "Gate", "from_elsewhere", "said", "unforeseen"]

BODY_LIMIT = 1 << 20
"""Largest body of a request [bytes], unless a route is listed with its own."""

FILE_LIMIT = 256 << 20
"""Largest body where a recording, a photo or a bundle is sent [bytes]."""

_FILES = re.compile(r"/t/\d+/runs/\d+/files|/settings/import")

START = "/start"

_LONGEST_PATH = 1000

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; img-src 'self' data:;"
        " connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
    "cache-control": "no-store",
}
"""Headers of every answer that does not set its own; styles in attributes are those of the drawings."""

_PLAIN = "max-width:34em;margin:0 auto;padding:28px 18px;font:18px/1.5 sans-serif"
_TITLE = "font:400 31px/1.15 serif;margin:0 0 12px"
_SAFE = frozenset(("GET", "HEAD"))
_NEW_LINK = "Stop truerun in its terminal with Ctrl-C, start it again, and open the link that it prints."

_FAILED = "Something went wrong inside truerun."
_TRY_AGAIN = (
    "What was written down before is kept. Go back and try again; where it fails again, what the terminal of truerun"
    " says about it helps whoever mends it."
)


class _TooLarge(Exception):
    """A body went past its limit while it was read."""


@dataclass(slots=True)
class Door:
    """Who may come in: the port, the start token (good once) and the secret of the session."""

    port: int
    token: str | None = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def hosts(self) -> frozenset[str]:
        """Host headers that are answered."""
        return frozenset((f"127.0.0.1:{self.port}", f"localhost:{self.port}"))

    @property
    def cookie(self) -> str:
        """Name of the cookie; cookies are shared by all ports of a machine, so the port is in it."""
        return f"truerun_{self.port}"

    @property
    def link(self) -> str:
        """The address that opens the application the first time."""
        return f"http://127.0.0.1:{self.port}{START}?token={self.token}"

    def use(self, token: str) -> bool:
        """Use up the start token; it is good once."""
        if self.token is None or not secrets.compare_digest(token.encode(), self.token.encode()):
            return False
        self.token = None
        return True

    def knows(self, headers: Headers) -> bool:
        """Tell whether a request carries the cookie of this session."""
        for line in headers.getlist("cookie"):
            try:
                found = SimpleCookie(line).get(self.cookie)
            except CookieError:
                continue
            if found is not None and secrets.compare_digest(found.value.encode(), self.session.encode()):
                return True
        return False


class Gate:
    """Lets in what may come in, and puts the headers of safety on every answer.

    Parameters
    ----------
    app : ASGI application
        What lies behind the gate.
    door : Door
        Who may come in.
    limit : int
        Largest body [bytes].
    """

    headers: Mapping[str, str] = HEADERS
    """On every answer."""

    def __init__(self, app: ASGIApp, door: Door, limit: int = BODY_LIMIT) -> None:
        self.app = app
        self.door = door
        self.limit = limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":  # no web sockets, and nothing to do at start or end
            return
        refused = self._refusal(scope, Headers(scope=scope))
        if refused is not None:
            await refused(scope, receive, _with_headers(send, self.headers))
            return
        await self._passed(scope, receive, _with_headers(send, self.headers))

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Give the answer to a request that may not pass, or starts the session; None lets it pass."""
        hosts = [host.lower() for host in headers.getlist("host")]
        if len(hosts) != 1 or hosts[0] not in self.door.hosts:
            return said(400, "This address is not answered.", f"Open http://127.0.0.1:{self.door.port} instead.")
        if from_elsewhere(scope["method"], headers, hosts[0]):
            return said(403, "This came from another page.", "Type the address yourself, or follow truerun's links.")
        if len(scope["path"]) > _LONGEST_PATH:
            return said(414, "There is no such page.", f"No address of truerun is longer than {_LONGEST_PATH} letters.")
        if scope["path"] == START:
            return self._started(scope)
        if not self.door.knows(headers):
            return said(401, "This browser has not been let in.", _NEW_LINK)
        return self._too_long(scope, headers)

    def _started(self, scope: Scope) -> Response:
        """Exchange the start token for the cookie."""
        token = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if scope["method"] != "GET" or not self.door.use(token):
            return said(403, "This link was used already, or is not the last one.", _NEW_LINK)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(self.door.cookie, self.door.session, httponly=True, samesite="strict", path="/")
        return answer

    def _limit_of(self, scope: Scope) -> int:
        """Give the largest body that an address takes."""
        return FILE_LIMIT if _FILES.fullmatch(scope["path"]) else self.limit

    def _too_long(self, scope: Scope, headers: Headers) -> Response | None:
        """Refuse a body that says it is too long, before any of it is read."""
        length, limit = headers.get("content-length", "0"), self._limit_of(scope)
        if length.isdecimal() and int(length) <= limit:
            return None
        return _too_large(limit)

    async def _passed(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand on a request, counting its body while it is read."""
        begun, taken, limit = False, 0, self._limit_of(scope)

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > limit:
                raise _TooLarge
            return message

        async def sent(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, counted, sent)
        except _TooLarge:
            if begun:
                raise
            await _too_large(limit)(scope, receive, send)


def from_elsewhere(method: str, headers: Headers, host: str) -> bool:
    """Tell whether another site asked: by Sec-Fetch-Site, else by Origin where something would be written."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site != "same-origin" and not (site == "none" and method in _SAFE)
    origin = headers.get("origin")
    if origin is None:
        return method not in _SAFE
    return origin.lower() != f"http://{host}"


def said(status: int, what: str, remedy: str) -> Response:
    """Write a page of two sentences; it is seen without the cookie, so what style it has stands in attributes."""
    page = (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f'<meta name="color-scheme" content="light dark"><title>{what}</title></head>'
        f'<body style="{_PLAIN}"><main><h1 style="{_TITLE}">{what}</h1><p>{remedy}</p></main></body></html>'
    )
    return HTMLResponse(page, status)


async def unforeseen(request: Request, error: Exception) -> Response:
    """Say that truerun itself failed; it answers outside the gate, and the server prints the error on its terminal."""
    del error
    headers = {**HEADERS, "connection": "close"}  # the server cuts it off
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"sentence": f"{_FAILED} {_TRY_AGAIN}"}, 500, headers)
    answer = said(500, _FAILED, _TRY_AGAIN)
    answer.headers.update(headers)
    return answer


def _too_large(limit: int) -> Response:
    """Refuse a body past its limit."""
    return said(413, "This is too much at once.", f"At most {limit} bytes are taken. Send less.")


def _with_headers(send: Send, given: Mapping[str, str]) -> Send:
    """Put the headers of safety on an answer."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in given.items():
                headers.setdefault(name, value)
        await send(message)

    return sent
