"""Thermometer logs: local days through clock changes, enough readings or none, signs for trouble."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.logger import follows_clock_changes, moments_of
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.files.weather_table import WeatherFileError

BERLIN, MELBOURNE = ZoneInfo("Europe/Berlin"), ZoneInfo("Australia/Melbourne")
HALF_HOUR = timedelta(minutes=30)


@pytest.fixture
def put(tmp_path):
    def write(content, name="log.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(content.encode(encoding))
        return path

    return write


def warmth(moment):
    """A curve that is coldest at 03:00 UTC and warmest at 15:00 UTC."""
    hour = moment.hour + moment.minute / 60
    return round(10 - 6 * np.cos(2 * np.pi * (hour - 3) / 24), 2)


def log(first, last, zone, *, shown="local", step=HALF_HOUR, skip=lambda moment: False):
    """A log from `first` to `last` (UTC), its clock showing local time, standard time or UTC."""
    rows, moment = ["time,temp (°C)"], first
    while moment < last:
        if not skip(moment):
            if shown == "local":
                clock = moment.astimezone(zone)
            elif shown == "standard":
                clock = moment + min(zone.utcoffset(datetime(2026, m, 1)) for m in (1, 7))
            else:
                clock = moment
            rows.append(f"{clock:%Y-%m-%d %H:%M},{warmth(moment)}")
        moment += step
    return "\n".join(rows)


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


def direct(first, last, zone, step=HALF_HOUR):
    """Extremes of each whole local day, straight from the moments."""
    days, moment = {}, first
    while moment < last:
        days.setdefault(moment.astimezone(zone).date(), []).append(warmth(moment))
        moment += step
    return {day: (min(v), max(v)) for day, v in days.items()}


# Autumn and spring change in both hemispheres: 25- and 23-hour days.
CHANGES = [
    (BERLIN, utc(2026, 10, 23, 22), utc(2026, 10, 26, 23), date(2026, 10, 25)),
    (BERLIN, utc(2026, 3, 27, 23), utc(2026, 3, 30, 22), date(2026, 3, 29)),
    (MELBOURNE, utc(2026, 4, 3, 13), utc(2026, 4, 6, 14), date(2026, 4, 5)),
    (MELBOURNE, utc(2026, 10, 2, 14), utc(2026, 10, 5, 13), date(2026, 10, 4)),
]


@pytest.mark.parametrize("zone, first, last, change", CHANGES)
@pytest.mark.parametrize(
    "shown, clock", [("local", None), ("local", "local"), ("standard", "standard"), ("utc", "utc")]
)
def test_every_clock_gives_the_same_local_days(put, zone, first, last, change, shown, clock):
    weather, report = read_weather_file(
        put(log(first, last, zone, shown=shown)), timezone=zone.key, clock=clock, source="bench"
    )
    expected = direct(first, last, zone)
    assert change in expected
    whole = weather.between(min(expected), max(expected))
    assert whole.known.all()
    assert_array_equal(whole.tmin, [low for low, _ in expected.values()])
    assert_array_equal(whole.tmax, [high for _, high in expected.values()])
    assert report.shape == "thermometer log"
    assert not any("too few" in note for note in report.notes)


@pytest.mark.parametrize("zone, first, last, change", CHANGES)
def test_a_clock_that_ignored_the_change_is_asked_about(put, zone, first, last, change):
    for shown in ("standard", "utc"):
        with pytest.raises(FileQuestion, match="say --clock standard or --clock utc") as caught:
            read_weather_file(put(log(first, last, zone, shown=shown)), timezone=zone.key)
        assert caught.value.what == "clock"


def test_a_log_from_newest_to_oldest(put):
    zone, first, last, _ = CHANGES[0]
    lines = log(first, last, zone).splitlines()
    weather, _ = read_weather_file(put("\n".join([lines[0], *reversed(lines[1:])])), timezone=zone.key)
    assert_array_equal(weather.tmax, [high for _, high in direct(first, last, zone).values()])


def test_the_doubled_hour_is_two_hours():
    times = [datetime(2026, 10, 25, h, m) for h, m in [(1, 30), (2, 0), (2, 30), (2, 0), (2, 30), (3, 0)]]
    moments = moments_of("x.csv", times, BERLIN)
    assert_array_equal(np.diff(moments.instant), [1800.0] * 5)
    assert (
        moments.day_start(date(2026, 10, 26).toordinal()) - moments.day_start(date(2026, 10, 25).toordinal())
        == 25 * 3600
    )
    assert follows_clock_changes(times, BERLIN)


def test_an_instant_offset_is_believed(put):
    rows = ["time,temp"]
    for n in range(96):
        moment = utc(2026, 6, 1, 14) + n * HALF_HOUR
        rows.append(f"{moment.astimezone(MELBOURNE).isoformat()},{warmth(moment)}")
    weather, _ = read_weather_file(put("\n".join(rows)), units="C", timezone="Australia/Melbourne")
    assert (weather.first_day, weather.last_day) == (date(2026, 6, 2), date(2026, 6, 3))
    assert weather.known.all()


def test_utc_needs_the_place(put):
    path = put(log(utc(2026, 6, 1), utc(2026, 6, 3), BERLIN, shown="utc").replace("time,", '"time (UTC)",'))
    with pytest.raises(FileQuestion, match="time zone is needed") as caught:
        read_weather_file(path)
    assert caught.value.what == "timezone"
    weather, _ = read_weather_file(path, timezone="Europe/Berlin")
    assert_array_equal(weather.known, [True, True, False])  # 22 h of 24, whole, 2 h only


def test_an_offset_in_the_column_name(put):
    path = put(
        log(utc(2026, 6, 1), utc(2026, 6, 3), BERLIN, shown="utc").replace("time,", '"Date Time, GMT+00:00",')
    )
    with pytest.raises(FileQuestion, match="time zone is needed"):
        read_weather_file(path)
    path = put(
        log(utc(2026, 6, 1), utc(2026, 6, 3), BERLIN, shown="utc").replace("time,", '"Date Time, GMT+01:00",')
    )
    assert read_weather_file(path)[0].known.tolist() == [True, True]


def test_an_unknown_zone_is_said(put):
    with pytest.raises(WeatherFileError, match="no such zone"):
        read_weather_file(put(log(utc(2026, 6, 1), utc(2026, 6, 2), BERLIN)), timezone="Berlin/Europe")


def day_of(readings, first=datetime(2026, 6, 1), step=HALF_HOUR, delimiter=","):
    rows = [f"{first + n * step:%Y-%m-%d %H:%M}{delimiter}{value}" for n, value in enumerate(readings)]
    return "\n".join([f"time{delimiter}temp", *rows])


def test_a_day_with_a_hole_over_three_hours_is_missing(put):
    cells = [str(10 + n / 10) for n in range(96)]
    whole = list(cells)
    cells[20:26] = [""] * 6  # three hours absent: a hole of 3.5 hours between readings
    weather, report = read_weather_file(put(day_of(cells)), units="C")
    assert weather.known.tolist() == [False, True]
    note = "days with too few readings, taken as missing: 1 (under 90% of them, or a hole over 3 hours)"
    assert report.notes == (note,)
    whole[20:24] = [""] * 4
    assert read_weather_file(put(day_of(whole)), units="C")[0].known.tolist() == [True, True]


def test_a_day_with_under_nine_tenths_is_missing(put):
    cells = [str(10 + n / 10) for n in range(96)]
    for n in range(0, 48, 8):
        cells[n + 1] = "Err"
    assert read_weather_file(put(day_of(cells)), units="C")[0].known.tolist() == [False, True]
    cells[1] = cells[9] = "10.5"
    assert read_weather_file(put(day_of(cells)), units="C")[0].known.tolist() == [True, True]


@pytest.mark.parametrize("sign", ["-127", "85", "85.0", "-273,1", "999.9", "3276.7", "72"])
def test_a_sensors_signs_for_trouble_are_left_out_and_counted(put, sign):
    cells = [str(10 + n / 10) for n in range(48)]
    cells[30] = sign
    weather, report = read_weather_file(put(day_of(cells, delimiter=";")), units="C")
    assert (weather.tmin[0], weather.tmax[0]) == (10.0, 14.7)
    assert sum(report.left_out.values()) == 1


def test_85_fahrenheit_is_a_summer_day_but_185_is_a_sensor_starting(put):
    cells = ["60"] * 48
    cells[30], cells[31] = "85", "185"
    weather, report = read_weather_file(put(day_of(cells)), units="F")
    assert_allclose([weather.tmin[0], weather.tmax[0]], [15.56, 29.44])
    assert sum(report.left_out.values()) == 1


def test_a_reset_clock_is_left_out_and_said(put):
    rows = day_of(["10"] * 48) + "\n2000-01-01 00:00,22\n2000-01-01 00:30,23\n"
    weather, report = read_weather_file(put(rows), units="C")
    assert (len(weather), weather.tmax[0]) == (1, 10.0)
    assert report.left_out == {"dated 2000-01-01: the thermometer's clock had been reset": 2}


def test_doubled_and_unordered_rows_are_told(put):
    lines = day_of([str(n) for n in range(10, 34) for _ in (0, 1)]).splitlines()
    lines.insert(5, lines[5])
    lines[9], lines[30] = lines[30], lines[9]
    weather, report = read_weather_file(put("\n".join(lines)), units="C")
    assert (weather.tmin[0], weather.tmax[0]) == (10.0, 33.0)
    assert report.notes == ("readings at a time that another one has: 1; all were used",)


def test_date_and_time_in_two_columns_with_a_preamble_and_a_foot(put):
    rows = "\n".join(
        f"{n};{1 + n // 48:02d}.06.2026;{n % 48 // 2:02d}:{n % 2 * 3}0;{10 + n % 48 // 10},{n % 48 % 10}"
        for n in range(96)
    )
    content = f"Serial;0042\nUnit;°C\n\nNr.;Datum;Uhrzeit;Temperatur\n{rows}\n;Mittel;;12,3\n"
    weather, report = read_weather_file(put(content, encoding="cp1252"), date_order="day-first")
    assert (weather.first_day, len(weather), weather.known.all()) == (date(2026, 6, 1), 2, True)
    assert (weather.tmin[0], weather.tmax[0]) == (10.0, 14.7)
    assert report.date_order == "day-first"


def test_year_month_day_and_time_columns(put):
    rows = "\n".join(f"2026,6,{1 + n // 24},{n % 24:02d}:00,{n}" for n in range(48))
    weather, _ = read_weather_file(put("year,month,day,time,temp (°C)\n" + rows))
    assert (weather.first_day, weather.tmax.tolist()) == (date(2026, 6, 1), [23.0, 47.0])


def test_offsets_on_some_times_only(put):
    content = day_of(["10"] * 48).replace("09:00,", "09:00+02:00,")
    with pytest.raises(WeatherFileError, match="gives only some times in 'time' an offset"):
        read_weather_file(put(content), units="C", timezone="Europe/Berlin")


def test_two_times_of_day_in_one_stamp_are_refused(put):
    rows = "\n".join(f"2026-06-01 {n:02d}:00,{n:02d}:30,{n}" for n in range(24))
    with pytest.raises(WeatherFileError, match="'2026-06-01 00:00 00:30' is no date"):
        read_weather_file(put("date,time,temp\n" + rows), units="C")


@pytest.mark.parametrize("form", ["%Y%m%d%H%M", "%d.%m.%Y, %H:%M", "%d-%b-%y %Hh%M", "%B %d, %Y %I:%M %p"])
def test_stamps_as_loggers_write_them(put, form):
    start = datetime(2026, 6, 1)
    rows = "\n".join(f"{start + n * HALF_HOUR:{form}};{n}" for n in range(48))
    weather, _ = read_weather_file(put("time;temp\n" + rows), units="C")
    assert (weather.first_day, weather.tmax.tolist()) == (date(2026, 6, 1), [47.0])


def test_american_clock(put):
    rows = "\n".join(
        f"06/{14 + n // 24}/2026 {(n % 12) or 12:02d}:00:00 {'AM' if n % 24 < 12 else 'PM'},{n % 24}"
        for n in range(48)
    )
    weather, report = read_weather_file(put("Date Time,Temp (°F)\n" + rows))
    assert report.units == "F"
    assert weather.first_day == date(2026, 6, 14)
    assert_allclose(weather.tmax, [(23 - 32) / 1.8] * 2, atol=0.01)


@pytest.mark.parametrize(
    "stamp",
    [lambda t: f"{t.timestamp():.0f}", lambda t: f"{t.timestamp() * 1000:.0f}"],
)
def test_seconds_since_1970_are_utc(put, stamp):
    rows = "\n".join(f"{stamp(utc(2026, 5, 31, 22) + n * HALF_HOUR)},{n}" for n in range(48))
    weather, _ = read_weather_file(put("timestamp,temp\n" + rows), units="C", timezone="Europe/Berlin")
    assert (weather.first_day, weather.tmax.tolist()) == (date(2026, 6, 1), [47.0])


def test_spreadsheet_numbers_are_times(put):
    rows = "\n".join(f"{46174 + n / 48:.6f},{n}" for n in range(48))
    weather, _ = read_weather_file(put("time,temp\n" + rows), units="C")
    assert (weather.first_day, weather.tmin.tolist(), weather.tmax.tolist()) == (
        date(2026, 6, 1),
        [0.0],
        [47.0],
    )


def test_lows_and_highs_between_readings(put):
    rows = "\n".join(f"2026-06-01 {n:02d}:00,{n},{n - 1},{n + 1}" for n in range(24))
    weather, _ = read_weather_file(put("time,temp,low temp,high temp\n" + rows), units="C")
    assert (weather.tmin.tolist(), weather.tmax.tolist()) == ([-1.0], [24.0])


def test_several_sensors_are_asked_for(put):
    rows = "\n".join(f"2026-06-01 {n:02d}:00,{n},{n + 20}" for n in range(24))
    path = put("time,Bench (°C),Wall (°C)\n" + rows)
    with pytest.raises(FileQuestion, match=r"'Bench .°C.', 'Wall .°C.'; say --column temp=NAME") as caught:
        read_weather_file(path)
    assert caught.value.role == "temp"
    weather, _ = read_weather_file(path, columns={"temp": "Wall (°C)"})
    assert weather.tmax.tolist() == [43.0]


def test_one_reading_a_day_is_too_few(put):
    with pytest.raises(WeatherFileError, match="has readings on 3 days, but none with 90%"):
        read_weather_file(put("date,temp\n2026-06-01,10\n2026-06-02,11\n2026-06-03,12\n"), units="C")


def test_bad_readings_are_said_with_their_lines(put):
    content = (
        day_of(["10"] * 48).replace("09:00,10", "09:00,1o").replace("2026-06-01 10:00", "2026-06-31 10:00")
    )
    with pytest.raises(WeatherFileError) as caught:
        read_weather_file(put(content), units="C")
    assert [p.line for p in caught.value.problems] == [20, 22]


def test_an_empty_log_is_said(put):
    with pytest.raises(WeatherFileError, match="no temperature in any of its 48 rows"):
        read_weather_file(put(day_of(["---"] * 48)), units="C")


def test_the_example_export(shared):
    """BOM, semicolons, decimal comma, the doubled hour, a blank, -273,1: nine hours, so no whole day."""
    path = shared / "data" / "weather_examples" / "logger_semicolon.csv"
    with pytest.raises(WeatherFileError, match="readings on 2 days, but none with 90%"):
        read_weather_file(path, timezone="Europe/Berlin")


def test_hours_of_a_year_from_the_public_collection():
    """A normal year has no clock changes: 02:00 on 14 March is there, so the clock was not local time."""
    data = pytest.importorskip("vega_datasets").data
    path = Path(data.seattle_weather.filepath).parent / "seattle-temps.csv"
    with pytest.raises(FileQuestion, match="clock changes of America/Los_Angeles"):
        read_weather_file(path, units="F", timezone="America/Los_Angeles")
    weather, report = read_weather_file(path, units="F")
    frame = data.seattle_temps()
    by_day = frame.groupby(frame["date"].dt.date)["temp"]
    assert len(weather) == 365 and report.shape == "thermometer log"
    assert_allclose(weather.tmin, ((by_day.min() - 32) / 1.8).round(2))
    assert_allclose(weather.tmax, ((by_day.max() - 32) / 1.8).round(2))


@pytest.mark.parametrize("names", [("CEST", "CET"), ("MESZ", "MEZ")])
def test_times_with_the_name_of_their_zone(put, names):
    first, last = utc(2025, 10, 24, 22), utc(2025, 10, 27, 23)  # over the change of clocks
    rows, moment = ["time,temp (°C)"], first
    while moment < last:
        local = moment.astimezone(BERLIN)
        name = names[local.utcoffset() == timedelta(hours=1)]
        rows.append(f"{local:%Y-%m-%d %H:%M} {name},{warmth(moment)}")
        moment += HALF_HOUR
    weather, _ = read_weather_file(put("\n".join(rows)), timezone="Europe/Berlin")
    expected = direct(first, last, BERLIN)
    assert_allclose(weather.tmin, [low for low, _ in expected.values()])
    assert_allclose(weather.tmax, [high for _, high in expected.values()])


def test_a_zone_of_no_known_name_is_told(put):
    with pytest.raises(WeatherFileError, match="'2025-10-23 00:00 XYZT' is not in the calendar"):
        read_weather_file(put("time,temp (°C)\n2025-10-23 00:00 XYZT,3\n"), timezone="Europe/Berlin")


def changes_only(*, lost=None):
    """Four days of a thermometer that writes when it is half a degree warmer or colder, with hours lost."""
    first, rows, written = utc(2026, 5, 3, 22), ["time,temp (°C)"], None
    for minute in range(4 * 24 * 60):
        moment = first + timedelta(minutes=minute)
        level = round(warmth(moment) * 2) / 2
        if level != written and not (lost and lost[0] <= moment < lost[1]):
            rows.append(f"{moment.astimezone(BERLIN):%Y-%m-%d %H:%M},{level}")
            written = level
    return "\n".join(rows)


def test_a_log_of_changes_alone_holds_between_them(put):
    weather, report = read_weather_file(put(changes_only()), timezone="Europe/Berlin")
    assert weather.known.tolist() == [True] * 4
    assert_allclose(weather.tmin, 4.0)
    assert_allclose(weather.tmax, 16.0)
    assert any("only when the temperature changes" in note for note in report.notes)


def test_a_log_of_changes_with_hours_lost_has_a_hole(put):
    lost = utc(2026, 5, 5, 5), utc(2026, 5, 5, 12)
    weather, _ = read_weather_file(put(changes_only(lost=lost)), timezone="Europe/Berlin")
    assert not weather.known[1]
