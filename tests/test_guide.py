"""The growers' guide: every command in it runs, in its order, on the day that it speaks of."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

from data_sources.demo.climate import synthetic_weather
from tests.reports.bench import Answer, Bench
from tests.reports.demo import looked_back

DOCS = Path(__file__).resolve().parent.parent / "docs"
GUIDE = (DOCS / "guide.md").read_text(encoding="utf-8")
README = (DOCS.parent / "README.md").read_text(encoding="utf-8")
BEGINS = {
    "Before you begin": date(2026, 5, 20),
    "The first hour": date(2026, 5, 20),
    "The first season": date(2026, 5, 20),
    "The second season": date(2027, 4, 1),
}
LATITUDE, TEACHERS = 47.2, 40.0


def steps() -> Iterator[tuple[date, str]]:
    """The day and the line of each command, in order: a block keeps to the last "On 25 May" before it."""
    parts = re.split(r"^## (.+)$", GUIDE, flags=re.MULTILINE)[1:]
    for title, text in zip(parts[::2], parts[1::2], strict=True):
        today = BEGINS.get(title, date.min)
        for words, block in re.findall(r"(.*?)^```\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL):
            for day in re.findall(r"\bOn (\d{1,2} [A-Z][a-z]+)", words):
                today = datetime.strptime(f"{day} {today.year}", "%d %B %Y").date()
            for line in block.splitlines():
                yield today, line


def write_weather(path: Path, latitude: float, seed: int, last: date) -> None:
    weather = synthetic_weather(date(2016, 1, 1), last, latitude, seed=seed)
    first = weather.first_day.toordinal()
    rows = (
        f"{date.fromordinal(first + n)},{weather.tmin[n]},{weather.tmax[n]}" for n in range(len(weather.tmin))
    )
    path.write_text("\n".join(["date,tmin,tmax", *rows]))


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Answer]:
    """What each line answered, on a garden that begins with nothing, by its day and words."""
    home = tmp_path_factory.mktemp("walk")
    garden, answers = home / "garden", {}
    with pytest.MonkeyPatch.context() as patch, looked_back():
        patch.chdir(home)
        fetched = None
        for today, line in steps():
            if line == "cd garden":
                patch.chdir(garden)
                write_weather(garden / "school.csv", TEACHERS, 4, date(2025, 12, 31))
            if garden.is_dir() and today != fetched:  # a grower fetches the station's newest file
                write_weather(garden / "station.csv", LATITUDE, 3, today)
                fetched = today
            if line.startswith("flushcast "):
                bench = Bench(garden, today=today.isoformat())
                answers[f"{today} {line}"] = bench.does(*shlex.split(line)[1:])
        answers["files"] = Answer(" ".join(p.name for p in (*garden.iterdir(), *home.iterdir())), "", 0)
    return answers


def test_days_come_in_order_and_in_their_seasons() -> None:
    days = [day for day, _ in steps()]
    assert days == sorted(days)
    assert len(set(days)) >= 7 and days[-1].year == 2027


def test_the_guide_runs_from_the_first_hour_to_the_second_season(walked) -> None:
    assert len(walked) >= 25
    made = walked["files"].out.split()
    assert {"garden.ics", "garden.html", "past.svg", "seasons.png", "garden-2026.backup"} <= set(made)


def test_what_the_guide_says_of_answers_is_so(walked) -> None:
    """Where the guide quotes or promises an answer, that is what comes."""
    first = " ".join(walked["2026-05-20 flushcast forecast"].out.split())
    assert "look weekly from" in first and ", a guess" in first
    assert "Hornbeam 1" in walked["2026-06-22 flushcast round"].out
    assert "Wakes a new flush" in walked['2026-06-23 flushcast work "hornbeam 1" cutback'].words
    assert "Closes" in walked["2026-06-23 flushcast windows"].out
    assert "flush" in walked["2026-10-20 flushcast look all turning"].words
    taught = walked["2027-04-25 flushcast calibrate hornbeam"].out
    assert re.search(r"guess +seasons +open$", taught, re.M) and re.search(r"\d+% +1 ", taught)
    assert "too few seasons" in walked["2027-06-10 flushcast compare"].out
    past = walked["2027-06-10 flushcast chart past --out past.svg"].words
    assert "no finished seasons" in past


def test_lines_that_are_not_ours_are_those_of_the_readme() -> None:
    others = [line for _, line in steps() if not line.startswith("flushcast ") and line != "cd garden"]
    assert others == ["python3 -m venv .venv", ". .venv/bin/activate", "pip install ."]
    assert "python3 -m venv .venv && .venv/bin/pip install" in README and others[1] in README


@pytest.mark.parametrize("command", sorted(set(re.findall(r"`flushcast ([^`]+)`", GUIDE))))
def test_every_command_named_in_passing_exists(tmp_path, command) -> None:
    words = command.split()
    groups = {"weather", "tree", "place"}
    named = words[: 2 if words[0] in groups else 1]
    answer = Bench(tmp_path)(*named, "--help")
    assert answer.code == 0
    for option in (word for word in words if word.startswith("--")):
        assert option in answer.out


@pytest.mark.parametrize("option", sorted(set(re.findall(r"`(--[a-z-]+)", GUIDE))))
def test_every_option_named_in_passing_is_one_of_a_command_it_speaks_of(tmp_path, option) -> None:
    commands = ("look", "weather add", "elsewhere")
    assert any(option in Bench(tmp_path)(*name.split(), "--help").out for name in commands)


def test_pages_that_it_points_to_are_there() -> None:
    assert all((DOCS / name).is_file() for name in re.findall(r"\]\((\w+\.md)\)", GUIDE))
