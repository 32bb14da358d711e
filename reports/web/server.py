"""Running the pages: on this computer alone, on the home network, or behind a reverse proxy."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

from phenology.model.errors import InputError
from reports.garden.clock import today
from reports.web.app import make_app
from reports.web.devices import Devices
from reports.web.safety import Reach

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
    """A path such as "/garden", or nothing.

    Raises
    ------
    InputError
        If it is no plain path.
    """
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
    """Serve until stopped.

    Raises
    ------
    InputError
        If the port is taken.
    """
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
