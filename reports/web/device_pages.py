"""Pairing a device with a code, the list of devices, the calendar's address; and the gate they open."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import segno
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from phenology.model.errors import FlushcastError, InputError
from reports.web.devices import COOKIE, Device, Devices
from reports.web.safety import Reach
from reports.web.site import Visit

if TYPE_CHECKING:
    from markupsafe import Markup

COOKIE_SECONDS = 400 * 24 * 3600  # as long as browsers keep one
OPEN = ("/pair", "/static/", "/calendar/")
"""What is answered without pairing: the way in, how it looks, and what carries a secret of its own."""


class Gate:
    """Lets paired devices through; whoever else asks is led to the pairing page."""

    def __init__(self, app: ASGIApp, devices: Devices, reach: Reach) -> None:
        self.app, self.devices, self.reach = app, devices, reach

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"].removeprefix(self.reach.prefix) if scope["type"] == "http" else ""
        if scope["type"] != "http" or path.startswith(OPEN):
            await self.app(scope, receive, send)
            return
        try:
            device = self._device(Request(scope))
        except FlushcastError:
            device = None
        if device is not None:
            await self.app({**scope, "device": device}, receive, send)
        elif path.startswith("/api"):
            words = "This needs the key of a paired device: Authorization: Bearer KEY"
            await JSONResponse({"error": words}, 401)(scope, receive, send)
        elif scope["method"] == "GET":
            await RedirectResponse(f"{self.reach.prefix}/pair", 303)(scope, receive, send)
        else:
            await Response("This device is not paired.", 401)(scope, receive, send)

    def _device(self, request: Request) -> Device | None:
        secret = request.cookies.get(COOKIE) or _bearer(request.headers)
        return self.devices.known(secret) if secret else None


def _bearer(headers: Headers) -> str:
    kind, _, secret = headers.get("authorization", "").partition(" ")
    return secret.strip() if kind.lower() == "bearer" else ""


def pair(visit: Visit) -> Response:
    """The code, and what the device is called; then its cookie."""
    if visit.request.method == "GET":
        return visit.page("pair.html.j2", "Pair this device", code=visit.text("code"))
    secret = visit.site.devices.pair(visit.text("code").replace(" ", ""), visit.text("name"))
    answer = visit.to("/")
    reach = visit.site.reach
    answer.set_cookie(
        COOKIE, secret, max_age=COOKIE_SECONDS, path=reach.prefix or "/", httponly=True, samesite="lax",
        secure=reach.proxied,
    )  # fmt: skip
    return answer


def devices(visit: Visit) -> Response:
    """Who is let in; a new code, a key for a program, the calendar's address."""
    return _devices(visit)


def _devices(visit: Visit, code: str = "", key: str = "") -> Response:
    site, base = visit.site, str(visit.request.base_url).rstrip("/")
    here = visit.request.scope.get("device")
    calendar = site.devices.calendar_secret()
    pairing = f"{base}/pair?code={code}"
    return visit.page(
        "devices.html.j2", "Devices", paired=site.paired_only, listed=site.devices.listed(), code=code,
        key=key, this_device=here,
        qr=drawn_qr(pairing, "Opens the pairing page with this code") if code else "",
        calendar=f"{base}/calendar/{calendar}.ics" if calendar else "",
    )  # fmt: skip


def change_devices(visit: Visit) -> Response:
    """A new code, a new key, a device taken out, the calendar's address made anew or taken away."""
    known, what = visit.site.devices, visit.request.path_params["what"]
    if what == "code" and visit.site.paired_only:
        return _devices(visit, code=known.new_code())
    if what == "key" and visit.site.paired_only:
        return _devices(visit, key=known.add(visit.text("name") or "a program"))
    if what == "revoke":
        known.revoke(visit.text("device"))
    elif what in ("calendar", "no-calendar"):
        known.set_calendar(on=what == "calendar")
    else:
        raise InputError("devices are paired where flushcast was started with --lan or --behind")
    return visit.to("/devices")


def calendar(visit: Visit) -> Response:
    """The calendar, for whoever knows its secret address."""
    import hmac

    from reports.views.calendar_file import calendar_text, events_before

    secret, asked = visit.site.devices.calendar_secret(), visit.request.path_params["secret"]
    if not secret or not hmac.compare_digest(secret.encode(), asked.encode()):
        return Response("There is no such calendar.", 404)
    known = visit.site.keeper.ahead(visit.garden)

    def make() -> bytes:
        last = visit.site.last_calendar  # what moved since is told as a change of the same event
        before = events_before(last) if last else None
        return calendar_text(known.agenda.forecast, visit.garden.settings.name, before)

    text: bytes = known.once("calendar", make)
    visit.site.last_calendar = text
    return Response(text, media_type="text/calendar; charset=utf-8")


def terminal_qr(url: str) -> str:
    """A code drawn with half blocks, for the terminal."""
    out = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(out, compact=True)
    return out.getvalue().rstrip("\n")


def drawn_qr(url: str, words: str) -> Markup:
    """A code as a drawing inside a page, with the words that say what it is."""
    from markupsafe import Markup

    made = segno.make(url, error="m", micro=False)
    svg = made.svg_inline(scale=4, border=2, omitsize=True, dark="#000", light="#fff")
    return Markup('<svg role="img" aria-label="{}" {}').format(words, Markup(svg.removeprefix("<svg ")))
