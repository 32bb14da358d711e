"""A small garden, made once and copied for each test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from reports.web.keeper import Keeper
from tests.reports.bench import TODAY, new_bench
from tests.reports.web.site import Phone


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garden of three trees."""
    return new_bench(tmp_path_factory.mktemp("web") / "garden").folder


@pytest.fixture(autouse=True)
def nothing_reckoned_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is asked for is reckoned; nothing is reckoned in the background meanwhile."""
    monkeypatch.setattr(Keeper, "warm", lambda *_: None)


@pytest.fixture
def phone(made_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Phone:
    """The garden on a day in July, served for this computer."""
    monkeypatch.setenv("FLUSHCAST_TODAY", TODAY)
    return Phone(Path(shutil.copytree(made_once, tmp_path / "garden")))
