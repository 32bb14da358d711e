"""Station services against the stand-in: which stations, which days, what is left out, what is said."""

from __future__ import annotations

import gzip
import json
import os
import shutil
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from data_sources.weather.services.ghcn_daily import GhcnDaily, _Read
from data_sources.weather.services.http import Http
from data_sources.weather.services.meteostat_reading import FORECAST_ROWS, quiet_library
from data_sources.weather.services.meteostat_stations import Meteostat
from data_sources.weather.services.ncei_daily import NceiDaily, read_summaries
from data_sources.weather.services.protocol import Answer, Round, ServiceError, Spot
from tests.data_sources.stand_in import METEOSTAT_COLUMNS, StandIn
from tests.data_sources.test_weather_services import HERE, TODAY, settings

YESTERDAY = TODAY - timedelta(days=1)
TWO_YEARS = Round(date(2025, 1, 1), YESTERDAY)
LONE = Round(date(2025, 1, 1), YESTERDAY, stations=1)


@pytest.fixture
def http(stand_in: StandIn):
    with Http(settings(stand_in).http, sleep=lambda _: None) as client:
        yield client


@pytest.fixture
def meteostat(stand_in: StandIn, http: Http, tmp_path: Path) -> Meteostat:
    return Meteostat(settings(stand_in, cache_folder=tmp_path), http)


@pytest.fixture(scope="session")
def fetched(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Answer]:
    """A cache folder after a good fetch, to be copied, and what was made of it."""
    server, folder = StandIn(), tmp_path_factory.mktemp("fetched")
    made = settings(server, cache_folder=folder)
    with Http(made.http) as client:
        answer = Meteostat(made, client).fetch(HERE, TWO_YEARS, TODAY)
    server.stop()
    return folder, answer


def again(stand_in: StandIn, http: Http, folder: Path) -> Meteostat:
    """A later run on the same cache folder, whose recent files are a day old."""
    yesterday = time.time() - 86400
    for path in folder.rglob("*.csv.gz"):
        os.utime(path, (yesterday, yesterday))
    return Meteostat(settings(stand_in, cache_folder=folder), http)


def same(one: Answer, other: Answer) -> bool:
    assert one.days is not None and other.days is not None
    return one.days.fingerprint() == other.days.fingerprint()


# --- meteostat ---------------------------------------------------------------------------------------------


def test_four_stations_are_brought_to_the_garden_s_height(stand_in: StandIn, meteostat: Meteostat):
    answer = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    assert answer.origin.detail == "10001, 10002, 10003, 10004"  # not the nearest of all: it has no height
    assert (answer.asked, answer.received, answer.held) == (8, 8, frozenset())
    assert answer.days is not None and answer.days.first_day == date(2025, 1, 1)
    low, high = stand_in.world.days(answer.days.first_day, answer.days.last_day, HERE.elevation)
    np.testing.assert_allclose(answer.days.tmax, high, atol=0.15)
    np.testing.assert_allclose(answer.days.tmin, low, atol=0.15)


def test_model_rows_are_not_measurements(meteostat: Meteostat):
    days = meteostat.fetch(HERE, TWO_YEARS, TODAY).days
    assert days is not None
    assert days.source[-3:].tolist() == ["model"] * 3  # `dwd_hourly dwd_mosmix` in the file
    assert set(days.source[:-3]) == {"station"}


def test_the_library_s_own_forecast_providers_are_known():
    import meteostat as ms
    from meteostat.core.providers import provider_service

    forecasts = {
        str(p.id.value) for p in provider_service.providers if p.grade == ms.enumerations.Grade.FORECAST
    }
    assert forecasts == FORECAST_ROWS


def test_the_attribution_names_who_measured(meteostat: Meteostat):
    line = meteostat.fetch(HERE, TWO_YEARS, TODAY).origin.attribution
    assert line.startswith("Source: Meteostat (https://meteostat.net) with data of Deutscher Wetterdienst")
    assert "interpolated to the site" in line


