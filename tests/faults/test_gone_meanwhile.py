"""A file that another process takes away between a look at it and its reading is one that is not there."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from data_sources.disk.whole_files import read_output
from data_sources.look_photos import photo_path
from data_sources.weather.store.weather_store import FILE_NAME, WeatherStore
from phenology.model.errors import WeatherError
from reports.web import devices
from tests.reports.bench import TODAY, new_bench
from tests.reports.web.site import Phone


def gone(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks is still told that the file is there."""
    for name in ("exists", "is_file"):
        asked = getattr(Path, name)
        monkeypatch.setattr(Path, name, lambda self, asked=asked: self == path or asked(self))


def test_a_calendar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone(tmp_path / "c.ics", monkeypatch)
    assert read_output(tmp_path / "c.ics") is None


def test_the_weather(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone(tmp_path / FILE_NAME, monkeypatch)
    with pytest.raises(WeatherError, match="no weather"):
        WeatherStore.open(tmp_path)


def test_the_list_of_phones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone(tmp_path / devices.FILE_NAME, monkeypatch)
    assert devices.Devices(tmp_path, lambda: 0.0, lambda: date(2026, 7, 25)).listed() == []


def test_a_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = new_bench(tmp_path / "garden")
    bench.does("look", "Elm 1", "soft")
    monkeypatch.setenv("FLUSHCAST_TODAY", TODAY)
    phone = Phone(bench.folder)
    (look,) = phone.looks()
    gone(photo_path(bench.folder, look.id), monkeypatch)
    assert phone.get(f"/photos/{look.id}").status_code == 422
