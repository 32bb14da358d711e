"""Station services against the stand-in: which stations, which days, what is left out, what is said."""

from __future__ import annotations

import gzip
import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from data_sources.weather.services.protocol.service import FetchSpan, Service, ServiceAnswer, Spot
from data_sources.weather.services.stations.meteostat import Meteostat, _forecasts
from data_sources.weather.services.stations.noaa import GhcnDaily, NceiDaily, read_record, read_summaries
from data_sources.weather.services.transport.faults import ServiceError
from data_sources.weather.services.transport.http import Http
from phenology.weather.series import DailyWeather
from tests.data_sources.invented_services import METEOSTAT_COLUMNS
from tests.data_sources.series import fingerprint
from tests.data_sources.stand_in import StandIn
from tests.data_sources.test_weather_forecasts import HERE, TODAY

YESTERDAY = TODAY - timedelta(days=1)
TWO_YEARS = FetchSpan(date(2025, 1, 1), YESTERDAY)
LAST_YEAR = FetchSpan(date(2025, 1, 1), date(2025, 12, 31))
WINTER = FetchSpan(date(2025, 1, 1), date(2025, 3, 1))
LONE = FetchSpan(date(2025, 1, 1), YESTERDAY, stations=1)


def a_day_passes(http: Http) -> None:
    """Every kept answer is a day older."""
    responses, day = http.session.cache.responses, timedelta(days=1)
    for key, response in list(responses.items()):
        response.expires, response.created_at = response.expires - day, response.created_at - day
        responses[key] = response


@pytest.fixture
def http(stand_in: StandIn):
    with stand_in.http() as client:
        yield client


def fetch(
    http: Http, service: type[Service] = Meteostat, part: FetchSpan = TWO_YEARS, **more: Any
) -> ServiceAnswer:
    from dataclasses import replace

    return service(replace(http.settings, **more), http).fetch(HERE, part, TODAY)


def days_of(answer: ServiceAnswer) -> DailyWeather:
    assert answer.days is not None
    return answer.days


def same(one: ServiceAnswer, other: ServiceAnswer) -> bool:
    return fingerprint(days_of(one)) == fingerprint(days_of(other))


def is_true(stand_in: StandIn, days: DailyWeather) -> None:
    low, high = stand_in.world.days(days.first_day, days.last_day, HERE.elevation)
    np.testing.assert_allclose(days.tmin, low, atol=0.15)
    np.testing.assert_allclose(days.tmax, high, atol=0.15)


# --- meteostat ---------------------------------------------------------------------------------------------


def test_four_stations_are_brought_to_the_garden_s_height(stand_in: StandIn, http: Http):
    answer = fetch(http)
    assert answer.origin.detail == "10001, 10002, 10003, 10004"  # not the nearest of all: it has no height
    assert len(stand_in.paths("/daily/")) == 8 and answer.whole
    assert answer.stations is not None and set(answer.stations.tolist()) == {4}
    assert days_of(answer).first_day == date(2025, 1, 1)
    is_true(stand_in, days_of(answer))


def test_model_rows_are_not_measurements(http: Http):
    days = days_of(fetch(http))
    assert days.source[-3:].tolist() == ["model"] * 3  # `dwd_hourly dwd_mosmix` in the file
    assert set(days.source[:-3]) == {"station"}
    assert {"dwd_mosmix", "metno_forecast"} <= _forecasts() and "dwd_hourly" not in _forecasts()


def test_the_attribution_names_who_measured(http: Http):
    line = fetch(http).origin.attribution
    assert line.startswith("Source: Meteostat (https://meteostat.net) with data of Deutscher Wetterdienst")
    assert "interpolated to the site" in line


def test_the_nearest_station_s_recent_years_come_first(stand_in: StandIn, http: Http):
    rounds = Meteostat(http.settings, http).rounds(date(1996, 6, 14), YESTERDAY)
    assert rounds[0] == FetchSpan(date(2024, 1, 1), YESTERDAY, stations=1)
    assert (rounds[1].first, rounds[1].last) == (date(2025, 1, 1), YESTERDAY)
    fetch(http, part=rounds[0])
    assert stand_in.paths("/daily/") == [f"/daily/{y}/10001.csv.gz" for y in (2026, 2025, 2024)]


