"""Daily weather as plain arrays: what is refused, how series are cut, joined and counted."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from phenology.model.errors import WeatherError
from phenology.weather.series import SOURCES, DailyWeather, check_weather_frame, merge_weather

MARCH = date(2026, 3, 1)


def three_days(source="station"):
    return DailyWeather(MARCH, [1.0, 2.0, 3.0], [9.0, 8.0, 7.0], source)


def frame(days=3, **columns):
    index = pd.date_range(MARCH, periods=days, name="date")
    given_columns = {"tmin": [1.0] * days, "tmax": [9.0] * days, "source": ["station"] * days}
    return pd.DataFrame({**given_columns, **columns}, index=index)


def test_a_crossed_day_is_named_with_both_values():
    with pytest.raises(WeatherError, match=r"2026-03-02: tmin 14.2 °C is above tmax 9.8 °C$"):
        DailyWeather(MARCH, [1.0, 14.2], [9.0, 9.8], "bench")


def test_several_crossed_days_are_counted():
    with pytest.raises(WeatherError, match=r"2026-03-01: .* \(and 2 more such days\)"):
        DailyWeather(MARCH, [9.0, 9.0, 9.0], [1.0, 1.0, 1.0], "bench")


def test_equal_extremes_and_half_known_days_stand():
    weather = DailyWeather(MARCH, [5.0, np.nan, 3.0], [5.0, 8.0, np.nan], "station")
    assert_array_equal(weather.known, [True, False, False])
    assert weather.coverage().missing == 2


def test_infinite_is_no_temperature():
    with pytest.raises(WeatherError, match="2026-03-02: tmax is infinite"):
        DailyWeather(MARCH, [1.0, 1.0], [9.0, np.inf], "bench")


def test_unknown_source_is_refused():
    with pytest.raises(WeatherError, match="'satellite' is no weather source; the sources are bench"):
        three_days("satellite")


def test_a_day_with_values_needs_a_source():
    with pytest.raises(WeatherError, match="2026-03-02 has no source"):
        DailyWeather(MARCH, [1.0, 1.0], [2.0, 2.0], ["bench", ""])


def test_a_day_without_values_has_no_source():
    weather = DailyWeather(MARCH, [1.0, np.nan], [2.0, np.nan], "model")
    assert weather.source.tolist() == ["model", ""]


def test_lengths_must_agree():
    with pytest.raises(WeatherError, match="as long as"):
        DailyWeather(MARCH, [1.0], [2.0, 3.0], "bench")
    with pytest.raises(WeatherError, match="source must be as long"):
        DailyWeather(MARCH, [1.0, 2.0], [2.0, 3.0], ["bench"])


def test_arrays_are_frozen_copies():
    low = np.array([1.0, 2.0])
    weather = DailyWeather(MARCH, low, [9.0, 9.0], "bench")
    low[0] = 99.0
    assert weather.tmin[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        weather.tmin[0] = 0.0


def test_days_between_rows_become_unknown():
    weather = DailyWeather.from_days([MARCH, date(2026, 3, 4)], [1.0, 2.0], [8.0, 9.0], "station")
    assert_array_equal(weather.tmin, [1.0, np.nan, np.nan, 2.0])
    assert weather.coverage().missing_spans == ((date(2026, 3, 2), date(2026, 3, 3)),)


@pytest.mark.parametrize(
    "days, message",
    [
        ([MARCH, MARCH], "2026-03-01 comes twice"),
        ([date(2026, 3, 5), MARCH], "2026-03-01 comes after 2026-03-05; sort"),
        ([], "not a single day"),
    ],
)
def test_days_must_be_sorted_and_single(days, message):
    with pytest.raises(WeatherError, match=message):
        DailyWeather.from_days(days, [1.0] * len(days), [2.0] * len(days), "bench")


def test_index_finds_a_leap_day_and_refuses_what_is_outside():
    leap = DailyWeather(date(2024, 2, 28), [1.0] * 3, [2.0] * 3, "station")
    assert leap.index(date(2024, 2, 29)) == 1
    with pytest.raises(
        WeatherError, match="no weather for 2024-03-02: it runs from 2024-02-28 to 2024-03-01"
    ):
        leap.index(date(2024, 3, 2))


def test_between_clips_and_may_be_empty():
    weather = three_days()
    assert len(weather.between(date(2020, 1, 1), date(2030, 1, 1))) == 3
    nothing = weather.between(date(2027, 1, 1), date(2027, 2, 1))
    assert len(nothing) == 0
    assert nothing.coverage().line() == "no days"
    assert len(weather.between(date(2026, 3, 3), date(2026, 3, 1))) == 0


def test_spanning_pads_with_unknown_days():
    wide = three_days().spanning(date(2026, 2, 28), date(2026, 3, 5))
    assert_array_equal(np.isnan(wide.tmin), [True, False, False, False, True, True])
    assert wide.last_known_day() == date(2026, 3, 3)


def test_no_known_day_is_said():
    with pytest.raises(WeatherError, match="no day of the weather"):
        DailyWeather(MARCH, [np.nan], [9.0], "bench").last_known_day()


def test_coverage_line_of_whole_years():
    days = (date(1997, 12, 31) - date(1996, 1, 1)).days + 1
    low = np.zeros(days)
    low[[10, 11, 300]] = np.nan
    weather = DailyWeather(date(1996, 1, 1), low, np.ones(days), "station")
    expected = "731 days 1996-1997, 3 missing (1996-01-11 to 1996-01-12, 1996-10-27); station 728"
    assert weather.coverage().line() == expected


@given(
    order=st.permutations(SOURCES),
    holes=st.lists(st.lists(st.booleans(), min_size=6, max_size=6), min_size=5, max_size=5),
)
@settings(max_examples=40)
def test_merging_takes_the_most_trusted_known_day(order, holes):
    parts = []
    for source, unknown in zip(order, holes, strict=True):
        low = np.where(unknown, np.nan, float(SOURCES.index(source)))
        parts.append(DailyWeather(MARCH, low, low + 1.0, source))
    merged = merge_weather(parts)
    for day in range(6):
        offered = [SOURCES.index(p.source[day]) for p in parts if p.known[day]]
        assert merged.source[day] == (SOURCES[min(offered)] if offered else "")


def test_a_full_model_day_goes_before_half_a_bench_day():
    bench = DailyWeather(MARCH, [np.nan, np.nan], [9.0, 9.0], "bench")
    model = DailyWeather(MARCH, [2.0], [7.0], "model")
    merged = merge_weather([bench, model])
    assert merged.source.tolist() == ["model", "bench"]
    assert_array_equal(merged.tmax, [7.0, 9.0])


def test_series_apart_leave_a_gap_between_them():
    later = DailyWeather(date(2026, 3, 6), [1.0], [2.0], "forecast")
    merged = merge_weather([later, three_days()])
    assert merged.source.tolist() == ["station"] * 3 + ["", ""] + ["forecast"]


def test_frame_and_back():
    weather = DailyWeather(MARCH, [1.0, np.nan, 3.0], [9.0, np.nan, 7.0], "station")
    as_frame = weather.to_frame()
    assert as_frame.index.name == "date"
    again = DailyWeather.from_frame(as_frame)
    assert_array_equal(again.tmin, weather.tmin)
    assert again.source.tolist() == ["station", "", "station"]


def test_nullable_floats_are_read():
    nullable = frame(tmin=pd.array([1.0, None, 2.0], dtype="Float64"))
    assert_array_equal(DailyWeather.from_frame(nullable).tmin, [1.0, np.nan, 2.0])


@pytest.mark.parametrize(
    "bad, message",
    [
        (frame().rename_axis("day"), "DatetimeIndex named 'date'"),
        (frame().drop(columns="tmax"), "needs the column tmax"),
        (frame().tz_localize("UTC"), "without time zone"),
        (frame().shift(freq="6h"), "midnights"),
        (frame().iloc[[0, 2]], "2026-03-02 is absent"),
        (frame().iloc[[0, 1, 1]], "2026-03-02 comes twice"),
        (frame().iloc[::-1], "2026-03-02 comes after 2026-03-03; sort"),
        (frame(tmin=[np.nan] * 3), "all 3 days are empty"),
        (frame(tmin=[1.0, 12.0, 1.0]), "2026-03-02: tmin 12 °C is above tmax 9 °C"),
        (frame().iloc[:0], "not a single day"),
    ],
)
def test_the_one_validator_names_what_is_wrong(bad, message):
    with pytest.raises(WeatherError, match=message):
        check_weather_frame(bad)


def test_the_validator_leaves_its_argument_alone():
    given_frame = frame(tmin=[1, 2, 3])
    checked = check_weather_frame(given_frame)
    assert checked["tmin"].dtype == "float64"
    assert given_frame["tmin"].dtype == "int64"


def test_the_module_loads_no_pandas():
    code = "import sys, phenology.weather.series; print('pandas' in sys.modules, 'scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_long_series_are_quick_to_cut():
    weather = DailyWeather(date(1990, 1, 1), np.zeros(13_000), np.ones(13_000), "station")
    assert weather.between(date(2000, 2, 29), date(2000, 2, 29) + timedelta(days=9)).last_day == date(
        2000, 3, 9
    )
