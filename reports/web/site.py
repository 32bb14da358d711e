"""What every page is made with: the garden opened for one request, its form, and the templates."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from phenology.model.errors import FlushcastError, InputError
from reports.garden.open_garden import OpenGarden
from reports.page.drawings import templates
from reports.web.keeper import Keeper
from reports.web.safety import Reach
from reports.web.uploads import Uploads, plain_file_name

if TYPE_CHECKING:
    from reports.web.devices import Devices
    from reports.web.writing import Saved

KINDS = {"bench.css": "text/css", "bench.js": "text/javascript", "leaf.svg": "image/svg+xml"}
T = TypeVar("T")
MOST_FIELDS = 2000  # a look at a thousand trees together has as many
MOST_FILES = 5
KEPT_SAVES = 20

NAVIGATION = (
    ("/", "Today"),
    ("/round", "Round"),
    ("/look", "Look"),
    ("/work", "Work"),
    ("/trees", "Trees"),
    ("/more", "More"),
)


@dataclass
class Updating:
    """An update of the weather under way, or the last one, as its page tells it."""

    running: bool = False
    now: str = ""
    lines: list[str] = field(default_factory=list)


@dataclass
class Site:
    """One garden served: its folder's keeper, from where it is reached, who may see it."""

    keeper: Keeper
    reach: Reach
    devices: Devices  # those that are paired
    paired_only: bool = False  # whether only they are let in, or whoever sits at this computer
    # what the last few changes said when they were saved, by their batch
    saves: dict[str, Saved] = field(default_factory=dict)
    # stylesheets of pages that stand inside ours, by their tag
    styles: dict[str, str] = field(default_factory=dict)
    last_calendar: bytes = b""  # as it was given last
    # updating and starting: of the weather
    updating: Updating = field(default_factory=Updating)
    starting: threading.Lock = field(default_factory=threading.Lock)
    start: str = "/start"  # the address where a garden is begun, prefix and all
    uploads: Uploads = field(default_factory=Uploads)  # files that wait for answers

    def remember(self, batch: str, saved: Saved) -> None:
        """Keep what is told once a change is saved, for the page that follows."""
        self.saves[batch] = saved
        while len(self.saves) > KEPT_SAVES:
            self.saves.pop(next(iter(self.saves)), None)


@dataclass(frozen=True)
class Leafed(Generic[T]):
    """One page of many: what stands on it, which of how many it is, and the ways to the next ones."""

    here: Sequence[T]
    page: int
    last: int
    found: int
    before: str
    after: str


@dataclass(frozen=True)
class Visit:
    """One request for a page."""

    request: Request
    site: Site
    garden: OpenGarden
    form: FormData  # what was sent; empty where the page is only asked for
    files: Mapping[str, bytes]
    names: Mapping[str, str]  # what the files are called where they come from: to be told, never to be opened

    def text(self, name: str) -> str:
        """A field of the form, or else of the address; empty where there is none."""
        value = self.form.get(name, self.request.query_params.get(name, ""))
        return value.strip() if isinstance(value, str) else ""

    def texts(self, name: str) -> list[str]:
        """Every value of a field."""
        given = [*self.form.getlist(name), *self.request.query_params.getlist(name)]
        return [value.strip() for value in given if isinstance(value, str) and value.strip()]

    def leafed(self, found: Sequence[T], most: int) -> Leafed[T]:
        """As many of what was found as stand on one page, and the ways to those before and after."""
        last = max(1, -(-len(found) // most))
        asked = self.text("page")
        n = max(1, min(int(asked[:6]), last)) if asked.isascii() and asked.isdigit() else 1

        def way(page: int) -> str:
            return f"?{self.request.url.include_query_params(page=page).query}" if 1 <= page <= last else ""

        return Leafed(found[(n - 1) * most : n * most], n, last, len(found), way(n - 1), way(n + 1))

    @property
    def owner(self) -> tuple[str, str]:
        """The garden and the device that a file was sent to and from."""
        device = self.request.scope.get("device")
        return str(self.site.keeper.folder), device.id if device else ""

    def at(self, path: str) -> str:
        """The address of a page, below a proxy's prefix where there is one."""
        return f"{self.site.reach.prefix}{path}"

    def page(self, template: str, title: str, status: int = 200, **values: Any) -> HTMLResponse:
        """A page of our own templates."""
        here = self.request.url.path.removeprefix(self.site.reach.prefix) or "/"
        let_in = not self.site.paired_only or "device" in self.request.scope
        html = (
            templates("reports.web")
            .get_template(template)
            .render(
                title=title,
                at=self.at,
                here=here,
                navigation=NAVIGATION if self.garden.exists and let_in else (),
                garden_name=self.garden.settings_or_usual.name if let_in else "flushcast",
                asset=lambda name: self.at(f"/static/{name}?{assets()[name].tag}"),
                **values,
            )
        )
        return HTMLResponse(html, status)

    def to(self, path: str) -> RedirectResponse:
        """Go on to another page, asked for anew."""
        return RedirectResponse(self.at(path), 303)

    def wrong(self, words: str, status: int = 422) -> HTMLResponse:
        """What is wrong, in words, on a page that leads on."""
        return self.page("wrong.html.j2", "Not done", status, words=words.rstrip("."))


Handler = Callable[[Visit], Response]


def served(
    site: Site, handler: Handler, *, without_garden: bool = False
) -> Callable[[Request], Awaitable[Response]]:
    """A page's handler as Starlette calls it: the form read, the garden opened, errors in words."""

    def run(
        request: Request, form: FormData, files: Mapping[str, bytes], names: Mapping[str, str]
    ) -> Response:
        with site.keeper.opened() as garden:
            visit = Visit(request, site, garden, form, files, names)
            if not garden.exists and not without_garden:
                return RedirectResponse(site.start, 303)
            try:
                return handler(visit)
            except InputError as error:
                return visit.wrong(str(error))
            except FlushcastError as error:
                return visit.wrong(str(error), 503)

    async def endpoint(request: Request) -> Response:
        form, files, names = FormData(), dict[str, bytes](), dict[str, str]()
        if request.method == "POST":
            async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS) as sent:
                form = FormData([(k, v) for k, v in sent.multi_items() if isinstance(v, str)])
                for name, value in sent.multi_items():
                    if isinstance(value, UploadFile) and value.size:
                        files[name] = await value.read()
                        names[name] = plain_file_name(value.filename or "")
        return await run_in_threadpool(run, request, form, files, names)

    return endpoint


@dataclass(frozen=True)
class Asset:
    """A file that pages load, and a tag that changes with it."""

    body: bytes
    kind: str
    tag: str


@cache
def assets() -> dict[str, Asset]:
    """The stylesheet and the script, by name: nothing else is served from the disk by name."""
    found = {}
    for name, kind in KINDS.items():
        body = resources.files("reports").joinpath("web", "static", name).read_bytes()
        found[name] = Asset(body, kind, hashlib.sha256(body).hexdigest()[:12])
    return found
