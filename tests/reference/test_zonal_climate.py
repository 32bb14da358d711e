"""The usual warmth of a latitude held against real places: its spread holds them, and sums drawn from it do.

Towns: normals of about 1991-2020, from memory, unverified. Seattle as `vega_datasets` carries it (NOAA,
public domain). Harvard Forest where its data lie beside the checkout.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest
from vega_datasets import data

from phenology.heat.clocks import CLOCKS, accumulate
from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from phenology.weather.traces import draw_traces
from phenology.weather.zonal_climate import ZonalClimate
from tests.conftest import shared_or_skip

NORTH = SeasonCalendar()
HEAT = next(k for k, clock in enumerate(CLOCKS) if clock.kind == "sine" and clock.base == 5.0)

# latitude, height [m], mean of the year, of January, of July [°C]
TOWNS = {
    "London": (51.5, 25, 11.5, 5.7, 19.0), "Berlin": (52.5, 50, 10.2, 1.0, 20.0),
    "Oslo": (59.9, 90, 6.8, -3.0, 17.5), "Helsinki": (60.2, 30, 6.5, -3.5, 18.5),
    "Glasgow": (55.9, 60, 9.2, 4.2, 15.5), "Moscow": (55.8, 150, 6.3, -6.2, 19.7),
    "Munich": (48.1, 520, 9.7, 0.3, 19.4), "Madrid": (40.4, 660, 15.0, 6.5, 26.2),
    "Rome": (41.9, 20, 16.0, 8.0, 25.5), "Athens": (38.0, 100, 18.8, 10.2, 29.5),
    "Porto": (41.2, 90, 15.2, 9.8, 20.5), "Kyiv": (50.4, 170, 9.0, -3.2, 21.3),
    "Toronto": (43.7, 110, 9.4, -3.5, 22.5), "Boston": (42.4, 10, 11.3, -1.3, 23.5),
    "Minneapolis": (44.9, 255, 8.3, -8.8, 23.5), "Winnipeg": (49.9, 240, 3.2, -16.3, 19.7),
    "Vancouver": (49.2, 5, 10.5, 4.2, 18.2), "Denver": (39.8, 1650, 10.6, 0.0, 23.5),
    "Atlanta": (33.6, 310, 17.3, 6.8, 27.0), "Los Angeles": (34.0, 30, 18.5, 14.2, 21.5),
    "Miami": (25.8, 2, 25.3, 20.2, 29.0), "Tokyo": (35.7, 25, 15.8, 5.4, 25.7),
    "Sapporo": (43.1, 20, 9.2, -3.2, 21.1), "Shanghai": (31.2, 5, 17.3, 5.0, 29.0),
    "Beijing": (39.9, 55, 13.0, -3.0, 27.2), "Taipei": (25.0, 10, 23.5, 16.5, 30.0),
    "Delhi": (28.6, 215, 25.2, 14.0, 31.5), "Novosibirsk": (55.0, 150, 2.0, -16.5, 19.5),
    "Edmonton": (53.5, 670, 4.0, -10.5, 17.6), "Sydney": (-33.9, 40, 18.8, 23.5, 13.3),
    "Melbourne": (-37.8, 30, 16.0, 21.2, 10.3), "Cape Town": (-34.0, 40, 17.0, 21.0, 12.5),
    "Buenos Aires": (-34.6, 25, 18.2, 25.0, 11.2), "Santiago": (-33.4, 520, 15.0, 21.5, 8.6),
    "Christchurch": (-43.5, 20, 11.7, 17.2, 6.0), "Johannesburg": (-26.2, 1700, 16.0, 20.0, 10.5),
    "Singapore": (1.3, 15, 27.8, 26.8, 28.2), "Nairobi": (-1.3, 1700, 19.0, 20.0, 17.0),
    "Bangkok": (13.7, 5, 28.8, 27.3, 29.2), "Mexico City": (19.4, 2240, 17.0, 14.5, 18.0),
    "Bogota": (4.7, 2550, 13.8, 13.8, 13.6), "Honolulu": (21.3, 5, 25.3, 23.0, 27.5),
}  # fmt: skip


def year_of(climate: ZonalClimate) -> Array:
    usual = climate.usual(NORTH)
    return np.asarray((usual.tmin + usual.tmax) / 2)


def test_towns_of_the_world_lie_within_the_stated_spread() -> None:
    off = []
    for latitude, height, mean, january, july in TOWNS.values():
        climate = ZonalClimate.at(latitude, height)
        usual, sd = year_of(climate), climate.sd_on(NORTH)
        off.append(
            (
                (mean - usual.mean()) / np.sqrt(climate.covariance[0, 0]),
                (january - usual[:31].mean()) / sd[15],
                (july - usual[181:212].mean()) / sd[196],
            )
        )
    within = (np.abs(off) < 1.2816).mean(0)
    assert ((within >= 0.7) & (within <= 0.97)).all(), within  # four in five, and not far wider than needed
    assert np.abs(off).max() < 3.0
    assert np.abs(np.mean(off, axis=0)).max() < 0.4


def test_seattle_runs_through_its_year_as_believed() -> None:
    frame = data.seattle_weather()
    mean = ((frame["temp_min"] + frame["temp_max"]) / 2).groupby(frame["date"].dt.month).mean().to_numpy()
    climate = ZonalClimate.at(47.6, 130.0)
    days = [15 + int(30.4 * k) for k in range(12)]
    off = (mean - year_of(climate)[days]) / climate.sd_on(NORTH)[days]
    assert np.abs(off).max() < 1.5
    low, high = frame["temp_min"].to_numpy(), frame["temp_max"].to_numpy()
    own = climate.given(date(2012, 1, 1), low, high)
    assert mean == pytest.approx(year_of(own)[days], abs=1.6)


@cache
def forest() -> SeasonWeather:
    """Seventeen years of a station at 42.5 north, 340 m."""
    path = shared_or_skip("the weather of Harvard Forest") / "data" / "harvard_forest" / "weather_daily.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    low, high = (np.array([float(r[name] or "nan") for r in rows]) for name in ("tmin", "tmax"))
    series = DailyWeather(date.fromisoformat(rows[0]["date"]), low, high, "station")
    return SeasonWeather.cut(series, NORTH, 42.5)


def sums_ahead(known: SeasonWeather, season: int, issued: int, until: int) -> Array:
    """Warmth above 5 °C that the traces bring from a day to another. [days at 18 °C]"""
    traces = draw_traces(known, season, issued)
    line = traces.thermal_time().sums[:, HEAT]
    return np.asarray(line[:, until] - line[:, issued])


def scores(own_days: int, own_years: int, *, borrow: bool = True) -> tuple[float, float]:
    """Share of years whose sum the middle four in five of the traces hold, and the mean CRPS of the sums."""
    whole, held, crps = forest(), [], []
    for season in whole.seasons:
        others = [s for s in whole.seasons if s != season and whole.known_share(s) > 0.95]
        past = sorted(others, key=lambda s: (season - s) % 17)[:own_years]
        for issued, until in ((60, 130), (110, 170), (150, 240)):
            low, high = np.full(whole.tmin.shape, np.nan), np.full(whole.tmin.shape, np.nan)
            for values, true in ((low, whole.tmin), (high, whole.tmax)):
                for one in past:
                    values[whole.row(one)] = true[whole.row(one)]
                now = slice(max(0, issued - own_days), issued)
                values[whole.row(season), now] = true[whole.row(season), now]
            known = replace(whole, tmin=low, tmax=high)
            if borrow:
                lengths = [NORTH.length(s) for s in whole.seasons]
                line = [np.concatenate([v[k, :n] for k, n in enumerate(lengths)]) for v in (low, high)]
                climate = ZonalClimate.at(42.5, 340.0).given(NORTH.start(whole.seasons[0]), *line)
                known = replace(known, possible=climate.years(NORTH))
            drawn = np.sort(sums_ahead(known, season, issued, until))
            came_low, came_high, _ = whole.filled(season)
            came = np.diff(accumulate(came_low, came_high).sums[HEAT, [issued, until]])[0]
            first, last = np.quantile(drawn, (0.1, 0.9))
            held.append(first <= came <= last)
            pairs = np.abs(drawn[:, None] - drawn[None, :]).mean() / 2
            crps.append(float(np.abs(drawn - came).mean() - pairs))
    return float(np.mean(held)), float(np.mean(crps))


def test_without_weather_sums_hold_and_own_days_sharpen_them() -> None:
    held, crps = scores(0, 0)
    with_days, sharper = scores(45, 0)
    assert held >= 0.8 and with_days >= 0.8
    assert sharper < 0.75 * crps


@pytest.mark.parametrize(
    "years", [pytest.param(1, marks=pytest.mark.slow), 2, pytest.param(4, marks=pytest.mark.slow)]
)
def test_few_own_years_hold_better_with_borrowed_spread(years: int) -> None:
    held, crps = scores(365, years)
    alone, crps_alone = scores(365, years, borrow=False)
    assert 0.75 <= held <= 1.0 and alone < 0.7
    assert crps <= 1.03 * crps_alone