def test_what_is_here_is_not_fetched_again(stand_in: StandIn, tmp_path: Path):
    settings = stand_in.settings(cache_folder=tmp_path)
    with stand_in.http(settings) as http:
        first = fetch(http)
    stand_in.asked.clear()
    with stand_in.http(settings) as http:  # the files outlive the program
        assert same(fetch(http), first) and not stand_in.paths()
        a_day_passes(http)
        fetch(http)
    files = [f"/daily/2026/{s}.csv.gz" for s in ("10001", "10002", "10003", "10004")]
    assert stand_in.paths() == files  # 2025 is settled


def test_a_year_that_is_not_there_is_said_and_remembered(stand_in: StandIn, http: Http):
    stand_in.fault("10002", "404")
    answer = fetch(http)
    assert answer.notes == ("no file for 10002: 2025-2026",)
    assert len(stand_in.paths("/daily/")) == 8 and answer.whole
    stand_in.asked.clear()
    fetch(http)
    assert stand_in.paths("10002") == ["/daily/2026/10002.csv.gz"]  # this year may still come


VARIED = ("403", "html", "empty", "cut", "loop", "doubled")
"""Faults that go the way of others."""
FILE_FAULTS = [
    "429", "500", "cut_gzip", "drip", "body", "tenfold",
    *(pytest.param(kind, marks=pytest.mark.slow) for kind in VARIED),
]  # fmt: skip


@pytest.mark.parametrize("kind", FILE_FAULTS)
def test_a_failure_is_no_answer_and_is_asked_again(stand_in: StandIn, http: Http, kind: str):
    """The files of years that are over are here; of this year nothing new comes, so nothing is said."""
    good = fetch(http)
    a_day_passes(http)
    stand_in.fault("/daily/", kind, body=gzip.compress(b"nothing,of,the,kind\n1,2,3,4\n"))
    for _ in range(2):
        with pytest.raises(ServiceError):
            fetch(http)
        stand_in.clock.seconds = 0
    stand_in.mend()
    assert same(fetch(http), good)


@pytest.mark.parametrize("kind", FILE_FAULTS)
def test_a_failure_of_one_file_leaves_the_others(stand_in: StandIn, http: Http, kind: str):
    stand_in.fault("/daily/2025/10003", kind, body=b"404: not found, but with status 200")
    answer = fetch(http)
    assert not answer.whole and answer.stations is not None
    asked = set(stand_in.paths("/daily/"))
    if kind in ("429", "drip"):  # asked to stop, or out of time, it asks for nothing more
        assert len(asked) == 6
        assert "not received: 10003: 2025; 10004: 2025-2026" in answer.notes[0]
    else:
        assert len(asked) == 8 and answer.notes[0].endswith("not received: 10003: 2025")
        assert answer.stations[0] == 3 and answer.stations[-1] == 4
    assert "10003: 2025" in " ".join(answer.notes)
    assert days_of(answer).known.all()  # the other three have every day


def test_when_all_fails_the_reason_is_the_answer(stand_in: StandIn, http: Http):
    stand_in.fault("/daily/", "500")
    with pytest.raises(ServiceError, match=r"trouble of its own \(500\)"):
        fetch(http, part=FetchSpan(date(2014, 1, 1), YESTERDAY))
    assert len(stand_in.paths("/daily/")) <= 8  # of 52: it is left alone


def test_a_wild_value_does_not_spoil_the_blend_and_is_marked_where_there_is_no_other(
    stand_in: StandIn, http: Http
):
    stand_in.fault("/daily/2025/10001", "hot")
    answer = fetch(http)
    assert days_of(answer).tmax.max() < 45 and not answer.suspect
    alone = fetch(http, part=LONE)
    assert list(alone.suspect) == [date(2025, 1, 3)]
    assert "72 °C: such heat was never measured" in alone.suspect[date(2025, 1, 3)]


def test_a_station_that_the_others_contradict_is_passed_over(stand_in: StandIn, http: Http):
    """13 °C too warm on one day of July: believable alone, not beside three neighbours."""
    day = date(2025, 7, 10)

    def too_warm(days: pd.DataFrame) -> None:
        days.loc[days["day"] == day, "tmax"] += 13

    stand_in.fault("/daily/2025/10001", "body", body=stand_in.station_year("10001", 2025, change=too_warm))
    answer = fetch(http)
    is_true(stand_in, days_of(answer).between(day, day))
    assert day not in answer.suspect


