"""Long work shows how far it has come: on a terminal, in place, and nowhere else."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from data_sources.demo.climate import synthetic_weather
from data_sources.kept_notes import PAST
from phenology.advice.garden_forecast import forecast_garden
from phenology.judging.past_forecasts import past_forecasts
from phenology.learning.calibration import calibrate
from phenology.learning.garden_fit import GardenFit
from reports.views.progress import EVERY, WAIT, ProgressLine, progress
from tests.reports.demo import DAY, demo_folder, flushcast, own_demo
from tests.reports.opened import read_garden

needs_terminal = pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
LINE = re.compile(r"\rStill working: [a-z ]+ (\d+) of (\d+)")


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True

    @property
    def left(self) -> str:
        """What is left to see on the line."""
        seen: list[str] = []
        for part in self.getvalue().split("\r"):
            seen[: len(part)] = part
        return "".join(seen).rstrip()


class Clock:
    """Seconds that pass when told to."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_a_line_appears_after_a_while_is_rewritten_in_place_and_leaves_nothing():
    terminal, clock = Terminal(), Clock()
    with ProgressLine(terminal, clock) as line:
        line.show("season", 0, 12)
        assert terminal.getvalue() == ""  # soon over: nothing to say
        clock.now += WAIT
        line.show("season", 9, 12)
        assert terminal.left == "Still working: season 10 of 12"
        line.show("season", 10, 12)
        assert terminal.left == "Still working: season 10 of 12"  # too soon to be read
        clock.now += EVERY
        line.show("year", 3, 9)
        assert terminal.left == "Still working: year 4 of 9"
    assert terminal.left == "" and "\n" not in terminal.getvalue()


def test_the_last_part_is_never_counted_past():
    terminal, clock = Terminal(), Clock()
    line = ProgressLine(terminal, clock)
    clock.now += WAIT
    line.show("tree", 5, 5)
    assert terminal.left.endswith("tree 5 of 5")


def test_who_is_waited_for_may_be_named_at_once():
    terminal, clock = Terminal(), Clock()
    ProgressLine(terminal, clock, wait=0.0).show("MET Norway,", 0, 1)
    assert terminal.left == "Still working: MET Norway, 1 of 1"


def test_nothing_to_do_shows_nothing():
    terminal, clock = Terminal(), Clock()
    line = ProgressLine(terminal, clock)
    clock.now += WAIT
    line.show("tree", 0, 0)
    assert terminal.getvalue() == ""


def test_a_line_is_cut_to_the_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "20")
    terminal, clock = Terminal(), Clock()
    line = ProgressLine(terminal, clock)
    clock.now += WAIT
    line.show("season", 3, 9)
    assert len(terminal.left) == 19


def test_a_failure_takes_the_line_away_and_goes_on_its_way(monkeypatch):
    monkeypatch.setattr("reports.views.progress.WAIT", 0.0)
    terminal = Terminal()
    with pytest.raises(RuntimeError), progress("season", terminal) as step:
        step(2, 9)
        assert terminal.left == "Still working: season 3 of 9"
        raise RuntimeError
    assert terminal.left == ""


def test_a_stream_that_is_no_terminal_gets_nothing(monkeypatch):
    monkeypatch.setattr("reports.views.progress.WAIT", 0.0)
    log = io.StringIO()
    with progress("season", log) as step:
        step(2, 9)
    assert log.getvalue() == ""


def told(call) -> list[tuple[int, int]]:
    """What a piece of work tells of its progress."""
    steps: list[tuple[int, int]] = []
    call(lambda done, total: steps.append((done, total)))
    return steps


@pytest.mark.parametrize(
    "call",
    [
        lambda fit, step: forecast_garden(fit.garden, progress=step),
        lambda fit, step: past_forecasts(fit.garden, every=60, progress=step),
        lambda fit, step: list(calibrate(fit, progress=step)),
    ],
    ids=["forecast", "past forecasts", "calibration"],
)
def test_long_work_counts_each_part_once_and_in_order(call, monkeypatch):
    monkeypatch.setattr("phenology.advice.garden_forecast.TOGETHER", 1)
    fit = GardenFit(read_garden(demo_folder(), DAY)[0])
    steps = told(lambda step: call(fit, step))
    total = steps[0][1]
    assert total > 3 and steps == [(n, total) for n in range(total)]


