"""A garden served in this process, and a browser without a screen that asks it as a phone would."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from data_sources.garden import open_journal
from reports.web.app import make_app
from reports.web.devices import Devices
from reports.web.safety import Reach

HERE = "http://127.0.0.1:8420"
HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)"')


class Phone:
    """Asks for pages, and sends forms with the Origin that a browser gives them."""

    def __init__(
        self, folder: Path, reach: Reach | None = None, devices: Devices | None = None, base: str = HERE
    ) -> None:
        self.folder, self.base = folder, base
        self.client = TestClient(
            make_app(folder, reach, devices), base_url=base, raise_server_exceptions=False
        )

    def get(self, path: str, **more: Any) -> Any:
        """A page."""
        return self.client.get(path, follow_redirects=False, **more)

    def post(self, path: str, fields: dict[str, Any] | None = None, **more: Any) -> Any:
        """A form sent from a page of our own."""
        headers = {"origin": self.base} | more.pop("headers", {})
        return self.client.post(path, data=fields or {}, headers=headers, follow_redirects=False, **more)

    def form(self, path: str) -> dict[str, str]:
        """The hidden fields of the form on a page."""
        return dict(HIDDEN.findall(self.get(path).text))

    def tree(self, label: str) -> str:
        """The id of a tree."""
        with open_journal(self.folder) as journal:
            return next(tree.id for tree in journal.trees() if tree.label == label)

    def looks(self) -> list[Any]:
        """Every look on record."""
        with open_journal(self.folder) as journal:
            return journal.looks()


def words(page: Any) -> str:
    """What a page says, on one line."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page.text)).split())