def test_the_nearest_station_s_recent_years_come_first(stand_in: StandIn, meteostat: Meteostat):
    rounds = meteostat.rounds(date(1996, 6, 14), YESTERDAY)
    assert rounds[0] == Round(date(2024, 1, 1), YESTERDAY, stations=1)
    assert (rounds[1].first, rounds[1].last) == (date(2025, 1, 1), YESTERDAY)
    meteostat.fetch(HERE, rounds[0], TODAY)
    assert stand_in.paths("/daily/") == [f"/daily/{y}/10001.csv.gz" for y in (2026, 2025, 2024)]


def test_what_is_here_is_not_fetched_again(
    stand_in: StandIn, http: Http, meteostat: Meteostat, tmp_path: Path
):
    first = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    stand_in.asked.clear()
    assert same(
        Meteostat(settings(stand_in, cache_folder=tmp_path), http).fetch(HERE, TWO_YEARS, TODAY), first
    )
    assert not stand_in.paths()
    later = again(stand_in, http, tmp_path)
    later.fetch(HERE, TWO_YEARS, TODAY)
    assert sorted(stand_in.paths("/daily/")) == sorted(
        f"/daily/2026/{s}.csv.gz" for s in ("10001", "10002", "10003", "10004")
    )  # 2025 is settled


def test_a_year_that_is_not_there_is_said_and_remembered(stand_in: StandIn, meteostat: Meteostat):
    stand_in.fault("10002", "404")
    answer = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    assert answer.notes == ("no file for 10002: 2025-2026",)
    assert (answer.asked, answer.received, answer.held) == (8, 6, frozenset())
    stand_in.asked.clear()
    meteostat.fetch(HERE, TWO_YEARS, TODAY)
    assert not stand_in.paths("10002")


FILE_FAULTS = ["403", "429", "500", "html", "empty", "cut_gzip", "cut", "drip", "loop", "doubled", "body"]


@pytest.mark.parametrize("kind", FILE_FAULTS)
def test_a_failure_keeps_the_file_before(
    stand_in: StandIn, http: Http, fetched: tuple[Path, Answer], tmp_path: Path, kind: str
):
    folder, good = fetched
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*.csv.gz")}
    stand_in.fault("/daily/", kind, body=gzip.compress(b"nothing,of,the,kind\n1,2,3,4\n"))
    answer = again(stand_in, http, tmp_path).fetch(HERE, TWO_YEARS, TODAY)
    assert same(answer, good) and answer.stale_because
    assert "not received: 10001: 2026" in answer.notes[0]
    assert {p: p.read_bytes() for p in tmp_path.rglob("*.csv.gz")} == before


@pytest.mark.parametrize("kind", FILE_FAULTS)
def test_a_failure_without_a_file_before_holds_the_year(stand_in: StandIn, meteostat: Meteostat, kind: str):
    stand_in.fault("/daily/2025/10003", kind, body=b"404: not found, but with status 200")
    answer = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    if kind == "429":  # told to stop, it asks for nothing more
        assert answer.held == {2025, 2026} and answer.received == 5
    else:
        assert answer.held == {2025} and (answer.asked, answer.received) == (8, 7)
    assert "10003: 2025" in " ".join(answer.notes)
    assert answer.days is not None and answer.days.known.all()  # the other three have every day


def test_when_all_fails_the_reason_is_the_answer(stand_in: StandIn, meteostat: Meteostat):
    stand_in.fault("/daily/", "500")
    with pytest.raises(ServiceError, match=r"trouble of its own \(500\)"):
        meteostat.fetch(HERE, Round(date(2014, 1, 1), YESTERDAY), TODAY)
    assert len(stand_in.paths("/daily/")) <= 8  # of 52: it is left alone


def test_a_shorter_file_does_not_replace_a_longer_one(
    stand_in: StandIn, http: Http, meteostat: Meteostat, tmp_path: Path
):
    good = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    stand_in.fault("/daily/2026", "nulls_end")
    answer = again(stand_in, http, tmp_path).fetch(HERE, TWO_YEARS, TODAY)
    assert same(answer, good) and answer.stale_because == "sent 160 days where it had sent 163"


