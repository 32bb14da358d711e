"""`flushcast weather`: a file in, one clear sentence when not, and a view of what there is."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from click.testing import CliRunner

from data_sources.demo.climate import synthetic_weather
from data_sources.garden import GardenSettings, create_garden, write_settings
from data_sources.weather.place_correction import load_corrections
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.model.errors import FlushcastError
from phenology.model.records import Place
from phenology.weather.series import DailyWeather
from reports.cli.main import cli
from tests.data_sources.series import fingerprint

TODAY = date(2026, 3, 10)
PLAIN = "date,tmin_c,tmax_c\n2026-03-01,1.5,9.0\n2026-03-02,0.2,7.5\n2026-03-03,-2.0,5.0\n"
BENCHES = Place(str(uuid.uuid4()), "Benches", 48.2, 5.9, 310.0, "Europe/Paris")
ROOF = Place(str(uuid.uuid4()), "Roof", 48.2, 5.9, 320.0, "Europe/Paris")


def make_garden(folder, *places):
    create_garden(folder, GardenSettings(), places, "start")


@pytest.fixture
def garden(tmp_path, monkeypatch):
    monkeypatch.setenv("FLUSHCAST_TODAY", TODAY.isoformat())
    make_garden(tmp_path, BENCHES)
    return tmp_path


def run(garden, *args, stdin=None):
    """Run the command line in this process; its FlushcastError is raised as it is."""
    result = CliRunner().invoke(cli, ["--garden", str(garden), "weather", *map(str, args)], input=stdin)
    if isinstance(result.exception, FlushcastError):
        raise result.exception
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def put(garden, content, name="march.csv"):
    path = garden / name
    path.write_text(content)
    return path


def stored(garden, place=BENCHES):
    with WeatherStore.open(garden) as store:
        return store.read(place.id)


def test_a_file_is_taken_and_counted(garden):
    result = run(garden, "add", put(garden, PLAIN))
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "3 days 2026-03-01 to 2026-03-03, none missing; station 3",
        "read as daily table in °C; tmin from 'tmin_c', tmax from 'tmax_c'",
        "Benches: 3 days: 3 new",
    ]
    weather = stored(garden)
    assert weather.tmin.tolist() == [1.5, 0.2, -2.0]
    assert set(weather.source) == {"station"}


def test_thirty_years_with_gaps(garden):
    weather = synthetic_weather(date(1996, 1, 1), date(2025, 12, 31), 48.2, seed=2)
    rows = [
        f"{date.fromordinal(int(day))},{low},{high}"
        for n, (day, low, high) in enumerate(zip(weather.ordinals, weather.tmin, weather.tmax, strict=True))
        if n % 365 != 200
    ]
    result = run(garden, "add", put(garden, "\n".join(["date,tmin,tmax", *rows])), "--units", "C")
    assert result.stdout.startswith(
        "10,958 days 1996-2025, 30 missing (1996-07-19, 1997-07-19, 1998-07-19 and 27"
    )
    status = run(garden, "status").stdout
    assert "newest day 2025-12-31 (69 days ago); add or fetch newer weather" in status


def test_adding_again_changes_nothing(garden):
    path = put(garden, PLAIN)
    run(garden, "add", path)
    assert run(garden, "add", path).stdout.splitlines()[-1] == "Benches: nothing new: 3 there already"


def test_a_corrected_file_replaces_and_keeps_the_old_value(garden):
    run(garden, "add", put(garden, PLAIN))
    result = run(garden, "add", put(garden, PLAIN.replace("1.5,9.0", "1.1,9.0"), "better.csv"))
    assert result.stdout.splitlines()[-1] == "Benches: 3 days: 1 replaced, 2 there already"
    assert stored(garden).tmin[0] == 1.1
    with WeatherStore.open(garden) as store:
        assert store.replaced_count(BENCHES.id) == 1


def test_own_readings_go_before_the_station(garden):
    run(garden, "add", put(garden, PLAIN))
    run(garden, "add", put(garden, "date,tmin_f,tmax_f\n2026-03-02,41,50\n", "own.csv"), "--source", "bench")
    weather = stored(garden)
    assert weather.source.tolist() == ["station", "bench", "station"]
    assert weather.tmax[1] == 10.0


def test_a_log_counts_as_own_readings(garden):
    rows = "\n".join(f"2026-03-01 {n:02d}:00,{n}" for n in range(24))
    run(garden, "add", put(garden, "time,temp (°C)\n" + rows), "--measures", "under glass")
    assert stored(garden).source.tolist() == ["bench"]
    assert "1 bench day 2026-03-01 to 2026-03-01, taken 2026-03-10, measures under glass" in " ".join(
        run(garden, "status").stdout.split()
    )


BAD_FILES = [
    (PLAIN.replace("_c", ""), "march.csv: does not say whether its temperatures are °C or °F; say --units C"),
    (PLAIN + "2026-03-01,1,2\n", "march.csv, line 5, column date: 2026-03-01 comes twice (first on line 2)"),
    (PLAIN.replace("1.5", "11.5"), "march.csv, line 2, column tmin_c: tmin_c 11.5 is above tmax_c 9"),
    ("date,tmin_c,tmax_c\n2026-03-01,,\n", "march.csv: there is no temperature in any of its 1 rows"),
    ("", "march.csv: the file is empty"),
    (PLAIN + "2026-03-12,1,2\n", "march.csv goes on for 1 day after today, from 2026-03-12: check the order"),
]


@pytest.mark.parametrize("content, message", BAD_FILES)
def test_a_bad_file_is_one_sentence_and_changes_nothing(garden, content, message):
    run(garden, "add", put(garden, PLAIN, "good.csv"))
    before = fingerprint(stored(garden))
    with pytest.raises(FlushcastError) as caught:
        run(garden, "add", put(garden, content))
    assert str(caught.value).startswith(message)
    assert "\n" not in str(caught.value)
    assert fingerprint(stored(garden)) == before


def test_without_a_garden_it_says_init(tmp_path):
    path = put(tmp_path, PLAIN)
    with pytest.raises(FlushcastError, match=r"there is no garden in .*--garden, or run .flushcast init"):
        run(tmp_path / "nowhere", "add", path)
    assert [p.name for p in tmp_path.iterdir()] == ["march.csv"]


def test_several_places_must_be_told_apart(tmp_path, monkeypatch):
    monkeypatch.setenv("FLUSHCAST_TODAY", TODAY.isoformat())
    make_garden(tmp_path, BENCHES, ROOF)
    path = put(tmp_path, PLAIN)
    with pytest.raises(FlushcastError, match="2 places; say which with --place: Benches, Roof"):
        run(tmp_path, "add", path)
    with pytest.raises(FlushcastError, match=r"no place called 'rooof'. Did you mean Roof"):
        run(tmp_path, "add", path, "--place", "rooof")
    run(tmp_path, "add", path, "--place", "roof")
    assert len(stored(tmp_path, ROOF)) == 3
    assert "Benches: no weather yet" in run(tmp_path, "status").stdout


def test_questions_are_asked_at_a_terminal(garden, monkeypatch):
    monkeypatch.setattr("reports.cli.common.may_ask", lambda: True)
    path = put(garden, "date,tmin,tmax\n03/01/2026,41,50\n03/02/2026,32,50\n")
    result = run(garden, "add", path, stdin="day first\nmonth-first\nkelvin\nF\n")
    assert result.exit_code == 0
    assert stored(garden).tmin.tolist() == [5.0, 0.0]
    assert "read as daily table in °F, dates month-first" in result.stdout


def test_an_unclear_column_is_asked_for(garden, monkeypatch):
    monkeypatch.setattr("reports.cli.common.may_ask", lambda: True)
    path = put(garden, "date,tmin 1 (°C),tmin 2 (°C),tmax (°C)\n2026-03-01,1,2,9\n")
    run(garden, "add", path, stdin="tmin 2 (°C)\n")
    assert stored(garden).tmin.tolist() == [2.0]
    flag = run(garden, "add", path, "--column", "tmin=tmin 1 (°C)")
    assert flag.exit_code == 0
    assert stored(garden).tmin.tolist() == [1.0]


def test_wrong_usage_is_exit_2(garden):
    assert run(garden, "add").exit_code == 2
    assert run(garden, "add", "x.csv", "--units", "K").exit_code == 2
    assert run(garden, "add", "x.csv", "--column", "tmin").exit_code == 2
    assert run(garden, "accept").exit_code == 2


def test_a_doubtful_day_is_kept_apart_shown_and_accepted(garden):
    result = run(garden, "add", put(garden, PLAIN.replace("7.5", "72.5")))
    assert "doubtful: 1 day is kept apart, unused; see `flushcast weather status`" in result.stdout
    assert stored(garden).known.tolist() == [True, False, True]
    status = run(garden, "status").stdout
    assert "1 doubtful, unused until accepted" in status
    assert "2026-03-02  station     0.2   72.5  tmax 72.5 °C: such heat was never measured" in status
    with pytest.raises(FlushcastError, match="2026-03-01 is not among the doubtful days"):
        run(garden, "accept", "2026-03-01")
    with pytest.raises(FlushcastError, match="'early March' is not a day"):
        run(garden, "accept", "early March")
    assert run(garden, "accept", "2 March 2026").stdout == "accepted 1 day for Benches\n"
    assert stored(garden).tmax[1] == 72.5
    assert "1 doubtful day accepted" in run(garden, "status").stdout


def test_a_file_of_doubtful_days_alone_can_still_be_looked_at(garden):
    run(garden, "add", put(garden, "date,tmin_c,tmax_c\n2026-03-01,50,58\n"))
    lines = run(garden, "status").stdout.splitlines()
    assert "no day measured yet" in lines
    assert "1 doubtful, unused until accepted (flushcast weather accept DATE...):" in lines


def test_the_last_file_can_be_taken_back(garden):
    run(garden, "add", put(garden, PLAIN))
    before = fingerprint(stored(garden))
    run(garden, "add", put(garden, PLAIN.replace("1.5", "0.5") + "2026-03-04,1,2\n", "wrong.csv"))
    done = run(garden, "undo")
    assert done.stdout == "Benches: took back file wrong.csv: 2 days removed, 1 earlier values are back\n"
    assert fingerprint(stored(garden)) == before
    run(garden, "undo")
    with pytest.raises(FlushcastError, match="no weather of Benches to take back"):
        run(garden, "undo")


def test_a_day_is_judged_with_the_days_already_there(garden):
    run(garden, "add", put(garden, PLAIN))
    result = run(
        garden, "add", put(garden, "date,tmin_c,tmax_c\n2026-03-04,20,35\n2026-03-05,0,6\n", "two.csv")
    )
    assert "doubtful: 1 day" in result.stdout


def test_a_station_read_in_the_morning_is_noted(garden):
    model = synthetic_weather(date(2024, 1, 1), date(2025, 12, 31), 48.2, seed=4)
    with WeatherStore.open(garden, create=True) as store:
        series = DailyWeather(model.first_day, model.tmin, model.tmax, "model")
        store.add(BENCHES.id, series, Origin("a model"), fetched_at=datetime(2026, 3, 1, tzinfo=UTC))
    rows = [
        f"{date.fromordinal(int(day) + 1)},{low},{high}"
        for day, low, high in zip(model.ordinals[:-1], model.tmin, model.tmax, strict=False)
    ]
    result = run(garden, "add", put(garden, "\n".join(["date,tmin_c,tmax_c", *rows])))
    assert "Note: tmax from 2024-01-02 to 2025-12-31 fits the day before better" in result.stdout


def test_a_garden_in_fahrenheit_that_stands_still(garden):
    write_settings(garden, GardenSettings(units="F", stands_on=date(2026, 3, 2)))
    with pytest.raises(FlushcastError, match="goes on for 1 day after today, from 2026-03-03"):
        run(garden, "add", put(garden, PLAIN))
    run(garden, "add", put(garden, "\n".join(PLAIN.splitlines()[:3])))
    lines = run(garden, "status").stdout.splitlines()
    assert "newest day 2026-03-02 (today)" in lines
    assert any(line.startswith("  47° ") for line in lines)


def test_status_without_weather_says_what_to_do(garden):
    with pytest.raises(
        FlushcastError, match="there is no weather yet; add a file with `flushcast weather add"
    ):
        run(garden, "status")


def test_status_tells_years_sources_forecast_and_lines_to_show(garden):
    weather = synthetic_weather(date(2019, 1, 1), date(2026, 3, 8), 48.2, seed=5)
    with WeatherStore.open(garden, create=True) as store:
        at = datetime(2026, 3, 9, 18, tzinfo=UTC)
        store.add(BENCHES.id, weather, Origin("some service", "north", "Source: some service"), fetched_at=at)
        own = synthetic_weather(date(2025, 12, 1), date(2026, 3, 9), 48.2, seed=6)
        own = DailyWeather(own.first_day, own.tmin, own.tmax, "bench")
        store.add(BENCHES.id, own, Origin("file", "own.csv"), fetched_at=at)
        ahead = synthetic_weather(TODAY, TODAY + timedelta(days=6), 48.2, seed=7)
        store.add_forecast(
            BENCHES.id,
            ahead,
            Origin("some forecaster", "", "Forecast: some forecaster"),
            fetched_at=at,
            issued=TODAY,
        )
    lines = run(garden, "status").stdout.splitlines()
    assert "2,625 days 2019-01-01 to 2026-03-09, none missing; bench 99, station 2,526" in lines
    assert "newest day 2026-03-09 (yesterday)" in lines
    assert "forecast to 2026-03-16, fetched 18 h ago" in lines
    table = [
        line.split() for line in lines[lines.index("forecast to 2026-03-16, fetched 18 h ago") + 2 :][:4]
    ]
    assert table == [
        ["year", "bench", "station", "missing"],
        ["2019-2024", "-", "2,192", "-"],
        ["2025", "31", "334", "-"],
        ["2026", "68", "-", "-"],
    ]
    assert "      █ measured  ░ forecast" in lines
    assert lines[-2:] == ["Source: some service", "Forecast: some forecaster"]
    assert max(map(len, lines)) <= 110


# A few through a real process: exit codes and channels.


def flushcast(garden, *args, **env):
    command = [sys.executable, "-m", "reports.cli.main", "--garden", str(garden), "weather", *map(str, args)]
    return subprocess.run(
        command,
        capture_output=True,
        encoding="utf-8",
        stdin=subprocess.DEVNULL,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "FLUSHCAST_TODAY": TODAY.isoformat(), **env},
    )


def test_a_real_run(garden):
    done = flushcast(garden, "add", put(garden, PLAIN))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("3 days 2026-03-01 to 2026-03-03")
    assert flushcast(garden, "status").returncode == 0


def test_a_real_refusal_is_one_line_on_stderr(garden):
    done = flushcast(garden, "add", put(garden, PLAIN.replace("_c", "")))
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "flushcast: march.csv: does not say whether its temperatures are °C or °F; "
        "say --units C or --units F\n"
    )
    assert not (garden / "weather.sqlite").exists()


def test_a_damaged_store_is_one_line(garden):
    (garden / "weather.sqlite").write_bytes(b"rubbish" * 1000)
    done = flushcast(garden, "status")
    assert done.returncode == 1
    assert "is damaged" in done.stderr and done.stderr.count("\n") == 1


def test_a_terminal_of_plain_letters_gets_a_plain_picture(garden):
    flushcast(garden, "add", put(garden, PLAIN))
    done = flushcast(garden, "status", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert "# measured" in done.stdout


def test_the_help_of_weather_loads_no_numpy(garden):
    code = (
        "import sys\nfrom reports.cli.main import main\n"
        "try:\n    main(['weather', '--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({'numpy', 'pandas', 'scipy', 'sqlite3'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_own_readings_tell_at_once_how_the_bench_differs(garden):
    """A bench two degrees warmer than its station for forty days; taken back, it is as unknown as before."""
    weather = synthetic_weather(date(2025, 1, 1), date(2026, 3, 9), 48.2, seed=2)

    def csv(days, lift):
        part = weather.between(weather.last_day - timedelta(days=days - 1), weather.last_day)
        values = zip(part.ordinals.tolist(), part.tmin + lift, part.tmax + lift, strict=True)
        rows = [f"{date.fromordinal(day)},{low:.1f},{high:.1f}" for day, low, high in values]
        return "date,tmin_c,tmax_c\n" + "\n".join(rows) + "\n"

    assert "against" not in run(garden, "add", put(garden, csv(400, 0), "station.csv")).stdout
    path = put(garden, csv(40, 2.0), "bench.csv")
    told = run(garden, "add", path, "--source", "bench").stdout.splitlines()[-1]
    assert told.startswith("Benches against the stations: nights here ") and "°C warmer than there" in told
    assert " ± " in told and "from 40 days of your own readings" in told
    assert 1.0 < load_corrections(garden)[BENCHES.id]["station"].size()["tmin"][0] < 2.1
    assert "against" not in run(garden, "undo").stdout
    assert load_corrections(garden) == {BENCHES.id: {}}


def test_what_no_thermometer_shows_is_refused_before_the_store_would_call_it_damage(garden):
    with pytest.raises(FlushcastError, match="says 900 °C on 2026-03-02, which no thermometer shows"):
        run(garden, "add", put(garden, PLAIN.replace("7.5", "900")))
    run(garden, "add", put(garden, PLAIN))
    assert stored(garden).known.all()
