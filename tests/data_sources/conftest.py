"""The network of the tests: a stand-in on 127.0.0.1, and nothing else."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from tests.data_sources.stand_in import StandIn

HERE = ("127.0.0.1", "localhost", "::1")


@pytest.fixture(autouse=True)
def only_this_computer(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A look-up of, or connection to, another computer fails the test, even when the error is swallowed."""
    gone_out: list[str] = []
    for name in ("http_proxy", "https_proxy", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
        monkeypatch.delenv(name.upper(), raising=False)
    look_up, connect = socket.getaddrinfo, socket.socket.connect

    def checked_look_up(host: Any, *args: Any, **kwargs: Any) -> Any:
        if host not in HERE:
            gone_out.append(str(host))
            raise OSError(f"a test asked for {host}")
        return look_up(host, *args, **kwargs)

    def checked_connect(self: socket.socket, address: Any) -> Any:
        if isinstance(address, tuple) and address[0] not in HERE:
            gone_out.append(str(address))
            raise OSError(f"a test connected to {address}")
        return connect(self, address)

    monkeypatch.setattr(socket, "getaddrinfo", checked_look_up)
    monkeypatch.setattr(socket.socket, "connect", checked_connect)
    yield
    assert not gone_out, f"the test left this computer: {', '.join(gone_out)}"


@pytest.fixture
def stand_in() -> Iterator[StandIn]:
    """The services, all of them, on this computer."""
    server = StandIn()
    yield server
    with contextlib.suppress(OSError):
        server.stop()


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that everybody may enter; those of pytest are closed to others by every run that begins."""
    with TemporaryDirectory(prefix="flushcast-test-") as made:
        folder = Path(made)
        folder.chmod(0o777)
        yield folder


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """How many cells of a table were run, how many passed, and how many have a reason instead."""
    runs = passes = 0
    for reports in terminalreporter.stats.values():
        for report in reports:
            if ("table", "faults x services") in getattr(report, "user_properties", ()):
                runs += report.when == "call"
                passes += report.when == "call" and report.passed
    if runs:
        terminalreporter.write_line(f"faults x services: {runs} runs, {passes} passed")
