"""Frost dates and freeze odds: published convention, hand examples, and real stations."""

from __future__ import annotations

import csv
import math
from datetime import date

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar
from phenology.weather.frost import FreezeOdds, first_frosts, last_frosts, midsummer
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from tests.conftest import shared_or_skip

METHODS = {
    "normal": "normal",
    "normal_mixed": "normal",
    "empirical_linear": "empirical",
    "empirical_weibull": "weibull",
}


def test_every_row_of_the_published_convention(shared):
    with (shared / "data" / "check_values" / "frost_cases.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 12
    for row in rows:
        days = [float(d) for d in row["first_frost_day_of_year"].split(";")]
        share = float(row["share_of_years_with_frost"])
        odds = FreezeOdds.of(days + [math.inf] * round(len(days) / share - len(days)))
        assert odds.share == pytest.approx(share)
        found = odds.day(float(row["probability_by_date"]), METHODS[row["method"]])
        if row["expected_day_of_year"] == "none":
            assert found is None
        else:
            assert found == pytest.approx(float(row["expected_day_of_year"]), abs=1e-3)


def test_a_date_beyond_the_share_of_frosty_years_does_not_exist():
    odds = FreezeOdds.of([300.0, 310.0, 320.0, math.inf])
    assert odds.share == 0.75 and odds.day(0.8) is None
    assert odds.chance_by(299.9) == 0 and odds.chance_by(310) == 0.5 and odds.chance_by(900) == 0.75
    frost_free = FreezeOdds.of([math.inf, math.inf])
    assert frost_free.share == 0 and frost_free.day(0.5) is None and frost_free.day(0.5, "normal") is None


@pytest.mark.parametrize(
    "call, sentence",
    [
        (lambda: FreezeOdds.of([]), "no year of weather"),
        (lambda: FreezeOdds.of([1.0]).day(0.0), "between 0 and 1"),
        (lambda: FreezeOdds.of([1.0]).day(0.5, "guess"), "no method 'guess'"),
    ],
)
def test_what_cannot_be_answered_is_refused(call, sentence):
    with pytest.raises(InputError, match=sentence):
        call()


def record_of(start: date, tmin, calendar: SeasonCalendar) -> SeasonWeather:
    low = np.asarray(tmin, dtype=float)
    return SeasonWeather.cut(DailyWeather(start, low, low + 8, "station"), calendar)


def waves(start: date, days: int, coldest_month: int, level: float = 10.0, swing: float = 8.0):
    """A smooth year of minima with its coldest day in the middle of a month."""
    day = np.arange(start.toordinal(), start.toordinal() + days)
    coldest = date(2001, coldest_month, 15).toordinal()
    return level - swing * np.cos(2 * np.pi * (day - coldest) / 365.2425)


@pytest.mark.parametrize("calendar, coldest", [(SeasonCalendar(), 1), (SeasonCalendar(7, 1), 7)])
def test_a_frost_after_new_year_belongs_to_the_summer_before_it(calendar, coldest):
    """No frost but one night, twenty days into the next season."""
    start = calendar.start(2000)
    low = waves(start, (calendar.start(2004) - start).days, coldest)
    night = (calendar.start(2002) - start).days + 19
    low[night] = -1.0
    record = record_of(start, low, calendar)
    found = first_frosts(record)
    assert found[2001] == calendar.length(2001) + 20
    assert found[2000] == math.inf
    assert 2003 not in found  # its winter is not known to the end
    assert last_frosts(record)[2002] == 20
    assert last_frosts(record)[2001] == -math.inf


def test_a_winter_with_holes_says_nothing():
    low = waves(date(2000, 1, 1), 3 * 365, 1, level=6.0)
    whole = first_frosts(record_of(date(2000, 1, 1), low, SeasonCalendar()))
    assert set(whole) == {2000, 2001, 2002} and all(250 < d < 366 for d in whole.values())
    low[365 + 200 : 365 + 290] = np.nan
    assert set(first_frosts(record_of(date(2000, 1, 1), low, SeasonCalendar()))) == {2000, 2002}


def test_warming_moves_past_frosts_later():
    weather = synthetic_weather(date(1980, 1, 1), date(2019, 12, 31), 47.0, warming_per_decade=0.6, seed=2)
    record = SeasonWeather.cut(weather, SeasonCalendar())
    then, now = first_frosts(record), first_frosts(record, today=2019)
    early = range(1980, 1990)
    assert np.mean([now[s] - then[s] for s in early]) > 5


def test_midsummer_is_mirrored():
    north = synthetic_weather(date(2000, 1, 1), date(2012, 12, 31), 47.0, seed=2)
    south = synthetic_weather(date(2000, 1, 1), date(2012, 12, 31), -47.0, seed=2)
    a = midsummer(SeasonWeather.cut(north, SeasonCalendar()))
    b = midsummer(SeasonWeather.cut(south, SeasonCalendar(7, 1)))
    assert abs(a - b) <= 6


# --------------------------------------------------------------------------------------- real stations


def conventional(frame, threshold: float, month: int = 8):
    """First freeze of each winter by the definition, counted in pandas: 1 August to 31 July."""
    import pandas as pd

    out = {}
    for year in sorted(set(frame.index.year)):
        winter = frame[
            (frame.index >= pd.Timestamp(year, month, 1)) & (frame.index < pd.Timestamp(year + 1, month, 1))
        ]
        cold = winter.index[winter["tmin"] <= threshold]
        before = winter["tmin"] if cold.empty else winter["tmin"][: cold[0]]
        whole = len(winter) > 360 or not cold.empty
        if whole and winter.index[0] == pd.Timestamp(year, month, 1) and before.notna().mean() >= 0.9:
            out[year] = (cold[0] - pd.Timestamp(year, 1, 1)).days + 1 if len(cold) else math.inf
    return out


def check_against_the_definition(frame, threshold: float) -> FreezeOdds:
    record = SeasonWeather.cut(DailyWeather.from_frame(frame), SeasonCalendar())
    ours, theirs = first_frosts(record, threshold), conventional(frame, threshold)
    both = set(ours) & set(theirs)
    assert len(both) >= len(theirs) - 1 >= 2
    assert {s: ours[s] for s in both} == {s: theirs[s] for s in both}
    odds = FreezeOdds.of(list(ours.values()))
    for p in (0.1, 0.5, 0.9):
        day = odds.day(p)
        if day is None:
            assert odds.share < p
        else:  # already come in p of all years, to within a year on either side
            assert abs(odds.chance_by(day) - p) <= 1 / odds.years + 1e-9
    return odds


@pytest.mark.parametrize("threshold", [0.0, -2.0, 2.0])
def test_a_cold_station_agrees_with_the_definition(threshold):
    """Petersham, Massachusetts (Harvard Forest HF000 and HF001, CC BY)."""
    import pandas as pd

    folder = shared_or_skip("Harvard Forest station weather, HF000 and HF001")
    frame = pd.read_csv(
        folder / "data" / "harvard_forest" / "weather_daily.csv", index_col="date", parse_dates=True
    )
    frame = frame.asfreq("D").assign(source="station")
    odds = check_against_the_definition(frame, threshold)
    assert odds.share == 1.0 and odds.years >= 15
    if threshold == 0.0:
        middle = odds.day(0.5)
        assert middle is not None and 255 < middle < 290  # mid September to mid October


def test_a_mild_station_agrees_with_the_definition():
    """Seattle 2012-2015, as it ships with vega_datasets (NOAA daily summaries)."""
    data = pytest.importorskip("vega_datasets").data.seattle_weather()
    frame = data.set_index("date")[["temp_min", "temp_max"]].set_axis(["tmin", "tmax"], axis=1).asfreq("D")
    for threshold in (0.0, -4.0, -8.0):
        odds = check_against_the_definition(frame.assign(source="station"), threshold)
        assert odds.years >= 3
    assert odds.share == 0.0  # never -8 degC there in these years
