"""Forecast and archive services against the stand-in: the world they show is the world it has."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from data_sources.weather.services.http import Http, HttpSettings
from data_sources.weather.services.local_days import days_from_hours, local_today
from data_sources.weather.services.met_norway import MetNorway, forecast_days, read_steps
from data_sources.weather.services.open_meteo_archive import OpenMeteoArchive
from data_sources.weather.services.open_meteo_ensemble import OpenMeteoEnsemble
from data_sources.weather.services.open_meteo_forecast import OpenMeteoForecast
from data_sources.weather.services.protocol import Round, ServiceError, Spot
from data_sources.weather.services.settings import ADDRESSES, WeatherSettings
from phenology.model.errors import InputError, WeatherError
from tests.data_sources.stand_in import StandIn

TODAY = date(2026, 6, 14)
HERE = Spot(50.11, 8.62, 118.0, "Europe/Berlin")
FORTNIGHT = Round(TODAY - timedelta(days=10), TODAY + timedelta(days=15))


def settings(stand_in: StandIn, contact: str = "grower@example.org", **more: object) -> WeatherSettings:
    addresses = {
        name: stand_in.base + "/" + address.split("/", 3)[3] if address.count("/") > 2 else stand_in.base
        for name, address in ADDRESSES.items()
    }
    http = HttpSettings(contact=contact, connect_timeout=2, read_timeout=0.3, whole_timeout=0.3, pause=0.0)
    return WeatherSettings(addresses=addresses, http=http, **more)  # type: ignore[arg-type]


@pytest.fixture
def http(stand_in: StandIn):
    with Http(settings(stand_in).http, sleep=lambda _: None) as client:
        yield client


def true_days(
    stand_in: StandIn, first: date, last: date, spot: Spot, step: int = 3600
) -> tuple[np.ndarray, np.ndarray]:
    """The world's extremes of local days, the slow way: every hour of every day looked at by itself."""
    zone = ZoneInfo(spot.timezone)
    low, high = [], []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        start, stop = (
            datetime(d.year, d.month, d.day, tzinfo=zone).timestamp() for d in (day, day + timedelta(days=1))
        )
        hours = np.arange(-(-int(start) // step) * step, int(stop), step)
        air = stand_in.world.hours(hours, spot.longitude, spot.elevation)
        low.append(air.min())
        high.append(air.max())
    return np.array(low), np.array(high)


# --- Open-Meteo --------------------------------------------------------------------------------------------


def test_the_forecast_begins_today_and_the_days_before_are_the_model_s(stand_in: StandIn, http: Http):
    answer = OpenMeteoForecast(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    assert answer.days is not None and answer.forecast is not None
    assert (answer.days.first_day, answer.days.last_day) == (TODAY - timedelta(days=10), date(2026, 6, 13))
    assert (answer.forecast.first_day, answer.forecast.last_day) == (TODAY, date(2026, 6, 29))
    assert set(answer.days.source) == {"model"} and answer.elevation == 118
    for part in (answer.days, answer.forecast):
        low, high = true_days(stand_in, part.first_day, part.last_day, HERE)
        np.testing.assert_allclose(part.tmin, low)
        np.testing.assert_allclose(part.tmax, high)


def test_what_is_asked(stand_in: StandIn, http: Http):
    OpenMeteoForecast(settings(stand_in), http).fetch(
        Spot(50.1109221, 8.6821267, 117.6, "Europe/Berlin"), FORTNIGHT, TODAY
    )
    asked = stand_in.asked[0].query
    assert (asked["latitude"], asked["longitude"], asked["elevation"]) == ("50.1109", "8.6821", "118")
    assert (asked["hourly"], asked["timezone"], asked["forecast_days"]) == ("temperature_2m", "GMT", "16")
    assert "daily" not in asked and "apikey" not in asked


@pytest.mark.parametrize(
    ("zone", "latitude", "longitude", "day", "hours"),
    [
        ("Europe/Berlin", 50.1, 8.6, date(2026, 3, 29), 23),
        ("Europe/Berlin", 50.1, 8.6, date(2026, 10, 25), 25),
        ("Australia/Melbourne", -37.8, 145.0, date(2026, 4, 5), 25),
        ("Australia/Melbourne", -37.8, 145.0, date(2026, 10, 4), 23),
        ("Australia/Lord_Howe", -31.5, 159.1, date(2026, 10, 4), 23.5),
        ("America/Santiago", -33.4, -70.6, date(2026, 9, 6), 23),  # midnight itself does not exist
        ("America/Havana", 23.1, -82.4, date(2026, 11, 1), 25),  # midnight comes twice
        ("Asia/Kolkata", 22.6, 88.4, date(2026, 3, 29), 24),  # half an hour off
        ("Asia/Kathmandu", 27.7, 85.3, date(2026, 3, 29), 24),  # three quarters
        ("Pacific/Auckland", -36.8, 179.9, date(2026, 4, 5), 25),
        ("Arctic/Longyearbyen", 78.2, 15.6, date(2026, 10, 25), 25),
    ],
)
def test_days_are_the_spot_s_own_across_clock_changes(
    stand_in: StandIn, http: Http, zone: str, latitude: float, longitude: float, day: date, hours: float
):
    stand_in.today, stand_in.world.latitude = day + timedelta(days=9), latitude
    spot = Spot(latitude, longitude, 20.0, zone)
    start, stop = (
        datetime(d.year, d.month, d.day, tzinfo=ZoneInfo(zone)).timestamp()
        for d in (day, day + timedelta(days=1))
    )
    assert (stop - start) / 3600 == hours
    span = Round(day - timedelta(days=2), day + timedelta(days=2))
    answer = OpenMeteoArchive(settings(stand_in), http).fetch(spot, span, stand_in.today)
    assert answer.days is not None
    assert (answer.days.first_day, answer.days.last_day) == (span.first, span.last)
    low, high = true_days(stand_in, span.first, span.last, spot)
    np.testing.assert_allclose(answer.days.tmin, low)
    np.testing.assert_allclose(answer.days.tmax, high)


def test_at_the_date_line_today_is_the_spot_s(stand_in: StandIn, http: Http):
    spot = Spot(-16.8, 179.9, 10.0, "Pacific/Fiji")
    late = datetime(2026, 6, 13, 15, 0, tzinfo=ZoneInfo("UTC"))
    today = local_today(spot.timezone, late)
    assert today == date(2026, 6, 14)
    stand_in.today, stand_in.world.latitude = late.date(), -16.8
    answer = OpenMeteoForecast(settings(stand_in), http).fetch(
        spot, Round(today - timedelta(days=5), today + timedelta(days=9)), today
    )
    assert answer.days is not None and answer.forecast is not None
    assert (answer.days.last_day, answer.forecast.first_day) == (date(2026, 6, 13), today)
    low, high = true_days(stand_in, today, answer.forecast.last_day, spot)
    np.testing.assert_allclose(answer.forecast.tmax, high)
    np.testing.assert_allclose(answer.forecast.tmin, low)


def test_height_is_the_service_s_business(stand_in: StandIn, http: Http):
    high = Spot(50.11, 8.62, 3000.0, "Europe/Berlin")
    up = OpenMeteoForecast(settings(stand_in), http).fetch(high, FORTNIGHT, TODAY)
    down = OpenMeteoForecast(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    assert [a.query["elevation"] for a in stand_in.asked] == ["3000", "118"]
    assert up.forecast is not None and down.forecast is not None
    np.testing.assert_allclose(down.forecast.tmax - up.forecast.tmax, 2.882 * 6.5, atol=0.2)


def test_the_archive_asks_one_model_and_knows_its_delay(stand_in: StandIn, http: Http):
    archive = OpenMeteoArchive(settings(stand_in), http)
    rounds = archive.rounds(date(1996, 6, 14), TODAY - timedelta(days=1))
    assert [(r.first.year, r.last.year) for r in rounds][:2] == [(2025, 2026), (2020, 2024)]
    assert len(rounds) == 7
    answer = archive.fetch(HERE, rounds[0], TODAY)
    assert answer.days is not None and answer.days.last_day == date(2026, 6, 8)  # the newest five are null
    assert stand_in.asked[0].query["models"] == "era5_seamless"
    assert "Copernicus Climate Change Service information 2026" in answer.origin.attribution
    with pytest.raises(ServiceError, match="nothing so new"):
        archive.fetch(HERE, Round(TODAY, TODAY), TODAY)


def test_an_ensemble_gives_members_from_today_on(stand_in: StandIn, http: Http):
    answer = OpenMeteoEnsemble(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    assert answer.forecast is not None and len(answer.members) == 3
    assert {m.first_day for m in answer.members} == {TODAY}
    assert {m.last_day for m in answer.members} == {answer.forecast.last_day}
    spread = np.ptp([m.tmax for m in answer.members], axis=0)
    assert spread[-1] > spread[0] + 1


def test_fahrenheit_is_read_from_the_units_not_guessed(stand_in: StandIn, http: Http):
    plain = OpenMeteoForecast(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    stand_in.fault("/v1/forecast", "fahrenheit")
    with Http(settings(stand_in).http) as other:
        said_f = OpenMeteoForecast(settings(stand_in), other).fetch(HERE, FORTNIGHT, TODAY)
    assert plain.forecast is not None and said_f.forecast is not None
    np.testing.assert_allclose(said_f.forecast.tmax, (plain.forecast.tmax - 32) / 1.8)


def test_nulls_are_days_unknown_never_filled(stand_in: StandIn, http: Http):
    archive = OpenMeteoArchive(settings(stand_in), http)
    span = Round(date(2026, 3, 1), date(2026, 3, 31))
    whole = archive.fetch(HERE, span, TODAY).days
    stand_in.fault("/v1/archive", "nulls_inside")
    with Http(settings(stand_in).http) as other:
        holed = OpenMeteoArchive(settings(stand_in), other).fetch(HERE, span, TODAY).days
    assert whole is not None and holed is not None and len(holed) == 31
    assert holed.coverage().missing in (2, 3)
    np.testing.assert_array_equal(holed.tmax[holed.known], whole.tmax[holed.known])


def test_one_wild_value_is_marked_in_the_past_and_left_out_of_the_forecast(stand_in: StandIn, http: Http):
    stand_in.fault("/v1/forecast", "hot")
    answer = OpenMeteoForecast(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    (day,) = answer.suspect
    assert "72 °C: such heat was never measured" in answer.suspect[day] and day < TODAY

    soon = Round(TODAY, TODAY + timedelta(days=9))
    with Http(settings(stand_in).http) as other:
        ahead = OpenMeteoForecast(settings(stand_in), other).fetch(HERE, soon, TODAY)
    assert ahead.forecast is not None and ahead.forecast.tmax[ahead.forecast.known].max() < 50
    assert "left out of the forecast: tmax 72 °C" in ahead.notes[0]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("tenfold", "temperatures that are no air .*tenths of a degree"),
        ("doubled", "hours twice or out of order"),
        ("list", "another shape"),
        ("html", "a web page instead of data"),
        ("404", r"nothing there \(404\)"),
    ],
)
def test_an_answer_that_cannot_be_is_refused(stand_in: StandIn, http: Http, kind: str, words: str):
    stand_in.fault("/v1/", kind)
    with pytest.raises(ServiceError, match=words):
        OpenMeteoForecast(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)


def test_the_documented_error_reaches_the_grower(stand_in: StandIn, http: Http, shared: Path):
    body = (shared / "data" / "weather_examples" / "openmeteo_error.json").read_bytes()
    stand_in.fault("/v1/archive", "400", body=body)
    with pytest.raises(
        ServiceError, match="'end_date' is out of allowed range from 1940-01-01 to 2026-04-10"
    ):
        OpenMeteoArchive(settings(stand_in), http).fetch(HERE, Round(TODAY, TODAY), TODAY + timedelta(days=9))


# --- MET Norway --------------------------------------------------------------------------------------------


def test_met_norway_gives_whole_local_days(stand_in: StandIn, http: Http):
    answer = MetNorway(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    weather = answer.forecast
    assert weather is not None and answer.days is None
    assert weather.first_day == TODAY + timedelta(days=1)  # today is half over
    assert len(weather) >= 7 and weather.known.all()
    fine = weather.between(TODAY, TODAY + timedelta(days=2))
    low, high = true_days(stand_in, fine.first_day, fine.last_day, HERE)
    np.testing.assert_allclose(fine.tmin, low)
    np.testing.assert_allclose(fine.tmax, high)
    low, high = true_days(stand_in, weather.first_day, weather.last_day, HERE, step=600)
    np.testing.assert_allclose(weather.tmax, high, atol=0.3)  # six-hour blocks know the extremes
    np.testing.assert_allclose(weather.tmin, low, atol=1.5)  # the night between two blocks is seen in part
    asked = stand_in.asked[0].query
    assert asked == {"lat": "50.11", "lon": "8.62", "altitude": "118"}


def test_met_norway_is_not_called_without_a_contact(stand_in: StandIn, http: Http):
    service = MetNorway(settings(stand_in, contact=""), http)
    assert "needs a contact" in service.lacks()
    with pytest.raises(ServiceError, match="set `contact`"):
        service.fetch(HERE, FORTNIGHT, TODAY)
    assert not stand_in.asked


def test_met_norway_refuses_a_nameless_caller(stand_in: StandIn):
    with (
        Http(settings(stand_in, contact="").http) as nameless,
        pytest.raises(ServiceError, match=r"refused the request \(403\)"),
    ):
        MetNorway(settings(stand_in), nameless).fetch(HERE, FORTNIGHT, TODAY)


def test_a_deprecated_address_is_used_and_said(stand_in: StandIn, http: Http):
    stand_in.status["met"] = 203
    answer = MetNorway(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)
    assert any("address will go away" in note for note in answer.notes)


def test_the_compact_shape_stops_where_extremes_are_missing(shared: Path):
    steps = read_steps((shared / "data" / "weather_examples" / "metno_compact.json").read_bytes())
    weather, rough = forecast_days(steps, HERE)
    assert weather is not None and weather.first_day == date(2026, 4, 11)
    assert rough > 0 and len(weather) + rough >= 8
    zone = ZoneInfo("Europe/Berlin")
    inside = [
        air
        for moment, air in zip(steps.moments, steps.air, strict=True)
        if datetime.fromtimestamp(int(moment), zone).date() == date(2026, 4, 11)
    ]
    assert (len(inside), min(inside), max(inside)) == (24, weather.tmin[0], weather.tmax[0])


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("tenfold", "no air"),
        ("doubled", "twice or out of order"),
        ("broken", "JSON breaks off"),
        ("empty", "empty answer"),
        ("500", "500"),
    ],
)
def test_met_norway_misbehaving(stand_in: StandIn, http: Http, kind: str, words: str):
    stand_in.fault("/weatherapi", kind)
    with pytest.raises(ServiceError, match=words):
        MetNorway(settings(stand_in), http).fetch(HERE, FORTNIGHT, TODAY)


# --- hours to days -----------------------------------------------------------------------------------------


def test_a_day_with_too_few_hours_is_unknown():
    hours = np.arange(0, 3 * 86400, 3600)
    air = np.sin(hours / 13000) * 8 + 12
    air[24:27] = np.nan
    made = days_from_hours(hours, air, "UTC", "model")
    assert made.weather is not None and made.partial == 1
    assert made.weather.known.tolist() == [True, False, True]
    assert made.weather.tmax[0] == air[:24].max()


def test_hours_out_of_order_are_refused():
    with pytest.raises(WeatherError, match="not in order at 1970-01-01 01:00 UTC"):
        days_from_hours([3600, 3600], [1.0, 2.0], "UTC", "model")
    with pytest.raises(InputError, match="no time zone 'Mars/Olympus'"):
        days_from_hours([0], [1.0], "Mars/Olympus", "model")


def test_a_zone_may_skip_a_day():
    """Apia went from 29 to 31 December 2011 overnight, moving across the date line."""
    start = int(datetime(2011, 12, 28, tzinfo=ZoneInfo("Pacific/Apia")).timestamp())
    made = days_from_hours(start + np.arange(72) * 3600, np.arange(72.0), "Pacific/Apia", "model")
    assert made.weather is not None
    assert made.weather.known.tolist() == [True, True, False, True]
    assert made.weather.tmin[[0, 1, 3]].tolist() == [0, 24, 48]


def test_settings_of_a_garden(tmp_path: Path):
    changed = WeatherSettings.from_table(
        {"stations": 2, "cache_folder": str(tmp_path), "addresses": {"meteostat": "http://127.0.0.1:1/"}}
    )
    assert (changed.stations, changed.address("meteostat")) == (2, "http://127.0.0.1:1")
    with pytest.raises(InputError, match="no weather setting 'statoins'"):
        WeatherSettings.from_table({"statoins": 2})
    with pytest.raises(InputError, match="'years' must be a number"):
        WeatherSettings.from_table({"years": "many"})


def test_the_stand_in_speaks_as_documented(stand_in: StandIn, shared: Path):
    """The published shape of an error body is what the stand-in sends for a day to come."""
    import requests

    asked = {"start_date": "2026-06-01", "end_date": "2026-07-01", "latitude": "50", "longitude": "8"}
    said = requests.get(f"{stand_in.base}/v1/archive", params=asked, timeout=5)
    example = json.loads((shared / "data" / "weather_examples" / "openmeteo_error.json").read_text())
    assert said.status_code == 400 and said.json().keys() == example.keys()


def test_a_real_year_of_hours_gives_its_days():
    """Hourly temperatures of Seattle, 2010 (vega_datasets, `seattle_temps`), against a plain grouping."""
    data = pytest.importorskip("vega_datasets", reason="needs the public data sets of vega_datasets").data
    hours = data.seattle_temps().drop_duplicates("date").set_index("date")["temp"]
    moments = (hours.index - np.datetime64("1970-01-01")) // np.timedelta64(1, "s")
    celsius_hours = (hours.to_numpy(dtype=float) - 32) / 1.8
    made = days_from_hours(np.asarray(moments, dtype=np.int64), celsius_hours, "UTC", "model")
    by_day = hours.groupby(hours.index.date)
    whole = by_day.count() >= 22
    assert made.weather is not None and made.weather.known.sum() == whole.sum() >= 360
    at = [made.weather.index(day) for day in whole.index[whole]]
    np.testing.assert_allclose(made.weather.tmax[at], (by_day.max()[whole] - 32) / 1.8)
    np.testing.assert_allclose(made.weather.tmin[at], (by_day.min()[whole] - 32) / 1.8)
