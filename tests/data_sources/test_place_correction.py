"""Own readings against the station's: benches of known difference, few readings and many."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from data_sources.weather.place_correction import (
    FILE_NAME,
    PRIOR_SD,
    corrected,
    fit_correction,
    load_corrections,
    save_corrections,
)
from phenology.model.errors import InputError
from phenology.weather.series import DailyWeather
from tests.data_sources.series import fingerprint

FIRST = date(2024, 1, 1)
STATION = synthetic_weather(FIRST, date(2025, 12, 31), 50.1, seed=2)


def bench(
    start: date, days: int, *, low: float = 0.0, high: float = 0.0, swing: float = 0.0, slope: float = 0.0,
    scatter: float = 0.8, memory: float = 0.0, seed: int = 5,
) -> DailyWeather:  # fmt: skip
    """Readings of a bench that differs from the station by what is said."""
    random = np.random.default_rng(seed)
    part = STATION.between(start, start + timedelta(days=days - 1))
    n = len(part)
    noise = random.standard_normal((2, n)) * scatter
    for at in range(1, n):
        noise[:, at] = memory * noise[:, at - 1] + np.sqrt(1 - memory**2) * noise[:, at]
    summer = np.cos(2 * np.pi * (part.ordinals - date(2024, 7, 15).toordinal()) / 365.2425)
    tmin = part.tmin + low + noise[0]
    tmax = part.tmax + high + swing * summer + slope * (part.tmax - STATION.tmax.mean()) + noise[1]
    return DailyWeather(start, tmin, np.maximum(tmin, tmax), "bench")


def test_a_year_of_readings_finds_the_difference():
    own = bench(FIRST, 366, low=1.5, high=2.0, swing=1.0, slope=0.05)
    fit = fit_correction(own, STATION)
    assert fit is not None and fit.readings == 366
    moved = fit.apply(STATION)
    truth = bench(FIRST, len(STATION), low=1.5, high=2.0, swing=1.0, slope=0.05, scatter=0.0)
    assert np.abs(np.mean(moved.tmin - truth.tmin)) < 0.15
    assert np.sqrt(np.mean((moved.tmax - truth.tmax) ** 2)) < 0.3
    mean, error = fit.size()["tmin"]
    assert mean == pytest.approx(1.5, abs=0.2) and 0.02 < error < 0.2


def test_few_readings_change_little():
    """Three nights 3 °C warmer say something, but not 3 °C; thirty nights say most of it."""
    shares = []
    for days in (3, 10, 30, 200):
        fit = fit_correction(bench(date(2025, 5, 1), days, low=3.0, scatter=0.5), STATION)
        assert fit is not None
        at = STATION.between(date(2025, 5, 1), date(2025, 5, 1))
        shares.append(float(fit.tmin.difference(at.ordinals, at.tmin)[0]) / 3)
    assert 0.3 < shares[0] < 0.95 and shares == sorted(shares) and shares[-1] > 0.95


def test_no_readings_no_correction():
    assert fit_correction(bench(FIRST, 2), STATION) is None
    elsewhere = DailyWeather(date(2020, 1, 1), np.zeros(100), np.ones(100), "bench")
    assert fit_correction(elsewhere, STATION) is None
    not_mine = DailyWeather(FIRST, np.zeros(100), np.ones(100), "station")
    assert fit_correction(not_mine, STATION) is None


def test_what_was_not_seen_is_less_sure():
    fit = fit_correction(bench(date(2025, 6, 1), 45, high=2.0, swing=1.0), STATION)
    assert fit is not None
    june, january = (STATION.between(d, d) for d in (date(2025, 6, 20), date(2025, 1, 10)))
    sure = fit.tmax.uncertainty(june.ordinals, june.tmax)[0]
    unsure = fit.tmax.uncertainty(january.ordinals, january.tmax)[0]
    assert unsure > 2 * sure


def test_a_slope_goes_no_further_than_what_was_seen():
    fit = fit_correction(bench(date(2025, 6, 1), 60, slope=0.3), STATION)
    assert fit is not None
    at = np.array([date(2025, 7, 1).toordinal()] * 2)
    hottest = fit.tmax.reach[1]
    far = fit.tmax.difference(at, np.array([hottest, hottest + 15]))
    assert far[0] == far[1]


@pytest.mark.parametrize("memory", [0.0, 0.5])
def test_the_uncertainty_holds_the_truth_as_often_as_it_says(memory: float):
    """Eighty benches drawn from the prior: the truth is within 1.64 standard errors nine times in ten."""
    random = np.random.default_rng(11)
    held = []
    for seed in range(80):
        low = float(random.normal(0, PRIOR_SD[0]))
        fit = fit_correction(bench(date(2025, 4, 1), 40, low=low, memory=memory, seed=seed), STATION)
        assert fit is not None
        day = STATION.between(date(2025, 4, 20), date(2025, 4, 20))
        error = fit.tmin.uncertainty(day.ordinals, day.tmin)[0]
        held.append(abs(fit.tmin.difference(day.ordinals, day.tmin)[0] - low) < 1.64 * error)
    assert 0.82 <= np.mean(held) <= 1.0


def test_own_readings_stay_as_they_are_and_extremes_do_not_cross():
    fit = fit_correction(bench(FIRST, 200, low=4.0, high=-4.0), STATION)
    assert fit is not None
    flat = DailyWeather(FIRST, [5.0, 5.0, np.nan], [6.0, 12.0, np.nan], ["station", "bench", "station"])
    moved = fit.apply(flat)
    assert (moved.tmin[1], moved.tmax[1]) == (5.0, 12.0)
    assert moved.tmin[0] == moved.tmax[0] and np.isnan(moved.tmin[2])


def test_each_source_has_its_own_correction_and_the_forecast_takes_the_model_s():
    warm = fit_correction(bench(FIRST, 366, low=2.0, high=2.0), STATION)
    cold = fit_correction(bench(FIRST, 366, low=-2.0, high=-2.0), STATION)
    assert warm is not None and cold is not None
    mixed = DailyWeather(FIRST, [1.0] * 4, [9.0] * 4, ["bench", "station", "model", "forecast"])
    both = corrected(mixed, {"station": warm, "model": cold})
    assert both.tmin[0] == 1.0 and both.tmin[1] > 2 and both.tmin[2] < 0 and both.tmin[3] < 0
    one = corrected(mixed, {"station": warm})
    assert one.tmin[3] > 2
    assert corrected(mixed, {}) is mixed


def test_size_and_uncertainty_are_said():
    fit = fit_correction(bench(FIRST, 366, low=-1.5, high=2.0, swing=1.0), STATION)
    assert fit is not None
    nights, days, basis = fit.lines()
    assert nights.startswith("nights here 1.") and "°C colder than there" in nights and "±" in nights
    assert days.startswith("days here 2.0 ± 0.1 °C warmer than there (+1.") and "in July)" in days
    assert basis == "from 366 days of your own readings, 2024-01-01 to 2024-12-31"
    # a difference in degF is 9/5 of one in degC, without 32
    in_f = fit.lines("F")[1]
    assert in_f.startswith("days here 3.") and "°F warmer than there" in in_f
    assert float(in_f.split()[2]) == pytest.approx(1.8 * fit.tmax.mean()[0], abs=0.06)


def test_it_is_kept_beside_the_weather(tmp_path: Path):
    fit = fit_correction(bench(FIRST, 100, low=1.0), STATION)
    assert fit is not None and load_corrections(tmp_path) == {}
    save_corrections(tmp_path, {"bench": {"station": fit}})
    again = load_corrections(tmp_path)["bench"]["station"]
    assert fingerprint(again.apply(STATION)) == fingerprint(fit.apply(STATION))
    assert again.lines() == fit.lines()
    (tmp_path / FILE_NAME).write_text("[]")
    with pytest.raises(InputError, match="cannot be read; remove it"):
        load_corrections(tmp_path)


def test_applying_loads_no_statistics_package(tmp_path: Path):
    fit = fit_correction(bench(FIRST, 100), STATION)
    assert fit is not None
    save_corrections(tmp_path, {"bench": {"station": fit}})
    code = (
        "import sys, pathlib\n"
        "from data_sources.weather.place_correction import load_corrections\n"
        f"load_corrections(pathlib.Path({str(tmp_path)!r}))\n"
        "sys.exit(any(m in sys.modules for m in ('statsmodels', 'pandas', 'scipy', 'requests', 'meteostat')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
