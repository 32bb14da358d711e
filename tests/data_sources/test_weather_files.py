"""Daily tables as growers have them: any spelling and dialect, nothing guessed, all faults said at once."""

from __future__ import annotations

import contextlib
import gzip
import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.columns import role_of
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.files.weather_table import WeatherFileError

PLAIN = "date,tmin,tmax\n2026-03-01,1.5,9.0\n2026-03-02,0.2,7.5\n2026-03-03,-2.0,5.0\n"


@pytest.fixture
def put(tmp_path):
    def write(content, name="march.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return write


def read_plain(path, **options):
    weather, report = read_weather_file(path, **options)
    assert weather.first_day == date(2026, 3, 1)
    assert_allclose(weather.tmin, [1.5, 0.2, -2.0])
    assert_allclose(weather.tmax, [9.0, 7.5, 5.0])
    return report


def test_the_plain_table(put):
    report = read_plain(put(PLAIN), units="C", source="bench")
    assert report.lines()[0] == "3 days 2026-03-01 to 2026-03-03, none missing; bench 3"
    assert report.lines()[1] == "read as daily table in °C"


@pytest.mark.parametrize(
    "content",
    [
        PLAIN.replace("date,tmin,tmax", "date,tmin_c,tmax_c"),
        PLAIN.replace("date,tmin,tmax", "Day,Min temp (°C),Max temp (°C)"),
        PLAIN.replace("date,tmin,tmax", "Date,MinTemp [C],MaxTemp [C]"),
        PLAIN.replace("date,tmin,tmax", "DATUM,Minimum Celsius,Maximum Celsius"),
        "# Unit: °C\n# shelf north\n" + PLAIN,
        PLAIN.replace("1.5,9.0", "1.5 °C,9.0 °C"),
        PLAIN.replace("1.5,9.0", "1.5℃,9.0℃"),
        PLAIN.replace("date,tmin,tmax", "Datum,Tiefsttemperatur (℃),Höchsttemperatur (℃)"),
        PLAIN.replace("date,tmin,tmax", "Datum,Tagesminimum (°C),Tagesmaximum (°C)"),
        PLAIN.replace("date,tmin,tmax", "Tag,Tiefstwert °C,Höchstwert °C"),
        PLAIN.replace("date,tmin,tmax", "Datum,Minimaltemperatur °C,Maximaltemperatur °C"),
    ],
)
def test_the_unit_is_read_from_names_preamble_or_cells(put, content):
    assert read_plain(put(content)).units == "C"


def test_a_day_that_is_not_over_is_left_out(put):
    weather, report = read_weather_file(put(PLAIN), units="C", today=date(2026, 3, 3))
    assert weather.known.tolist() == [True, True, False]
    assert any("the day is not over" in note for note in report.notes)
    assert read_weather_file(put(PLAIN), units="C", today=date(2026, 3, 4))[0].known.all()


def test_columns_in_any_order_beside_others(put):
    content = (
        "station;rain mm;T max (°C);remark;date;T min (°C)\n"
        "north;0,2;9,0;;2026-03-01;1,5\nnorth;;7,5;fog;2026-03-02;0,2\nnorth;1;5,0;;2026-03-03;-2,0\n"
    )
    report = read_plain(put(content))
    assert report.columns["tmax"] == "T max (°C)"
    assert report.station == "north"


@pytest.mark.parametrize(
    "encoding, prefix",
    [
        ("utf-8", "\ufeff"),
        ("utf-16-le", "\ufeff"),
        ("utf-16-be", "\ufeff"),
        ("utf-16-le", ""),
        ("cp1252", ""),
    ],
)
def test_encodings(put, encoding, prefix):
    content = prefix + PLAIN.replace("tmin,tmax", "tmin (°C),tmax (°C)").replace("\n", "\r\n")
    read_plain(put(content, encoding=encoding))


@pytest.mark.parametrize("first", ["sep=;\n", "sep=;\r\nSerial;0042\r\nInterval;one day\r\n\r\n"])
def test_the_separator_line_and_a_preamble(put, first):
    read_plain(put(first + PLAIN.replace(",", ";").replace(".", ",")), units="C")


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_delimiters(put, delimiter):
    read_plain(put(PLAIN.replace(",", delimiter)), units="C")


def test_quoted_decimal_commas(put):
    content = 'date,tmin,tmax\n2026-03-01,"1,5","9,0"\n2026-03-02,"0,2","7,5"\n2026-03-03,"-2,0","5,0"\n'
    read_plain(put(content), units="C")


def test_decimal_commas_in_a_comma_file_are_explained(put):
    with pytest.raises(
        WeatherFileError, match="line 2: 5 cells where the header has 3; if commas are decimal"
    ):
        read_weather_file(put("date,tmin,tmax\n2026-03-01,1,5,9,0\n"), units="C")


def test_compressed(put):
    read_plain(put(gzip.compress(PLAIN.encode()), "march.csv.gz"), units="C")
    with pytest.raises(WeatherFileError, match="cut short or damaged"):
        read_weather_file(put(gzip.compress(PLAIN.encode())[:-9], "cut.csv.gz"), units="C")


@given(
    tmin=st.lists(st.floats(-40, 100), min_size=3, max_size=3),
    width=st.floats(0, 40),
)
@settings(max_examples=30)
def test_fahrenheit_is_brought_to_celsius(tmp_path_factory, tmin, width):
    path = tmp_path_factory.mktemp("f") / "f.csv"
    rows = [f"2026-03-0{n},{low:.2f},{low + width:.2f}" for n, low in enumerate(tmin, 1)]
    path.write_text("date,tmin_f,tmax_f\n" + "\n".join(rows))
    weather, report = read_weather_file(path)
    assert report.units == "F"
    assert_allclose(weather.tmin, [(round(low, 2) - 32) / 1.8 for low in tmin], atol=0.011)


def test_the_unit_is_asked_never_guessed(put):
    for content in (PLAIN, "date,tmin,tmax\n2026-07-01,62,95\n"):
        with pytest.raises(FileQuestion, match="say --units C or --units F") as caught:
            read_weather_file(put(content))
        assert (caught.value.what, caught.value.choices) == ("units", ("C", "F"))


def test_contradicting_units_are_refused(put):
    with pytest.raises(WeatherFileError, match="says its temperatures are °F, which contradicts --units C"):
        read_weather_file(put(PLAIN.replace("tmin,tmax", "tmin_f,tmax_f")), units="C")
    with pytest.raises(WeatherFileError, match="states both °C and °F"):
        read_weather_file(put(PLAIN.replace("tmin,tmax", "tmin_f,tmax_c")))


def test_day_and_month_are_settled_by_the_whole_file(put):
    rows = "".join(f"{d:02d}/03/2026,1,9\n" for d in range(1, 32))
    weather, report = read_weather_file(put("date,tmin,tmax\n" + rows), units="C")
    assert (weather.last_day, len(weather), report.date_order) == (date(2026, 3, 31), 31, "day-first")
    american = "".join(f"3/{d}/26,1,9\n" for d in range(1, 32))
    weather, report = read_weather_file(put("date,tmin,tmax\n" + american), units="C")
    assert (weather.last_day, len(weather), report.date_order) == (date(2026, 3, 31), 31, "month-first")


def test_an_open_order_is_asked_and_the_answer_used(put):
    path = put("date,tmin,tmax\n01/03/2026,1,9\n02/03/2026,2,9\n")
    with pytest.raises(FileQuestion, match=r"'01/03/2026' may be .* --date-order day-first or") as caught:
        read_weather_file(path, units="C")
    assert caught.value.what == "date_order"
    assert read_weather_file(path, units="C", date_order="day-first")[0].last_day == date(2026, 3, 2)
    assert read_weather_file(path, units="C", date_order="month-first")[0].last_day == date(2026, 2, 3)


def test_dates_with_points_have_the_day_first_unless_the_file_says_otherwise(put):
    weather, report = read_weather_file(put("date;tmin;tmax\n01.03.2026;1;9\n02.03.2026;2,5;9\n"), units="C")
    assert (weather.last_day, report.date_order) == (date(2026, 3, 2), "day-first")
    weather, _ = read_weather_file(put("date;tmin;tmax\n03.01.2026;1;9\n03.30.2026;2,5;9\n"), units="C")
    assert weather.first_day == date(2026, 3, 1)


def test_a_ragged_last_row_is_not_taken_for_a_foot(put):
    with pytest.raises(WeatherFileError, match="line 5: 4 cells where the header has 3"):
        read_weather_file(put(PLAIN + "2026-03-04,1,2,3\n"), units="C")


def test_two_orders_in_one_file_are_a_fault(put):
    mixed = put("date,tmin,tmax\n25/3/2026,1,9\n3/26/2026,2,9\n")
    with pytest.raises(
        FileQuestion, match="line 3, column date: '3/26/2026' has the month first; but line 2 has the day"
    ):
        read_weather_file(mixed, units="C")
    with pytest.raises(WeatherFileError, match="line 3, column date: '3/26/2026' is not in the calendar"):
        read_weather_file(mixed, units="C", date_order="day-first")


@pytest.mark.parametrize(
    "written",
    [
        "2026/03/05",
        "2026.3.5",
        "20260305",
        "5 Mar 2026",
        "05-Mar-26",
        "March 5, 2026",
        "2026-03-05 00:00:00",
        "46086",
    ],
)
def test_dates_that_leave_no_doubt(put, written):
    weather, _ = read_weather_file(put(f'date,tmin,tmax\n"{written}",1,9\n'), units="C")
    assert weather.first_day == date(2026, 3, 5)


def test_an_hour_of_reading_beside_the_date_is_no_matter(put):
    content = "date,time,tmin,tmax\n2026-03-01,0700,1.5,9\n2026-03-02,7 h,0.2,7.5\n2026-03-03,,-2,5\n"
    read_plain(put(content), units="C")


def test_year_month_day_columns(put):
    weather, _ = read_weather_file(put("year,month,day,tmin,tmax\n2024,2,29,1,9\n2024,3,1,2,8\n"), units="C")
    assert (weather.first_day, len(weather)) == (date(2024, 2, 29), 2)


def test_blank_is_missing_and_counted(put):
    content = "date,tmin,tmax\n2026-03-01,,9\n2026-03-02,1,8\n2026-03-05,NA,---\n2026-03-06,-9999,9\n"
    weather, report = read_weather_file(put(content), units="C")
    assert_array_equal(weather.known, [False, True, False, False, False, False])
    assert report.coverage.missing == 5
    assert report.left_out == {"tmin -9999, a mark for missing": 1}
    assert any("a mark for missing (1)" in line for line in report.lines())


def test_rows_may_come_in_any_order_and_end_in_a_summary(put):
    lines = PLAIN.splitlines()
    content = "\n".join([lines[0], lines[3], lines[1], lines[2], "", "Average,-0.1,7.2", "made by hand"])
    read_plain(put(content), units="C")


def test_every_fault_is_said_at_once(put):
    content = (
        "date,tmin,tmax\n"
        "2026-03-01,1.5,9.0\n"
        "2026-03-02,warm,7.5\n"
        "2026-02-30,1,7\n"
        "2026-03-01,1.5,9.0\n"
        "2026-03-04,14.2,9.8\n"
        "yesterday1,1,2\n"
    )
    with pytest.raises(WeatherFileError) as caught:
        read_weather_file(put(content), units="C")
    head, *told = str(caught.value).splitlines()
    assert head == "5 rows cannot be read; nothing was changed."
    assert [line.removeprefix("  march.csv, ") for line in told] == [
        "line 3, column tmin: 'warm' is not a number; write one such as 14.2, or leave it blank",
        "line 4, column date: '2026-02-30' is not in the calendar; write a date such as 2026-03-05",
        "line 5, column date: 2026-03-01 comes twice (first on line 2); keep one row a day",
        "line 6, column tmin: tmin 14.2 is above tmax 9.8; correct one of them, or leave both blank",
        "line 7, column date: 'yesterday1' is no date; write a date such as 2026-03-05",
    ]


def test_one_fault_is_one_sentence(put):
    with pytest.raises(WeatherFileError) as caught:
        read_weather_file(put(PLAIN + "2026-03-03,1,2\n"), units="C")
    expected = "march.csv, line 5, column date: 2026-03-03 comes twice (first on line 4); keep one row a day"
    assert str(caught.value) == f"{expected}. Nothing was changed."


def test_many_faults_are_counted(put):
    rows = "".join(f"2026-0{m}-{d:02d},x{m}{d},9\n" for m in (3, 4) for d in range(1, 25))
    with pytest.raises(WeatherFileError, match=r"48 rows cannot be read(.|\n)* and 18 more$"):
        read_weather_file(put("date,tmin,tmax\n" + rows), units="C")


def test_line_numbers_count_the_preamble_and_blank_lines(put):
    with pytest.raises(WeatherFileError, match="line 7, column tmin"):
        read_weather_file(
            put("garden\n\ndate,tmin,tmax\n2026-03-01,1,2\n\n2026-03-02,1,2\n2026-03-03,?,2\n"), units="C"
        )


@pytest.mark.parametrize(
    "content, message",
    [
        ("", "the file is empty"),
        ("date,tmin,tmax\n", "has column names and no rows"),
        ("date,tmin,tmax\n2026-03-01,,\n2026-03-02,NA,\n", "no temperature in any of its 2 rows"),
        ("date,low tide,rain\n2026-03-01,1,2\n", "needs the columns date, tmin and tmax .* 'low tide'"),
        ("hello\n", "it has 'hello'"),
        (b"PK\x03\x04rest of a sheet", "save the sheet as CSV"),
        (b"\x00\x01\x02\x03" * 50, "not a text file"),
        (
            "date,tmin,tmax\n2026-03-01,15,93\n2026-03-02,2,75\n2026-03-03,20,110\n",
            "if these are °F, say --units F; if tenths",
        ),
        ("date,tmin,tmax,tmin 2\n2026-03-01,1,2,3\n", "several columns may be tmin: 'tmin', 'tmin 2'"),
    ],
)
def test_files_that_cannot_be_used(put, content, message):
    with pytest.raises((WeatherFileError, FileQuestion), match=message):
        read_weather_file(put(content), units="C")


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(WeatherFileError, match=r"there is no file .*gone\.csv"):
        read_weather_file(tmp_path / "gone.csv")


def test_columns_may_be_named(put):
    content = (
        "when,Shelf lo,Shelf hi,Wall lo\n2026-03-01,1.5,9.0,3\n2026-03-02,0.2,7.5,3\n2026-03-03,-2,5,3\n"
    )
    chosen = {"date": "when", "tmin": "shelf lo", "tmax": "Shelf hi"}
    read_plain(put(content), units="C", columns=chosen)
    with pytest.raises(WeatherFileError, match="has no column 'Roof'"):
        read_weather_file(put(PLAIN), units="C", columns={"tmin": "Roof"})


def test_a_named_column_does_not_stand_for_the_others(put):
    with pytest.raises(WeatherFileError, match=r"needs the columns date, tmin and tmax .* 'lo', 'hi'"):
        read_weather_file(put("lo,hi\n1,2\n"), units="C", columns={"tmin": "lo", "tmax": "hi"})


@given(st.binary(max_size=60), st.integers(0, 200), st.sampled_from([None, "Europe/Berlin"]))
@settings(max_examples=60)
def test_a_damaged_file_is_read_or_refused_in_words(tmp_path_factory, rubbish, at, zone):
    whole = "date,time,tmin (°C),tmax (°C)\n" + "".join(
        f"25/10/2026,{n:02d}:30,{n},{n + 5}\n" for n in range(24)
    )
    content = bytearray(whole.encode())
    content[at : at + len(rubbish) // 2] = rubbish
    path = tmp_path_factory.mktemp("damaged") / "x.csv"
    path.write_bytes(bytes(content))
    with contextlib.suppress(WeatherFileError, FileQuestion):
        weather, report = read_weather_file(path, timezone=zone)
        assert len(weather) == report.coverage.days


def test_a_hot_middle_hints_at_fahrenheit_and_changes_nothing(put):
    weather, report = read_weather_file(
        put("date,tmin,tmax\n2026-07-01,40,55\n2026-07-02,15,25\n"), units="C"
    )
    assert weather.tmax[0] == 55
    assert "check the unit: the middle of 2026-07-01 is 48 °C" in report.notes[0]


@pytest.mark.parametrize(
    "name, role",
    [
        ("temperature_2m_min", "tmin"),
        ("TMAX", "tmax"),
        ("Tn", "tmin"),
        ("daily high (°F)", "tmax"),
        ("Température minimale", "tmin"),
        ("Höchstwert", "tmax"),
        ("Date Time, GMT+01:00", "date"),
        ("soil temp min", None),
        ("Dew point (°C)", None),
        ("wind max", None),
        ("time of tmax", None),
        ("No.", None),
    ],
)
def test_what_a_column_name_says(name, role):
    assert role_of(name) == role


def test_seattle_from_the_public_collection():
    data = pytest.importorskip("vega_datasets").data
    with pytest.raises(FileQuestion, match="--units"):
        read_weather_file(data.seattle_weather.filepath)
    weather, report = read_weather_file(data.seattle_weather.filepath, units="C")
    frame = data.seattle_weather()
    assert_array_equal(weather.tmax, frame["temp_max"])
    assert_array_equal(weather.tmin, frame["temp_min"])
    assert (weather.first_day, weather.last_day) == (date(2012, 1, 1), date(2015, 12, 31))
    assert report.lines()[0] == "1,461 days 2012-2015, none missing; station 1,461"


def test_harvard_forest_record(shared):
    weather, report = read_weather_file(shared / "data" / "harvard_forest" / "weather_daily.csv", units="C")
    assert weather.first_day == date(1990, 1, 1)
    assert weather.tmin[0] == 0.64
    assert report.coverage.days == report.coverage.missing + sum(report.coverage.by_source.values())


def test_meteostat_rows_with_forecast_parts_are_not_measurements(shared):
    path = shared / "data" / "weather_examples" / "meteostat_daily_sample.csv"
    weather, report = read_weather_file(path, units="C")
    assert weather.source[weather.index(date(2026, 4, 8))] == "station"
    assert weather.source[weather.index(date(2026, 4, 9))] == "model"
    assert math.isnan(weather.tmin[weather.index(date(2026, 4, 4))])
    assert "count as model" in report.notes[0]


def test_a_year_is_quick_and_the_values_stay(put):
    rng = np.random.default_rng(3)
    low = rng.normal(5, 6, 366).round(1)
    days = [date.fromordinal(date(2024, 1, 1).toordinal() + n) for n in range(366)]
    content = "date,tmin,tmax\n" + "\n".join(f"{d},{a},{a + 7:.1f}" for d, a in zip(days, low, strict=True))
    weather, _ = read_weather_file(put(content), units="C")
    assert_allclose(weather.tmin, low)
