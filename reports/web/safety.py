"""What stands between the network and the pages: hosts, origins, sizes, headers, a proxy's prefix.

The browser's rules come from the Fetch and Content Security Policy standards: a page of another site can
send a form here, but neither hide its Origin nor read the answer.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 200_000  # of a form (ours)
MOST_FILE_BYTES = 20_000_000  # of a form with a photo or a table (ours)
WITH_FILE = re.compile(r"/(look|entries/look/[^/]+|import|readings)$")
READS = ("GET", "HEAD", "OPTIONS")
FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip")

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "style-src-attr 'unsafe-inline'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # no-referrer would send forms of our own with the origin "null"
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=(), usb=()",
}
"""Sent with every answer. Drawings place their labels by style attributes; there is no inline script."""


@dataclass(frozen=True)
class Reach:
    """From where the pages may be asked for."""

    # names and addresses by which they are reached, without ports
    hosts: Collection[str] = ("localhost", "127.0.0.1")
    prefix: str = ""  # the path under which a reverse proxy shows them, such as "/garden"; usually empty
    proxied: bool = False  # whether a reverse proxy may stand in front


class Guard:
    """Lets through what comes from our own pages, in sizes that are ours, and sets the headers."""

    def __init__(self, app: ASGIApp, reach: Reach) -> None:
        self.app, self.reach = app, reach

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # there are no websockets here
        headers, inside = Headers(scope=scope), self._under_prefix(scope)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                out.setdefault("Cache-Control", "no-store")
            await send(message)

        why = self._refusal(scope["method"], headers)
        if why is not None:
            await PlainTextResponse(why[1], why[0])(scope, receive, with_headers)
            return
        await self.app(inside, receive, with_headers)

    def _under_prefix(self, scope: Scope) -> Scope:
        """The request with its path below the prefix, whether or not the proxy has cut that off."""
        prefix = self.reach.prefix
        if not prefix:
            return scope
        path = scope["path"]
        if path != prefix and not path.startswith(f"{prefix}/"):
            path = prefix + path
        return {**scope, "root_path": prefix, "path": path}

    def _refusal(self, method: str, headers: Headers) -> tuple[int, str] | None:
        """Why a request is turned away, with the status that says so."""
        if not self.reach.proxied and any(name in headers for name in FORWARDED):
            return 403, "This came through a proxy; start with: flushcast serve --behind NAME"
        if method in READS:
            return None
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        ours = {headers.get("host", ""), *(self.reach.hosts if self.reach.proxied else ())}
        if origin is not None:
            return None if urlsplit(origin).netloc in ours else (403, "This form was not one of ours.")
        if site is not None:
            return None if site in ("same-origin", "none") else (403, "This form was not one of ours.")
        if headers.get("content-type", "").split(";")[0] == "application/json":
            return None  # no browser sends this across sites without asking first, and we never agree
        return 403, "The form does not say where it came from; send it from its own page."


class BodyLimit:
    """Takes what is sent as a whole, and no more than is taken; what is inside it need not count."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] in READS:
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        file = headers.get("content-type", "").startswith("multipart/") and WITH_FILE.search(scope["path"])
        most = MOST_FILE_BYTES if file else MOST_BYTES
        body = await _whole_body(receive, most) if _length(headers) <= most else None
        if body is None:
            await PlainTextResponse("That is too large to be sent here.", 413)(scope, receive, send)
            return
        messages: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

        async def replayed() -> Message:
            return messages.pop() if messages else await receive()

        await self.app(scope, replayed, send)


async def _whole_body(receive: Receive, most: int) -> bytes | None:
    """All that was sent; None where it is more than is taken."""
    body = bytearray()
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > most:
            return None
        if not message.get("more_body"):
            return bytes(body)


def _length(headers: Headers) -> int:
    text = headers.get("content-length", "")
    return int(text[:18]) if text.isascii() and text.isdigit() else 0
