"""The settings that late work goes by."""

from __future__ import annotations

from pathlib import Path

import pytest

from data_sources.garden import read_settings
from tests.reports.bench import new_bench


def test_limits_follow_the_settings_and_survive_the_file(tmp_path: Path):
    bench = new_bench(tmp_path / "garden")
    for name, value in (
        ("odds", "95%"),
        ("weeks-before-frost", "12"),
        ("least-daylength", "13.5"),
        ("hot-day", "31"),
        ("away", "2026-08-01/2026-08-14, 2026-12-20/2027-01-03"),
    ):
        bench.does("settings", name, value)
    limits = read_settings(bench.folder).limits
    assert (limits.odds, limits.weeks_before_frost, limits.least_daylength, limits.hot_day_c) == (
        0.95, 12.0, 13.5, 31.0,
    )  # fmt: skip
    assert limits.away == ("2026-08-01/2026-08-14", "2026-12-20/2027-01-03")


@pytest.mark.parametrize(
    "name, value, sentence",
    [
        ("hot-day", "warm", "takes a temperature such as 33C or 91F"),
        ("least-daylength", "25", "'least-daylength' must be a number from 0 to 24"),
        ("away", "2026-08-14/2026-08-01", "first day before last"),
        ("away", "August", 'first day before last, not "August"'),
    ],
)
def test_values_that_cannot_be_are_refused(tmp_path: Path, name: str, value: str, sentence: str):
    bench = new_bench(tmp_path / "garden")
    assert sentence in bench.refuses("settings", name, value)


def test_nobody_home_is_told_when_work_is_written_down(tmp_path: Path):
    bench = new_bench(tmp_path / "garden")
    bench.does("settings", "away", "2026-07-28/2026-08-10")
    words = bench.does("work", "Elm 1", "partial").words
    assert "nobody is home to water from 28 Jul to 10 Aug" in words and "Written down all the same." in words


@pytest.mark.parametrize(
    ("units", "typed", "kept", "shown"),
    [
        ("F", "91", 32.8, "91 °F"),
        ("F", "33C", 33.0, "91 °F"),
        ("C", "91F", 32.8, "32.8 °C"),
        ("C", "31.5 °C", 31.5, "31.5 °C"),
    ],
)
def test_a_hot_day_is_said_in_the_garden_s_units_and_kept_in_celsius(tmp_path, units, typed, kept, shown):
    bench = new_bench(tmp_path / "garden")
    bench.does("settings", "units", units)
    assert shown in bench.does("settings", "hot-day", typed).words
    assert read_settings(bench.folder).hot_day == kept
    assert bench.does("settings", "hot-day").out.strip() == shown
    assert shown in bench.does("settings").out


def test_the_seasons_start_stands_still_once_a_look_is_written_down(tmp_path: Path):
    bench = new_bench(tmp_path / "garden")
    bench.does("settings", "season-start", "03-01")
    bench.does("settings", "season-start", "--reset")
    bench.does("look", "Elm 1", "budbreak")
    refused = bench.refuses("settings", "season-start", "03-01")
    assert "cannot change once looks or work are written down" in refused
    assert read_settings(bench.folder).season_start is None
