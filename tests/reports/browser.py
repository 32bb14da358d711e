"""A real browser for tests of pages, without a network; skips where none is installed."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

ARGS = ("--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync",
        "--no-first-run", "--disable-default-apps")  # fmt: skip


@contextmanager
def chromium() -> Iterator[Any]:
    """A running Chromium."""
    api = pytest.importorskip(
        "playwright.sync_api", reason="needs Playwright for Python (pip install playwright)"
    )
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.skip("needs the Chromium browser (apt-get install chromium)")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=list(ARGS))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def asking_nobody(browser: Any, own: str, **options: Any) -> Iterator[Any]:
    """An empty view in which any request but for the page itself is stopped, and fails in the end."""
    context = browser.new_context(**options)
    asked: list[str] = []

    def watch(route: Any) -> None:
        if route.request.url == own:
            route.continue_()
        else:
            asked.append(route.request.url)
            route.abort()

    context.route("**/*", watch)
    try:
        yield context.new_page()
    finally:
        context.close()
    assert not asked, f"it asked for {asked}"
