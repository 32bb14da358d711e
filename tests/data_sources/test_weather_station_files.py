"""Station records as the data centre gives them: flags respected, nothing silently filled."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.files.weather_table import WeatherFileError


def dly(element, values, month="202602", station="XXC00099001"):
    """One line of a .dly file; `values` are (value, quality) for the first days."""
    cells = [f"{value:5d} {quality or ' '}7" for value, quality in values]
    cells += ["-9999   "] * (31 - len(cells))
    return station + month + element + "".join(cells)


def test_values_are_tenths_and_flagged_ones_are_left_out(tmp_path):
    path = tmp_path / "x.dly"
    path.write_text(
        dly("TMAX", [(104, ""), (119, ""), (50, "")])
        + "\n"
        + dly("TMIN", [(22, ""), (417, "I"), (-49, "")])
        + "\n"
        + dly("PRCP", [(0, "")])
    )
    weather, report = read_weather_file(path)
    assert weather.tmax.tolist() == [10.4, 11.9, 5.0]
    np.testing.assert_array_equal(weather.tmin, [2.2, np.nan, -4.9])
    assert report.left_out == {"TMIN failed the quality check 'inconsistent'": 1}
    assert report.attribution == (
        "NOAA National Centers for Environmental Information, GHCN-Daily, station XXC00099001"
    )


def test_stripped_trailing_blanks_do_no_harm(tmp_path):
    path = tmp_path / "x.dly"
    line = dly("TMAX", [(104, "")] * 3)[: 21 + 3 * 8].rstrip("7 ")
    path.write_text(line + "\n" + dly("TMIN", [(4, "")] * 3))
    weather, _ = read_weather_file(path)
    assert weather.tmax.tolist() == [10.4] * 3


def test_the_example_record(shared):
    weather, report = read_weather_file(shared / "data" / "weather_examples" / "ghcn_sample.dly")
    assert (weather.first_day, weather.last_day) == (date(2026, 2, 1), date(2026, 3, 31))
    assert weather.tmin[weather.index(date(2026, 2, 4))] == -4.9
    assert not weather.known[weather.index(date(2026, 2, 17))]  # 41.7 flagged I
    assert report.units == "tenths"


def test_the_table_by_station_without_names(tmp_path):
    path = tmp_path / "XXC00099001.csv"
    path.write_text(
        "XXC00099001,20260201,TMAX,104,,,7,0800\nXXC00099001,20260201,TMIN,22,,,7,0800\n"
        "XXC00099001,20260201,PRCP,5,,,7,\nXXC00099001,20260202,TMAX,300,,X,7,\n"
        "XXC00099001,20260203,TMAX,99,,,7,\nXXC00099001,20260203,TMIN,12,H,,7,\n"
    )
    weather, report = read_weather_file(path)
    assert weather.known.tolist() == [True, False, True]
    assert report.left_out == {"TMAX failed the quality check 'out of bounds'": 1}


def test_a_crossed_day_of_a_station_is_left_out(tmp_path):
    path = tmp_path / "x.dly"
    path.write_text(dly("TMAX", [(10, ""), (90, "")]) + "\n" + dly("TMIN", [(50, ""), (20, "")]))
    weather, report = read_weather_file(path)
    assert (weather.first_day, weather.known.tolist()) == (date(2026, 2, 1), [False, True])
    assert report.left_out == {"TMIN above TMAX on one day": 1}


@pytest.mark.parametrize(
    "lines, message",
    [
        ([dly("TMAX", [(1, "")]), dly("TMAX", [(1, "")], station="XXC00099002")], "holds 2 stations"),
        ([dly("TMAX", [(1, "")]), dly("TMAX", [(1, "")])], "line 2, column TMAX: 2026-02-01 comes twice"),
        ([dly("PRCP", [(1, "")])], "no TMIN or TMAX"),
        ([dly("TMAX", [(1, "")]), "<html>sorry</html>"], "line 2: this is not a line of GHCN-Daily"),
    ],
)
def test_records_that_cannot_be_used(tmp_path, lines, message):
    path = tmp_path / "x.dly"
    path.write_text("\n".join(lines))
    with pytest.raises(WeatherFileError, match=message):
        read_weather_file(path)


def test_daily_summaries_need_their_unit_and_keep_their_flags(shared):
    path = shared / "data" / "weather_examples" / "ncei_daily.csv"
    with pytest.raises(FileQuestion):
        read_weather_file(path)
    weather, report = read_weather_file(path, units="C")
    assert report.shape == "NCEI daily summaries"
    assert (weather.tmin[0], weather.tmax[0]) == (2.8, 9.5)  # padded numbers
    assert not weather.known[weather.index(date(2026, 3, 8))]  # 41.7 flagged I
    assert report.station == "XXC00099001"
    assert report.attribution.endswith("GHCN-Daily, station XXC00099001")


def test_two_stations_in_daily_summaries(tmp_path):
    path = tmp_path / "two.csv"
    path.write_text("STATION,DATE,TMAX,TMIN\nA,2026-03-01,9,1\nB,2026-03-02,9,1\n")
    with pytest.raises(WeatherFileError, match=r"holds 2 stations \(A, B\)"):
        read_weather_file(path, units="C")