def test_one_wild_value_does_not_spoil_the_blend(stand_in: StandIn, meteostat: Meteostat):
    stand_in.fault("/daily/2025/10001", "hot")
    answer = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    assert answer.days is not None and answer.days.tmax.max() < 45 and not answer.suspect


def test_a_wild_value_of_the_only_station_is_marked(stand_in: StandIn, meteostat: Meteostat):
    stand_in.fault("/daily/2025/10001", "hot")
    answer = meteostat.fetch(HERE, LONE, TODAY)
    assert list(answer.suspect) == [date(2025, 1, 3)]
    assert "72 °C: such heat was never measured" in answer.suspect[date(2025, 1, 3)]


def test_a_station_that_the_others_contradict_is_passed_over(stand_in: StandIn, meteostat: Meteostat):
    """13 °C too warm on one day of July: believable alone, not beside three neighbours."""
    day = date(2025, 7, 10)
    lines = gzip.decompress(stand_in.station_year("10001", 2025)).decode().splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("2025,7,10,"))
    cells = lines[at].split(",")
    high = lines[0].split(",").index("tmax")
    true = float(cells[high])
    cells[high] = f"{true + 13:.1f}"
    lines[at] = ",".join(cells)
    stand_in.fault("/daily/2025/10001", "body", body=gzip.compress("\n".join(lines).encode()))
    answer = meteostat.fetch(HERE, TWO_YEARS, TODAY)
    assert answer.days is not None
    assert answer.days.tmax[answer.days.index(day)] == pytest.approx(true, abs=0.3)
    assert day not in answer.suspect


def test_a_station_read_in_the_morning_is_told(stand_in: StandIn, meteostat: Meteostat):
    """The second station's maxima stand a day late."""
    lines = gzip.decompress(stand_in.station_year("10002", 2025)).decode().splitlines()
    rows = [line.split(",") for line in lines]
    high = rows[0].index("tmax")
    column = [row[high] for row in rows[1:]]
    for row, value in zip(rows[2:], column, strict=False):
        row[high] = value
    moved = "\n".join(",".join(row) for row in rows)
    stand_in.fault("/daily/2025/10002", "body", body=gzip.compress(moved.encode()))
    answer = meteostat.fetch(HERE, Round(date(2025, 1, 1), date(2025, 12, 31)), TODAY)
    assert any(
        note.startswith("10002: tmax from 2025-01-0") and "day before" in note for note in answer.notes
    )


def test_tenfold_values_are_no_air(stand_in: StandIn, meteostat: Meteostat):
    stand_in.fault("/daily/2025/10001", "tenfold")
    answer = meteostat.fetch(HERE, Round(date(2025, 1, 1), date(2025, 12, 31)), TODAY)
    assert any("10001 sent temperatures that are no air" in note for note in answer.notes)
    assert answer.days is not None and answer.origin.detail == "10002, 10003, 10004"


def test_a_broken_list_of_stations_is_fetched_once_more(stand_in: StandIn, meteostat: Meteostat):
    stand_in.fault("/stations.db", "broken", times=1)
    meteostat.fetch(HERE, LONE, TODAY)
    assert len(stand_in.paths("stations.db")) == 2


@pytest.mark.parametrize("kind", ["broken", "html", "empty", "500", "404"])
def test_a_list_of_stations_that_stays_broken_is_an_error(stand_in: StandIn, meteostat: Meteostat, kind: str):
    stand_in.fault("/stations.db", kind)
    words = {"broken": "a broken list of stations", "html": "a web page", "empty": "an empty answer"}
    with pytest.raises(ServiceError, match=words.get(kind, kind)):
        meteostat.fetch(HERE, LONE, TODAY)
    assert not list(meteostat.files.folder.glob("stations*"))  # nothing broken is kept


def test_an_old_list_of_stations_serves_while_there_is_no_new_one(
    stand_in: StandIn, http: Http, meteostat: Meteostat, tmp_path: Path
):
    meteostat.fetch(HERE, LONE, TODAY)
    long_ago = time.time() - 30 * 86400
    os.utime(meteostat.files.stations_db, (long_ago, long_ago))
    stand_in.fault("/stations.db", "500")
    answer = again(stand_in, http, tmp_path).fetch(HERE, LONE, TODAY)
    assert answer.days is not None and "the list of stations is an old one" in answer.notes[0]


