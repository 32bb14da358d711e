"""The pages of one garden as an application: which address is answered by what, and how it is served."""

from __future__ import annotations

import socket
from dataclasses import dataclass, replace
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

from phenology.model.errors import InputError
from reports.garden.clock import today
from reports.web import (
    device_pages,
    garden_pages,
    import_pages,
    look_pages,
    readings_pages,
    round_pages,
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
    "/round": (round_pages.walk_round, READ),
    "/look": (look_pages.look, BOTH),
    "/work": (work_pages.work, BOTH),
    "/saved/{batch}": (round_pages.saved, READ),
    "/saved/{batch}/moved": (round_pages.moved, READ),
    "/undo": (round_pages.undo, WRITE),
    "/history": (round_pages.history, READ),
    "/morning": (today_pages.morning, READ),
    "/seasons": (today_pages.seasons, READ),
    "/trees": (tree_pages.trees, READ),
    "/trees/{tree}/herd": (today_pages.herd, READ),
    "/trees/{tree}/season.svg": (tree_pages.season_picture, READ),
    "/photos/{look}": (tree_pages.photo, READ),
    "/entries/{kind}/{id}": (work_pages.correct, BOTH),
    "/entries/{kind}/{id}/remove": (work_pages.remove, WRITE),
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
    """The pages of the garden in a folder, for this computer alone or as far as `reach` says.

    With `devices` only those that are paired are let in.
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


AT_ONCE = 40
"""Requests taken at a time; more are told to come again (ours)."""


@dataclass(frozen=True)
class Serving:
    """How a garden is served."""

    folder: Path
    port: int
    lan: bool = False  # for other devices of the home network, not only for this computer
    behind: str | None = None  # the public name of a reverse proxy in front, such as "garden.example:8443"
    prefix: str = ""  # the path under which that proxy shows the garden

    @property
    def address(self) -> str:
        """Where this computer is found on the home network; itself where it is asked by nobody else."""
        return home_address() if self.lan else "127.0.0.1"

    @property
    def url(self) -> str:
        """The address to open."""
        if self.behind:
            return f"https://{self.behind}{self.prefix}/"
        return f"http://{self.address}:{self.port}{self.prefix}/"

    @property
    def reach(self) -> Reach:
        """From where it may be asked for."""
        hosts = ["localhost", "127.0.0.1"]
        if self.lan:
            hosts += [self.address, socket.gethostname(), f"{socket.gethostname()}.local"]
        if self.behind:
            hosts += [self.behind, self.behind.partition(":")[0]]
        return Reach(tuple(dict.fromkeys(hosts)), checked_prefix(self.prefix), self.behind is not None)

    def devices(self) -> Devices | None:
        """Those that are let in, where anybody but this computer could ask."""
        return Devices(self.folder, monotonic, today) if self.lan or self.behind else None


def checked_prefix(prefix: str) -> str:
    """A path such as "/garden", or nothing; raises `InputError` if it is no plain path."""
    plain = prefix.strip().rstrip("/")
    words = plain.split("/")[1:]
    if plain and not (
        plain.startswith("/") and all(w.replace("-", "").replace("_", "").isalnum() for w in words)
    ):
        raise InputError(f"a prefix is a path such as /garden; got '{prefix}'")
    return plain


def home_address() -> str:
    """This computer's address on the network that leads out; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address of the documentation block: no packet goes out
            return str(probe.getsockname()[0])
        except OSError:
            raise InputError("this computer is on no network; without --lan it serves itself") from None


def serve(serving: Serving, devices: Devices | None) -> None:
    """Serve until stopped; raises `InputError` if the port is taken."""
    import uvicorn

    host = "0.0.0.0" if serving.lan else "127.0.0.1"
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, serving.port))
        except OSError as error:
            raise InputError(
                f"port {serving.port} cannot be had ({error.strerror}); choose another with --port"
            ) from None
        app = make_app(serving.folder, serving.reach, devices)
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            limit_concurrency=AT_ONCE,
            timeout_keep_alive=15,
        )
        uvicorn.Server(config).run(sockets=[listening])
