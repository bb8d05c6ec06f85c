"""What stands between the browser and the desk: who may ask, and what a page may do.

The desk answers on loopback only, to one person. The first address carries a token that is exchanged once for a cookie;
every request must name the desk's own host and port (else another site's name could be pointed here), every change must
come from the desk's own pages. Sources: RFC 6265 (cookies), RFC 6454 (origin), W3C Fetch Metadata, CSP Level 3,
OWASP cheat sheets on cross-site request forgery and DNS rebinding.
"""

from __future__ import annotations

import hmac
import secrets
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "secondtape_desk"
FIRST_KEY = "key"
SAFE = ("GET", "HEAD")
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; img-src 'self' blob:; style-src 'self'; script-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def new_token() -> str:
    """Return a token that cannot be guessed (256 bit)."""
    return secrets.token_urlsafe(32)


class Guard:
    """ASGI middleware: refuses what does not come from the desk's own page with 403, and sets the headers.

    Parameters
    ----------
    app : the desk.
    token : of the first address; it works once, then only the cookie does.
    port : the desk's own.
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self.app = app
        self._first: str | None = token
        self._cookie = new_token()
        self._cookie_name = f"{COOKIE}_{port}"  # cookies do not know ports: two desks keep apart
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        headers = Headers(scope=scope)
        if headers.get("host", "") not in self._hosts:
            await _refused("this is not the desk's address")(scope, receive, guarded)
        elif self._is_first(scope):
            await self._welcomed(scope, receive, guarded)
        elif not self._known(headers):
            says = "the address printed at the start works once, in one browser; for another, start the desk again"
            await _refused(says)(scope, receive, guarded)
        elif scope["method"] not in SAFE and not self._own(headers):
            await _refused("a change must come from the desk's own page")(scope, receive, guarded)
        else:
            await self.app(scope, receive, guarded)

    def _is_first(self, scope: Scope) -> bool:
        given = dict(parse_qsl(scope["query_string"].decode("latin-1"))).get(FIRST_KEY, "")
        return scope["method"] == "GET" and self._first is not None and _same(given, self._first)

    async def _welcomed(self, scope: Scope, receive: Receive, send: Send) -> None:
        self._first = None
        left = [(k, v) for k, v in parse_qsl(scope["query_string"].decode("latin-1")) if k != FIRST_KEY]
        answer = RedirectResponse(scope["path"] + (f"?{urlencode(left)}" if left else ""), status_code=303)
        answer.set_cookie(self._cookie_name, self._cookie, httponly=True, samesite="strict", path="/")
        await answer(scope, receive, send)

    def _known(self, headers: Headers) -> bool:
        given = cookie_parser(headers.get("cookie", "")).get(self._cookie_name, "")
        return _same(given, self._cookie)

    def _own(self, headers: Headers) -> bool:
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        # Forms of a page without a referrer say `Origin: null`, as sandboxed pages do (Fetch, "append a request Origin
        # header"); only the other header then tells them apart, and no page can forge that.
        if origin not in (None, "null"):
            return origin in {f"http://{host}" for host in self._hosts}
        return site == "same-origin"


def _same(given: str, expected: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), expected.encode())


def _refused(why: str) -> PlainTextResponse:
    return PlainTextResponse(f"Not allowed: {why}.\n", status_code=403)