def test_nobody_near(meteostat: Meteostat):
    with pytest.raises(ServiceError, match="no station within 50 km"):
        meteostat.fetch(Spot(-16.8, 179.9, 10.0, "Pacific/Fiji"), LONE, TODAY)


def test_stations_may_be_chosen(stand_in: StandIn, http: Http, tmp_path: Path):
    chosen = Meteostat(settings(stand_in, cache_folder=tmp_path, station_ids=("10004",)), http)
    assert chosen.fetch(HERE, LONE, TODAY).origin.detail == "10004"
    wrong = Meteostat(settings(stand_in, cache_folder=tmp_path, station_ids=("1%",)), http)
    with pytest.raises(ServiceError, match="knows no station 1%"):
        wrong.fetch(HERE, LONE, TODAY)


def test_the_stand_in_writes_the_published_columns(stand_in: StandIn, shared: Path):
    example = (shared / "data" / "weather_examples" / "meteostat_daily_sample.csv").read_text()
    ours = gzip.decompress(stand_in.station_year("10001", 2026)).decode()
    assert ours.splitlines()[0] == example.splitlines()[0]
    assert len(METEOSTAT_COLUMNS) == 11


def test_the_published_sample_is_read(stand_in: StandIn, http: Http, meteostat: Meteostat, shared: Path):
    sample = (shared / "data" / "weather_examples" / "meteostat_daily_sample.csv").read_bytes()
    stand_in.fault("/daily/2026/10001", "body", body=gzip.compress(sample))
    answer = meteostat.fetch(HERE, Round(date(2026, 1, 1), YESTERDAY, stations=1), TODAY)
    days = answer.days
    assert days is not None and days.first_day == date(2026, 4, 1)
    assert (days.tmin[0], days.tmax[0]) == (4.6, 11.9)
    assert np.isnan(days.tmin[3]) and days.tmax[3] == 14.1  # 4 April has no minimum
    assert days.source[days.index(date(2026, 4, 8))] == "station"
    assert days.source[days.index(date(2026, 4, 9))] == "model"


# --- NOAA --------------------------------------------------------------------------------------------------


def test_ncei_summaries_are_asked_in_metric_and_blended(stand_in: StandIn, http: Http):
    service = NceiDaily(settings(stand_in), http)
    answer = service.fetch(HERE, Round(date(2025, 1, 1), date(2025, 12, 31)), TODAY)
    assert answer.days is not None and len(answer.days) == 365
    _, high = stand_in.world.days(date(2025, 1, 1), date(2025, 12, 31), HERE.elevation)
    np.testing.assert_allclose(answer.days.tmax, high, atol=0.15)
    asked = next(a.query for a in stand_in.asked if "services/data" in a.path)
    assert (asked["units"], asked["format"], asked["dataset"]) == ("metric", "csv", "daily-summaries")
    assert "ZZC00010001" in answer.origin.attribution and "GHCN-Daily" in answer.origin.attribution


def test_ncei_marks_are_heeded(stand_in: StandIn, http: Http):
    stand_in.fault("services/data", "flagged")
    answer = NceiDaily(settings(stand_in), http).fetch(
        HERE, Round(date(2025, 1, 1), date(2025, 3, 1), 1), TODAY
    )
    assert answer.days is not None and np.isnan(answer.days.tmin[5])
    assert answer.notes == ("1 values left out: TMIN failed the quality check",)


