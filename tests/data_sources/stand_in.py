"""A local server of the invented services, which misbehaves when asked to.

Real HTTP on 127.0.0.1, on a clock of its own.
"""

from __future__ import annotations

import gzip
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from data_sources.weather.services.registry import SERVICES
from data_sources.weather.services.transport.http import Http
from data_sources.weather.services.transport.settings import WeatherSettings
from tests.data_sources.invented_services import InventedServices

HTML = b"<!DOCTYPE html><html><body><h1>Back soon</h1></body></html>"


class Clock:
    """Seconds that pass only while somebody waits, or when the server lets them."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self.waits: list[float] = []

    def __call__(self) -> float:
        return self.seconds

    def sleep(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.seconds += seconds


@dataclass
class Asked:
    """One request as it came in."""

    path: str
    query: dict[str, str]
    headers: dict[str, str]


@dataclass
class Fault:
    """Something wrong with every path that holds `where`; `times` counts down, None is for ever."""

    where: str
    kind: str
    times: int | None = None
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""


class StandIn(InventedServices):
    """The server. `fault(where, kind)` makes paths misbehave, `mend()` ends it, `asked` is the log."""

    def __init__(self, today: date = date(2026, 6, 14)) -> None:
        super().__init__(today)
        self.clock = Clock()
        self.asked: list[Asked] = []
        self.faults: list[Fault] = []
        stand_in = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"
            wbufsize = 1 << 20  # head and body in one packet: the other side would wait for the second

            def do_GET(self) -> None:
                stand_in._serve(self)

            def log_message(self, *_: Any) -> None:
                pass

        class Server(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, *_: Any) -> None:
                pass  # a client that went away is part of the play

        self._server = Server(("127.0.0.1", 0), Handler)
        self.base = f"http://127.0.0.1:{self._server.server_address[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True)
        self._thread.start()

    # --- what a test does with it ------------------------------------------------------------------------

    def stop(self) -> None:
        """Close the port: from now on nothing can be reached."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def fault(self, where: str, kind: str, times: int | None = None, **more: Any) -> None:
        self.faults.append(Fault(where, kind, times, **more))

    def mend(self) -> None:
        self.faults.clear()

    def paths(self, where: str = "") -> list[str]:
        return [a.path for a in self.asked if where in a.path]

    def addresses(self) -> dict[str, str]:
        """Every service, here instead of where it lives."""
        return {name: f"{self.base}{urlsplit(one.address).path}" for name, one in SERVICES.items()}

    def settings(self, contact: str = "grower@example.org", **more: Any) -> WeatherSettings:
        return WeatherSettings(addresses=self.addresses(), contact=contact, pause=0.0, **more)

    def http(self, settings: WeatherSettings | None = None, **more: Any) -> Http:
        """A client on this clock."""
        return Http(settings or self.settings(), sleep=self.clock.sleep, clock=self.clock, **more)

    # --- serving -----------------------------------------------------------------------------------------

    def _fault_for(self, path: str) -> Fault:
        for fault in self.faults:
            if fault.where in path and fault.times != 0:
                if fault.times is not None:
                    fault.times -= 1
                return fault
        return Fault("", "")

    def _serve(self, handler: BaseHTTPRequestHandler) -> None:
        url = urlsplit(handler.path)
        query = {key: values[0] for key, values in parse_qs(url.query, keep_blank_values=True).items()}
        headers = {key.lower(): value for key, value in handler.headers.items()}
        self.asked.append(Asked(url.path, query, headers))
        fault = self._fault_for(url.path)
        kind = fault.kind
        if kind == "silent":
            handler.rfile.read(1)  # until the client has given up
            handler.close_connection = True
            return
        if kind.isdigit():
            status, body, more = int(kind), fault.body, fault.headers
        elif kind == "loop":
            status, body, more = 302, b"", {"Location": handler.path}
        elif kind in ("html", "body"):
            status, body, more = 200, HTML if kind == "html" else fault.body, fault.headers
        else:
            status, body, more = self.answer(url.path, query, headers, kind)
        if kind == "chunks_gzip" or (kind == "cut_gzip" and not url.path.endswith(".gz")):
            body, more = gzip.compress(body), {**more, "Content-Encoding": "gzip"}
        half = len(body) // 2
        body = {"empty": b"", "broken": body[: half + 7], "cut_gzip": body[:half]}.get(kind, body)
        pieces = {"cut": [body[:half]], "drip": [body[:1], body[1:]]}.get(kind, [body])
        handler.send_response(status)
        for name, value in more.items():
            handler.send_header(name, value)
        if kind.startswith("chunks"):
            # Without a length, as servers do that make their answer while sending it.
            handler.send_header("Transfer-Encoding", "chunked")
            whole = [body[at : at + 700] for at in range(0, len(body), 700)]
            cut = kind == "chunks_cut"
            sent = whole[: len(whole) // 2] if cut else [*whole, b""]
            pieces = [f"{len(part):x}\r\n".encode() + part + b"\r\n" for part in sent]
        elif status != 304:
            handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.close_connection = kind in ("cut", "chunks_cut")
        with suppress(OSError):
            for n, piece in enumerate(pieces):
                if kind == "drip" and n:
                    self.clock.seconds += 1000
                handler.wfile.write(piece)
                if kind == "drip":
                    handler.wfile.flush()
