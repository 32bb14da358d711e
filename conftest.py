"""The room that processes of a run share, and what examples in docstrings speak of without saying it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from tempfile import mkdtemp
from typing import Any

import pytest

ROOM = "FLUSHCAST_TEST_ROOM"


def pytest_configure(config: pytest.Config) -> None:
    """The first process makes the room, its workers find it."""
    if not hasattr(config, "workerinput"):
        os.environ[ROOM] = mkdtemp(prefix="flushcast-test-")


def pytest_unconfigure(config: pytest.Config) -> None:
    """The first process, which ends last, clears it away."""
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop(ROOM), ignore_errors=True)


@pytest.fixture(autouse=True)
def garden_of_the_examples(
    request: pytest.FixtureRequest, doctest_namespace: dict[str, Any]
) -> Iterator[None]:
    """`garden` in an example of the notebook is the demo garden, which the tests looked back on already."""
    if request.path.parent.name != "notebook" and request.path.stem != "test_python_page":
        yield
        return
    from reports.notebook import open_garden
    from tests.reports.demo import looked_back

    doctest_namespace.setdefault("garden", open_garden("demo", as_of="2026-06-14"))
    with looked_back():
        yield