def test_the_published_shape_of_summaries(shared: Path):
    body = (shared / "data" / "weather_examples" / "ncei_daily.csv").read_bytes()
    by_station, left_out = read_summaries(body)
    rows = by_station["XXC00099001"]
    assert rows[0] == (date(2026, 3, 1), 2.8, 9.5)
    assert np.isnan(rows[4][2]) and rows[4][1] == -0.1
    assert np.isnan(rows[7][1]) and left_out["TMIN failed the quality check"] == 1  # 41.7 marked I


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("tenfold", "no air"),
        ("doubled", "sent 2025-01-04 twice for station ZZC00010001"),
        ("broken", "breaks off"),
        ("empty", "empty answer"),
        ("html", "web page"),
        ("503", "503"),
        ("cut", "broke off in the middle"),
    ],
)
def test_ncei_misbehaving(stand_in: StandIn, http: Http, kind: str, words: str):
    stand_in.fault("services/data", kind)
    with pytest.raises(ServiceError, match=words):
        NceiDaily(settings(stand_in), http).fetch(HERE, Round(date(2025, 1, 1), date(2025, 3, 1)), TODAY)


def test_ncei_s_own_error_text_is_shown(stand_in: StandIn, http: Http):
    body = json.dumps({"errorMessage": "Unsupported dataType"}).encode()
    stand_in.fault("services/data", "400", body=body)
    with pytest.raises(ServiceError, match=r"did not accept the request \(400\): Unsupported dataType"):
        NceiDaily(settings(stand_in), http).fetch(HERE, Round(date(2025, 1, 1), date(2025, 3, 1)), TODAY)


def test_an_unknown_station_is_an_empty_table(stand_in: StandIn, http: Http):
    stand_in.fault("services/data", "body", body=b'"STATION","DATE","TMAX","TMIN"\n')
    with pytest.raises(ServiceError, match="no day of that time"):
        NceiDaily(settings(stand_in), http).fetch(HERE, Round(date(2025, 1, 1), date(2025, 3, 1)), TODAY)


def test_ghcn_files_hold_everything(stand_in: StandIn, http: Http):
    service = GhcnDaily(settings(stand_in, stations=2), http)
    assert service.rounds(date(1996, 6, 14), YESTERDAY)[1:] == [Round(date(1996, 6, 14), YESTERDAY)]
    answer = service.fetch(HERE, Round(date(2015, 1, 1), date(2024, 12, 31)), TODAY)
    assert answer.days is not None and len(answer.days) == 3653
    low, _ = stand_in.world.days(date(2015, 1, 1), date(2024, 12, 31), HERE.elevation)
    np.testing.assert_allclose(answer.days.tmin, low, atol=0.15)
    service.fetch(HERE, Round(date(1996, 1, 1), date(2014, 12, 31)), TODAY)
    assert len(stand_in.paths(".dly")) == 2  # the cache has the files


def test_one_ghcn_file_failing_leaves_the_others(stand_in: StandIn, http: Http):
    stand_in.fault("ZZC00010002.dly", "500")
    part = Round(date(2024, 1, 1), date(2024, 12, 31))
    answer = GhcnDaily(settings(stand_in, stations=2), http).fetch(HERE, part, TODAY)
    assert answer.origin.detail == "ZZC00010001" and answer.held == {2024}
    assert answer.notes == ("ZZC00010002 has trouble of its own (500)",)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("tenfold", "no air"),
        ("doubled", "cannot be used: .*comes twice"),
        ("broken", "breaks off"),
        ("html", "web page"),
        ("empty", "empty answer"),
        ("404", r"nothing there \(404\)"),
        ("body", "not this station's"),
    ],
)
def test_ghcn_misbehaving(stand_in: StandIn, http: Http, kind: str, words: str):
    stand_in.fault(".dly", kind, body=b"something else\n")
    with pytest.raises(ServiceError, match=words):
        GhcnDaily(settings(stand_in, stations=1), http).fetch(HERE, Round(date(2024, 1, 1), YESTERDAY), TODAY)


def test_the_published_dly_is_read(shared: Path):
    body = (shared / "data" / "weather_examples" / "ghcn_sample.dly").read_bytes()
    weather, left_out = _Read("XXC00099001")(body)
    assert (weather.tmin[0], weather.tmax[0]) == (2.2, 10.4)
    assert left_out == {"TMIN failed the quality check 'inconsistent'": 2}


def test_the_library_is_kept_off_the_network(meteostat: Meteostat):
    library = quiet_library(meteostat.files)
    assert library.config.stations_db_endpoints == [] and library.config.cache_enable is False
