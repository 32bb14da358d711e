"""The pages of one garden as an application: which address is answered by what."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from time import monotonic

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Mount, Route

from reports.garden.clock import today
from reports.web import (
    device_pages,
    entry_pages,
    garden_pages,
    import_pages,
    look_pages,
    readings_pages,
    start_pages,
    today_pages,
    tree_pages,
    work_pages,
)
from reports.web.api import make_api
from reports.web.device_pages import Gate
from reports.web.devices import Devices
from reports.web.keeper import Keeper
from reports.web.safety import BodyLimit, Guard, Reach
from reports.web.site import Handler, Site, assets, served

READ, BOTH, WRITE = ["GET"], ["GET", "POST"], ["POST"]

PAGES: dict[str, tuple[Handler, list[str]]] = {
    "/": (today_pages.today, READ),
    "/style/{tag}.css": (today_pages.style, READ),
    "/round": (today_pages.walk_round, READ),
    "/look": (look_pages.look, BOTH),
    "/work": (work_pages.work, BOTH),
    "/saved/{batch}": (today_pages.saved, READ),
    "/saved/{batch}/moved": (today_pages.moved, READ),
    "/undo": (today_pages.undo, WRITE),
    "/history": (today_pages.history, READ),
    "/morning": (today_pages.morning, READ),
    "/seasons": (today_pages.seasons, READ),
    "/trees": (tree_pages.trees, READ),
    "/trees/{tree}/herd": (today_pages.herd, READ),
    "/trees/{tree}/season.svg": (tree_pages.season_picture, READ),
    "/photos/{look}": (tree_pages.photo, READ),
    "/entries/{kind}/{id}": (entry_pages.correct, BOTH),
    "/entries/{kind}/{id}/remove": (entry_pages.remove, WRITE),
    "/trees/add": (garden_pages.add, BOTH),
    "/trees/{tree}": (tree_pages.tree, READ),
    "/trees/{tree}/edit": (garden_pages.edit, BOTH),
    "/leaves": (tree_pages.leaves, READ),
    "/labels": (garden_pages.labels, READ),
    "/settings": (garden_pages.settings, BOTH),
    "/calibration": (garden_pages.calibration, READ),
    "/weather": (garden_pages.weather, BOTH),
    "/import": (import_pages.import_notebook, BOTH),
    "/readings": (readings_pages.readings, BOTH),
    "/more": (garden_pages.more, READ),
    "/start/now": (start_pages.now, BOTH),
    "/pair": (device_pages.pair, BOTH),
    "/devices": (device_pages.devices, READ),
    "/devices/{what}": (device_pages.change_devices, WRITE),
    "/calendar/{secret}.ics": (device_pages.calendar, READ),
}
WORDS = {404: "There is no such page here.", 405: "That is not done this way."}


def make_app(folder: Path, reach: Reach | None = None, devices: Devices | None = None) -> Guard:
    """The pages of the garden in a folder.

    Parameters
    ----------
    folder : Path
    reach : Reach, optional
        From where they may be asked for; by default from this computer alone.
    devices : Devices, optional
        Where only paired ones are let in.
    """
    reach, known = reach or Reach(), devices or Devices(folder, monotonic, today)
    site = Site(Keeper(folder), reach, known, devices is not None, start=f"{reach.prefix}/start")
    invented = replace(reach, prefix=f"{reach.prefix}/demo")
    demo = replace(site, keeper=Keeper(folder / "demo"), reach=invented)
    begin = [
        Route("/start", served(site, start_pages.start, without_garden=True), methods=BOTH),
        Route("/demo", served(site, start_pages.demo, without_garden=True), methods=WRITE),
    ]
    app = Starlette(
        routes=[*begin, *_routes(site), Mount("/demo", routes=_routes(demo))],
        middleware=[
            Middleware(GZipMiddleware, minimum_size=2000, compresslevel=5),
            Middleware(TrustedHostMiddleware, allowed_hosts=[*reach.hosts], www_redirect=False),
            *([Middleware(Gate, devices=devices, reach=reach)] if devices else []),
            Middleware(BodyLimit),  # behind the gate: who is not paired fills no memory
        ],
        exception_handlers={HTTPException: http_error, Exception: unexpected},
    )
    return Guard(app, reach)


def _routes(site: Site) -> list[BaseRoute]:
    pages = [
        Route(path, served(site, handler), methods=methods) for path, (handler, methods) in PAGES.items()
    ]
    return [*pages, Route("/static/{name}", asset), Mount("/api", make_api(site))]


def asset(request: Request) -> Response:
    """A stylesheet or script; the tag in its address changes with it."""
    found = assets().get(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    headers = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(found.body, media_type=found.kind, headers=headers)


def http_error(_: Request, error: Exception) -> Response:
    """No page, or a form that cannot be read."""
    status = error.status_code if isinstance(error, HTTPException) else 500
    return PlainTextResponse(WORDS.get(status, "That could not be understood."), status)


def unexpected(_: Request, __: Exception) -> Response:
    """Nothing of what went wrong inside is shown; the terminal has it."""
    return PlainTextResponse("Something went wrong here; the terminal that runs flushcast says what.", 500)