def test_a_station_read_in_the_morning_is_noted(stand_in: StandIn, http: Http):
    """The second station's maxima stand a day late."""

    def late(days: pd.DataFrame) -> None:
        days["tmax"] = days["tmax"].shift(1)

    stand_in.fault("/daily/2025/10002", "body", body=stand_in.station_year("10002", 2025, change=late))
    notes = fetch(http, part=LAST_YEAR).notes
    assert any(note.startswith("10002: tmax from 2025-01-0") and "day before" in note for note in notes)


def test_tenfold_values_are_no_air(stand_in: StandIn, http: Http):
    stand_in.fault("/daily/2025/10001", "tenfold")
    answer = fetch(http, part=LAST_YEAR)
    (note,) = answer.notes
    assert note.startswith("sent temperatures that are no air") and note.endswith("not received: 10001: 2025")
    assert answer.origin.detail == "10002, 10003, 10004"


def test_a_broken_list_of_stations_is_fetched_once_more(stand_in: StandIn, http: Http):
    stand_in.fault("/stations.db", "broken", times=1)
    fetch(http, part=LONE)
    assert len(stand_in.paths("stations.db")) == 2


@pytest.mark.parametrize("kind", ["broken", "html", "empty", "500", "404"])
def test_a_list_of_stations_that_stays_broken_is_an_error(stand_in: StandIn, http: Http, kind: str):
    stand_in.fault("/stations.db", kind)
    words = {"broken": "a broken list of stations", "html": "a web page", "empty": "an empty answer"}
    with pytest.raises(ServiceError, match=words.get(kind, kind)):
        fetch(http, part=LONE)
    assert not http.session.cache.responses  # nothing broken is kept


def test_an_old_list_of_stations_serves_while_there_is_no_new_one(stand_in: StandIn, http: Http):
    fetch(http, part=LONE)
    http.session.cache.reset_expiration(datetime.now(UTC) - timedelta(days=300))
    stand_in.fault("/stations.db", "500")
    answer = fetch(http, part=LONE)
    assert "the list of stations is an old one: the service has trouble" in answer.notes[0]


def test_nobody_near(http: Http):
    far = Spot(-16.8, 179.9, 10.0, "Pacific/Fiji")
    with pytest.raises(ServiceError, match="no station within 50 km"):
        Meteostat(http.settings, http).fetch(far, LONE, TODAY)


def test_stations_may_be_chosen(http: Http):
    assert fetch(http, part=LONE, station_ids=("10004",)).origin.detail == "10004"
    with pytest.raises(ServiceError, match="knows no station 1%"):
        fetch(http, part=LONE, station_ids=("1%",))


def test_the_stand_in_writes_the_published_columns(stand_in: StandIn, shared: Path):
    example = (shared / "data" / "weather_examples" / "meteostat_daily_sample.csv").read_text()
    ours = gzip.decompress(stand_in.station_year("10001", 2026)).decode()
    assert ours.splitlines()[0] == example.splitlines()[0]
    assert len(METEOSTAT_COLUMNS) == 11


def test_the_published_sample_is_read(stand_in: StandIn, http: Http, shared: Path):
    sample = (shared / "data" / "weather_examples" / "meteostat_daily_sample.csv").read_bytes()
    stand_in.fault("/daily/2026/10001", "body", body=gzip.compress(sample))
    days = days_of(fetch(http, part=FetchSpan(date(2026, 1, 1), YESTERDAY, stations=1)))
    assert days.first_day == date(2026, 4, 1)
    assert (days.tmin[0], days.tmax[0]) == (4.6, 11.9)
    assert np.isnan(days.tmin[3]) and days.tmax[3] == 14.1  # 4 April has no minimum
    assert days.source[days.index(date(2026, 4, 8))] == "station"
    assert days.source[days.index(date(2026, 4, 9))] == "model"


# --- NOAA --------------------------------------------------------------------------------------------------


def test_ncei_summaries_are_asked_in_metric_and_blended(stand_in: StandIn, http: Http):
    answer = fetch(http, NceiDaily, LAST_YEAR)
    assert len(days_of(answer)) == 365
    is_true(stand_in, days_of(answer))
    asked = next(a.query for a in stand_in.asked if "services/data" in a.path)
    assert (asked["units"], asked["format"], asked["dataset"]) == ("metric", "csv", "daily-summaries")
    assert "ZZC00010001" in answer.origin.attribution and "GHCN-Daily" in answer.origin.attribution


