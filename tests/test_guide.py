"""The growers' guide: every command in it runs, in its order, on the days that it speaks of."""

from __future__ import annotations

import re
import shlex
from datetime import date
from pathlib import Path

import pytest

from phenology.weather.climate import synthetic_weather
from tests.reports.bench import Bench

GUIDE = (Path(__file__).resolve().parent.parent / "docs" / "guide.md").read_text(encoding="utf-8")
DAYS = {"The first hour": "2026-05-20", "The first season": "2026-10-25", "The second season": "2027-06-10"}


def sections():
    """Title, day and commands of each section, in order."""
    parts = re.split(r"^## (.+)$", GUIDE, flags=re.MULTILINE)[1:]
    for title, text in zip(parts[::2], parts[1::2], strict=True):
        blocks = re.findall(r"^```\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)
        yield title, DAYS.get(title, ""), [line for block in blocks for line in block.splitlines()]


def write_weather(path, latitude, seed, last):
    weather = synthetic_weather(date(2016, 1, 1), date.fromisoformat(last), latitude, seed=seed)
    first = weather.first_day.toordinal()
    rows = (
        f"{date.fromordinal(first + n)},{weather.tmin[n]},{weather.tmax[n]}" for n in range(len(weather.tmin))
    )
    path.write_text("\n".join(["date,tmin,tmax", *rows]))


def test_the_guide_runs_from_the_first_hour_to_the_second_season(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    garden, ran = tmp_path / "garden", []
    for _, today, commands in sections():
        bench = Bench(garden, today=today)
        for line in commands:
            if line == "cd garden":
                monkeypatch.chdir(garden)
                write_weather(garden / "station.csv", 47.2, 3, today)
                write_weather(garden / "school.csv", 40.0, 4, "2025-12-31")
                continue
            if today > DAYS["The first hour"] and not ran[-1].startswith(today):
                write_weather(garden / "station.csv", 47.2, 3, today)
                bench.does("weather", "add", garden / "station.csv", "--units", "C")
            words = shlex.split(line)
            assert words[0] == "flushcast"
            bench.does(*words[1:])
            ran.append(f"{today} {line}")
    assert len(ran) >= 15
    assert (garden / "garden.ics").is_file() and (garden / "past.svg").is_file()


@pytest.mark.parametrize("command", sorted(set(re.findall(r"`flushcast ([a-z]+(?: [a-z]+)?)", GUIDE))))
def test_every_command_named_in_passing_exists(tmp_path, command):
    words = command.split()
    groups = {"weather", "tree", "place"}
    assert Bench(tmp_path)(*(words if words[0] in groups else words[:1]), "--help").code == 0