def test_telling_changes_no_forecast():
    garden = read_garden(demo_folder(), DAY)[0]
    plain, counted = forecast_garden(garden), forecast_garden(garden, progress=lambda done, total: None)
    assert [row.day(0.5) for row in plain.rows] == [row.day(0.5) for row in counted.rows]


def in_terminal(*arguments: object) -> tuple[str, str, int]:
    """Run the real command line with a terminal as stderr and a pipe as stdout; both, and the exit code."""
    import pty

    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "reports.cli.main", *map(str, arguments)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=theirs, text=True,
    )  # fmt: skip
    os.close(theirs)
    seen = b""
    while True:
        try:
            part = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        seen += part
    out, _ = process.communicate(timeout=120)
    os.close(ours)
    return out, seen.decode(), process.returncode


def years_of_looks(tmp_path: Path) -> tuple[Path, Path]:
    """Forty seasons of bud break and hardening of several trees, and the weather of those years."""
    weather = synthetic_weather(date(1980, 1, 1), date(2020, 12, 31), 48.0, seed=3)
    days = [date.fromordinal(int(o)) for o in weather.ordinals]
    rows = [f"{d},{low},{high}" for d, low, high in zip(days, weather.tmin, weather.tmax, strict=True)]
    (tmp_path / "w.csv").write_text("date,tmin,tmax\n" + "\n".join(rows) + "\n", encoding="utf-8")
    looks = ["date,tree,species,flush,stage"]
    for year in range(1981, 2021):
        for tree in range(6):
            swing = (7 * year + 5 * tree) % 11
            looks += [
                f"{year}-04-{1 + swing:02d},t{tree},Ulmus parvifolia,1,swelling",
                f"{year}-04-{8 + swing:02d},t{tree},Ulmus parvifolia,1,budbreak",
                f"{year}-06-{1 + swing:02d},t{tree},Ulmus parvifolia,1,extended",
                f"{year}-06-{9 + swing:02d},t{tree},Ulmus parvifolia,1,hardened",
            ]
    (tmp_path / "l.csv").write_text("\n".join(looks) + "\n", encoding="utf-8")
    return tmp_path / "w.csv", tmp_path / "l.csv"


@pytest.mark.slow
@needs_terminal
def test_a_hindcast_shows_its_seasons_on_a_terminal_and_none_in_a_pipe(tmp_path: Path):
    weather, looks = years_of_looks(tmp_path)
    command = [
        "hindcast", "--weather", weather, "--looks", looks, "--given", "budbreak", "--target", "hardened",
        "--leave-one-season-out", "--out", tmp_path / "p.csv",
    ]  # fmt: skip
    out, err, code = in_terminal(*command)
    assert code == 0, err
    steps = [tuple(map(int, m.groups())) for m in LINE.finditer(err)]
    assert len(steps) >= 2 and {total for _, total in steps} == {40}
    assert [n for n, _ in steps] == sorted(n for n, _ in steps)
    assert "\x1b" not in err and "Still working" not in out
    last = err.splitlines()[-1]
    assert re.fullmatch(r"(?:.*\r)?Wrote \d+ forecasts to .*p\.csv\.", last)
    piped = flushcast(*command)
    assert piped.stdout == out and "Still working" not in piped.stderr and "\r" not in piped.stderr


@pytest.mark.slow
@needs_terminal
def test_a_report_looks_back_with_a_line_and_leaves_none(tmp_path: Path):
    garden = own_demo(tmp_path)
    (garden / PAST).unlink()  # what was looked back on before is reckoned again
    out, err, code = in_terminal("--garden", garden, "report", "--out", tmp_path / "r.html")
    assert code == 0 and out == ""
    assert LINE.search(err), err
    assert re.search(r"\r +\rWrote .*r\.html, \d+ kB\.\r\n$", err)
    piped = flushcast("--garden", own_demo(tmp_path / "b"), "report", "--out", tmp_path / "r2.html")
    assert "Still working" not in piped.stderr