def test_ncei_marks_are_heeded(stand_in: StandIn, http: Http):
    stand_in.fault("services/data", "flagged")
    answer = fetch(http, NceiDaily, FetchSpan(WINTER.first, WINTER.last, 1))
    assert np.isnan(days_of(answer).tmin[5])
    assert answer.notes == ("ZZC00010001: 1 values left out, TMIN failed the quality check",)


def test_the_published_shape_of_summaries(shared: Path):
    body = (shared / "data" / "weather_examples" / "ncei_daily.csv").read_bytes()
    days = read_summaries(body, "XXC00099001")
    assert days.loc["2026-03-01", ["tmin", "tmax"]].tolist() == [2.8, 9.5]
    assert np.isnan(days["tmax"].iloc[4]) and days["tmin"].iloc[4] == -0.1
    assert np.isnan(days["tmin"].iloc[7])  # 41.7 marked I
    assert days.attrs["left_out"] == {"TMIN failed the quality check": 1}


def test_ncei_s_own_error_text_is_shown(stand_in: StandIn, http: Http):
    body = json.dumps({"errorMessage": "Unsupported dataType"}).encode()
    stand_in.fault("services/data", "400", body=body)
    with pytest.raises(ServiceError, match=r"did not accept the request \(400\): Unsupported dataType"):
        fetch(http, NceiDaily, WINTER)


def test_ghcn_files_hold_everything(stand_in: StandIn, http: Http):
    rounds = GhcnDaily(http.settings, http).rounds(date(1996, 6, 14), YESTERDAY)
    assert rounds[1:] == [FetchSpan(date(1996, 6, 14), YESTERDAY)]
    ten_years = FetchSpan(date(2015, 1, 1), date(2024, 12, 31))
    answer = fetch(http, GhcnDaily, ten_years, stations=2)
    assert len(days_of(answer)) == 3653
    is_true(stand_in, days_of(answer))
    fetch(http, GhcnDaily, FetchSpan(date(1996, 1, 1), date(2014, 12, 31)), stations=2)
    assert len(stand_in.paths(".dly")) == 2  # the cache has the files


def test_one_ghcn_file_failing_leaves_the_others(stand_in: StandIn, http: Http):
    stand_in.fault("ZZC00010002.dly", "500")
    answer = fetch(http, GhcnDaily, FetchSpan(date(2024, 1, 1), date(2024, 12, 31)), stations=2)
    assert answer.origin.detail == "ZZC00010001" and not answer.whole
    assert answer.notes == ("has trouble of its own (500); not received: ZZC00010002: 2024",)


MISBEHAVING = [
    (NceiDaily, "tenfold", "no air"),
    (NceiDaily, "doubled", "sent 2025-01-04 twice for station ZZC00010001"),
    (NceiDaily, "broken", "breaks off"),
    (NceiDaily, "empty", "empty answer"),
    (NceiDaily, "html", "web page"),
    (NceiDaily, "503", "503"),
    (NceiDaily, "cut", "broke off in the middle"),
    (NceiDaily, "body", "no day of that time"),  # an unknown station is an empty table
    (GhcnDaily, "tenfold", "no air"),
    (GhcnDaily, "doubled", "cannot be used: .*comes twice"),
    (GhcnDaily, "broken", "breaks off"),
    (GhcnDaily, "html", "web page"),
    (GhcnDaily, "empty", "empty answer"),
    (GhcnDaily, "404", "no day of that time"),
    (GhcnDaily, "body", "not this station's"),
]


@pytest.mark.parametrize(("service", "kind", "words"), MISBEHAVING)
def test_noaa_misbehaving(stand_in: StandIn, http: Http, service: type[Service], kind: str, words: str):
    where = "services/data" if service is NceiDaily else ".dly"
    stand_in.fault(where, kind, body=b'"STATION","DATE","TMAX","TMIN"\n')
    with pytest.raises(ServiceError, match=words):
        fetch(http, service, WINTER, stations=2)


def test_the_published_dly_is_read(shared: Path):
    body = (shared / "data" / "weather_examples" / "ghcn_sample.dly").read_bytes()
    days = read_record(body, "XXC00099001")
    assert days[["tmin", "tmax"]].iloc[0].tolist() == [2.2, 10.4]
    assert days.attrs["left_out"] == {"TMIN failed the quality check 'inconsistent'": 2}
