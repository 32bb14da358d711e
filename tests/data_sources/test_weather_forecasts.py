"""Forecast and archive services against the stand-in: the world they show is the world it has."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from data_sources.weather.services.forecasts.met_norway import MetNorway, forecast_days, read_steps
from data_sources.weather.services.forecasts.open_meteo import (
    OpenMeteoArchive,
    OpenMeteoEnsemble,
    OpenMeteoForecast,
)
from data_sources.weather.services.protocol.checks import days_from_hours, instants
from data_sources.weather.services.protocol.service import FetchSpan, Service, ServiceAnswer, Spot
from data_sources.weather.services.registry import SERVICES
from data_sources.weather.services.transport.faults import ServiceError
from data_sources.weather.services.transport.settings import NAMES, WeatherSettings
from phenology.model.errors import InputError
from phenology.weather.revisions import unlikely_days
from phenology.weather.series import DailyWeather
from tests.data_sources.stand_in import StandIn

TODAY = date(2026, 6, 14)
HERE = Spot(50.11, 8.62, 118.0, "Europe/Berlin")
FORTNIGHT = FetchSpan(TODAY - timedelta(days=10), TODAY + timedelta(days=15))


def fetch(
    stand_in: StandIn,
    service: type[Service],
    spot: Spot = HERE,
    part: FetchSpan = FORTNIGHT,
    today: date = TODAY,
) -> ServiceAnswer:
    with stand_in.http() as http:
        return service(http.settings, http).fetch(spot, part, today)


def forecast(stand_in: StandIn, spot: Spot = HERE, part: FetchSpan = FORTNIGHT) -> DailyWeather:
    days = fetch(stand_in, OpenMeteoForecast, spot, part).forecast
    assert days is not None
    return days


def archive(stand_in: StandIn, spot: Spot, part: FetchSpan, today: date = TODAY) -> DailyWeather:
    days = fetch(stand_in, OpenMeteoArchive, spot, part, today).days
    assert days is not None
    return days


def is_true(
    stand_in: StandIn, days: DailyWeather, spot: Spot, step: int = 3600, low: float = 0, high: float = 0
):
    """The days are the world's: every hour of every local day looked at by itself, the slow way."""
    zone = ZoneInfo(spot.timezone)
    extremes = []
    for n in range(len(days)):
        day = days.first_day + timedelta(days=n)
        start, stop = (
            datetime(d.year, d.month, d.day, tzinfo=zone).timestamp() for d in (day, day + timedelta(days=1))
        )
        hours = np.arange(-(-int(start) // step) * step, int(stop), step)
        air = stand_in.world.hours(hours, spot.longitude, spot.elevation)
        extremes.append((air.min(), air.max()))
    np.testing.assert_allclose(days.tmin, [a for a, _ in extremes], atol=low)
    np.testing.assert_allclose(days.tmax, [b for _, b in extremes], atol=high)


# --- Open-Meteo --------------------------------------------------------------------------------------------


def test_the_forecast_begins_today_and_the_days_before_are_the_model_s(stand_in: StandIn):
    answer = fetch(stand_in, OpenMeteoForecast)
    assert answer.days is not None and answer.forecast is not None
    assert (answer.days.first_day, answer.days.last_day) == (TODAY - timedelta(days=10), date(2026, 6, 13))
    assert (answer.forecast.first_day, answer.forecast.last_day) == (TODAY, date(2026, 6, 29))
    assert set(answer.days.source) == {"model"}
    for part in (answer.days, answer.forecast):
        is_true(stand_in, part, HERE)


def test_what_is_asked(stand_in: StandIn):
    fetch(stand_in, OpenMeteoForecast, Spot(50.1109221, 8.6821267, 117.6, "Europe/Berlin"))
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
    stand_in: StandIn, zone: str, latitude: float, longitude: float, day: date, hours: float
):
    stand_in.today, stand_in.world.latitude = day + timedelta(days=9), latitude
    spot = Spot(latitude, longitude, 20.0, zone)
    start, stop = (
        datetime(d.year, d.month, d.day, tzinfo=ZoneInfo(zone)).timestamp()
        for d in (day, day + timedelta(days=1))
    )
    assert (stop - start) / 3600 == hours
    span = FetchSpan(day - timedelta(days=2), day + timedelta(days=2))
    days = archive(stand_in, spot, span, stand_in.today)
    assert (days.first_day, days.last_day) == (span.first, span.last)
    is_true(stand_in, days, spot)


def test_at_the_date_line_today_is_the_spot_s(stand_in: StandIn):
    spot = Spot(-16.8, 179.9, 10.0, "Pacific/Fiji")
    late = datetime(2026, 6, 13, 15, 0, tzinfo=ZoneInfo("UTC"))
    today = spot.today(late)
    assert today == date(2026, 6, 14)
    stand_in.today, stand_in.world.latitude = late.date(), -16.8
    part = FetchSpan(today - timedelta(days=5), today + timedelta(days=9))
    answer = fetch(stand_in, OpenMeteoForecast, spot, part, today)
    assert answer.days is not None and answer.forecast is not None
    assert (answer.days.last_day, answer.forecast.first_day) == (date(2026, 6, 13), today)
    is_true(stand_in, answer.forecast, spot)


def test_a_key_is_not_sent_to_the_free_address(stand_in: StandIn):
    with stand_in.http(stand_in.settings(api_key="secret")) as http:
        service = OpenMeteoForecast(http.settings, http)
        assert service.lacks() == ""  # its address is set
        free = OpenMeteoForecast(replace(http.settings, addresses={}), http)
        assert "needs the address of your paid service: set open-meteo-forecast" in free.lacks()


def test_height_is_the_service_s_business(stand_in: StandIn):
    up, down = forecast(stand_in, Spot(50.11, 8.62, 3000.0, "Europe/Berlin")), forecast(stand_in)
    assert [a.query["elevation"] for a in stand_in.asked] == ["3000", "118"]
    np.testing.assert_allclose(down.tmax - up.tmax, 2.882 * 6.5, atol=0.2)


def test_the_archive_asks_one_model_and_knows_its_delay(stand_in: StandIn):
    with stand_in.http() as http:
        rounds = OpenMeteoArchive(http.settings, http).rounds(date(1996, 6, 14), TODAY - timedelta(days=1))
    assert [(r.first.year, r.last.year) for r in rounds][:2] == [(2025, 2026), (2020, 2024)]
    assert len(rounds) == 7
    answer = fetch(stand_in, OpenMeteoArchive, part=rounds[0])
    assert answer.days is not None and answer.days.last_day == date(2026, 6, 8)  # the newest five are null
    assert stand_in.asked[0].query["models"] == "era5_seamless"
    assert "Copernicus Climate Change Service information 2026" in answer.origin.attribution
    with pytest.raises(ServiceError, match="nothing so new"):
        archive(stand_in, HERE, FetchSpan(TODAY, TODAY))


def test_an_ensemble_gives_members_from_today_on(stand_in: StandIn):
    answer = fetch(stand_in, OpenMeteoEnsemble)
    assert answer.forecast is not None and len(answer.members) == 3
    assert {m.first_day for m in answer.members} == {TODAY}
    assert {m.last_day for m in answer.members} == {answer.forecast.last_day}
    spread = np.ptp([m.tmax for m in answer.members], axis=0)
    assert spread[-1] > spread[0] + 1


def test_fahrenheit_is_read_from_the_units_not_guessed(stand_in: StandIn):
    plain = forecast(stand_in)
    stand_in.fault("/v1/forecast", "fahrenheit")
    np.testing.assert_allclose(forecast(stand_in).tmax, (plain.tmax - 32) / 1.8)


def test_nulls_are_days_unknown_never_filled(stand_in: StandIn):
    span = FetchSpan(date(2026, 3, 1), date(2026, 3, 31))
    whole = archive(stand_in, HERE, span)
    stand_in.fault("/v1/archive", "nulls_inside")
    holed = archive(stand_in, HERE, span)
    assert len(holed) == 31 and holed.coverage().missing in (2, 3)
    np.testing.assert_array_equal(holed.tmax[holed.known], whole.tmax[holed.known])


def test_one_wild_value_is_marked_in_the_past_and_left_out_of_the_forecast(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "hot")
    answer = fetch(stand_in, OpenMeteoForecast)
    assert answer.days is not None
    ((day, why),) = unlikely_days(answer.days, None, None).items()  # as an update judges it
    assert "72 °C: such heat was never measured" in why and day < TODAY

    ahead = fetch(stand_in, OpenMeteoForecast, part=FetchSpan(TODAY, TODAY + timedelta(days=9)))
    assert ahead.forecast is not None and ahead.forecast.tmax[ahead.forecast.known].max() < 50
    assert "left out of the forecast: tmax 72 °C" in ahead.notes[0]


MISBEHAVING = [
    (OpenMeteoForecast, "tenfold", "temperatures that are no air .*tenths of a degree"),
    (OpenMeteoForecast, "doubled", "hours twice or out of order"),
    (OpenMeteoForecast, "list", "another shape"),
    (OpenMeteoForecast, "html", "a web page instead of data"),
    (OpenMeteoForecast, "404", r"nothing there \(404\)"),
    (MetNorway, "tenfold", "no air"),
    (MetNorway, "doubled", "twice or out of order"),
    (MetNorway, "broken", "JSON breaks off"),
    (MetNorway, "empty", "empty answer"),
    (MetNorway, "500", "500"),
]


@pytest.mark.parametrize(("service", "kind", "words"), MISBEHAVING)
def test_an_answer_that_cannot_be_is_refused(
    stand_in: StandIn, service: type[Service], kind: str, words: str
):
    stand_in.fault("", kind)
    with pytest.raises(ServiceError, match=words):
        fetch(stand_in, service)


def test_the_documented_error_reaches_the_grower(stand_in: StandIn, shared: Path):
    body = (shared / "data" / "weather_examples" / "openmeteo_error.json").read_bytes()
    stand_in.fault("/v1/archive", "400", body=body)
    with pytest.raises(
        ServiceError, match="'end_date' is out of allowed range from 1940-01-01 to 2026-04-10"
    ):
        archive(stand_in, HERE, FetchSpan(TODAY, TODAY), TODAY + timedelta(days=9))


# --- MET Norway --------------------------------------------------------------------------------------------


def test_met_norway_gives_whole_local_days(stand_in: StandIn):
    answer = fetch(stand_in, MetNorway)
    weather = answer.forecast
    assert weather is not None and answer.days is None
    assert weather.first_day == TODAY + timedelta(days=1)  # today is half over
    assert len(weather) >= 7 and weather.known.all()
    is_true(stand_in, weather.between(TODAY, TODAY + timedelta(days=2)), HERE)
    # Six-hour blocks know the extremes; the night between two of them is seen in part.
    is_true(stand_in, weather, HERE, step=600, low=1.5, high=0.3)
    assert stand_in.asked[0].query == {"lat": "50.11", "lon": "8.62", "altitude": "118"}


def test_met_norway_is_not_called_without_a_contact(stand_in: StandIn):
    with stand_in.http(stand_in.settings(contact="")) as http:
        service = MetNorway(http.settings, http)
        assert "needs a contact" in service.lacks()
        with pytest.raises(ServiceError, match="set `contact`"):
            service.fetch(HERE, FORTNIGHT, TODAY)
    assert not stand_in.asked


def test_met_norway_refuses_a_nameless_caller(stand_in: StandIn):
    with (
        stand_in.http(stand_in.settings(contact="")) as nameless,
        pytest.raises(ServiceError, match=r"refused the request \(403\)"),
    ):
        MetNorway(stand_in.settings(), nameless).fetch(HERE, FORTNIGHT, TODAY)


def test_a_deprecated_address_is_used_and_said(stand_in: StandIn):
    stand_in.met_norway_status = 203
    assert any("address will go away" in note for note in fetch(stand_in, MetNorway).notes)


def test_the_compact_shape_stops_where_extremes_are_missing(shared: Path):
    steps = read_steps((shared / "data" / "weather_examples" / "metno_compact.json").read_bytes())
    days, rough = forecast_days(steps, "Europe/Berlin")
    assert days.index[0].date() == date(2026, 4, 11)
    assert rough > 0 and len(days) + rough >= 8
    local = pd.DatetimeIndex(steps.index).tz_convert("Europe/Berlin")
    air = steps["air"][local.date == date(2026, 4, 11)]
    assert (len(air), air.min(), air.max()) == (24, days["tmin"].iloc[0], days["tmax"].iloc[0])


# --- hours to days -----------------------------------------------------------------------------------------


def hourly(start: str, values: np.ndarray, zone: str = "UTC") -> pd.Series:
    return pd.Series(values, pd.date_range(start, periods=len(values), freq="h", tz=zone).tz_convert("UTC"))


def test_a_day_with_too_few_hours_is_unknown():
    air = hourly("2026-04-01", np.sin(np.arange(72) / 3.6) * 8 + 12)
    air.iloc[24:27] = np.nan
    days = days_from_hours(air, "UTC")
    assert days.notna().all(axis=1).tolist() == [True, False, True]
    assert days["tmax"].iloc[0] == air.iloc[:24].max()
    air.iloc[24] = 10.0  # with 22 of its hours a day is a day
    assert days_from_hours(air, "UTC").notna().all(axis=None)


def test_hours_out_of_order_are_refused():
    with pytest.raises(ServiceError, match="hours twice or out of order"):
        instants([3600, 3600])
    with pytest.raises(InputError, match="no time zone 'Mars/Olympus'"):
        Spot(0.0, 0.0, None, "Mars/Olympus")


def test_a_zone_may_skip_a_day():
    """Apia went from 29 to 31 December 2011 overnight, moving across the date line."""
    days = days_from_hours(hourly("2011-12-28", np.arange(72.0), "Pacific/Apia"), "Pacific/Apia")
    assert [day.day for day in days.index] == [28, 29, 31]
    assert days["tmin"].tolist() == [0, 24, 48]


def test_a_real_year_of_hours_gives_its_days():
    """Hourly temperatures of Seattle, 2010 (vega_datasets, `seattle_temps`), against a plain grouping."""
    data = pytest.importorskip("vega_datasets", reason="needs the public data sets of vega_datasets").data
    hours = (data.seattle_temps().drop_duplicates("date").set_index("date")["temp"] - 32) / 1.8
    days = days_from_hours(hours.tz_localize("UTC"), "UTC").dropna()
    by_day = hours.groupby(hours.index.date)
    whole = by_day.count() >= 22
    assert len(days) == whole.sum() >= 360
    np.testing.assert_allclose(days["tmax"], by_day.max()[whole])
    np.testing.assert_allclose(days["tmin"], by_day.min()[whole])


# --- settings ----------------------------------------------------------------------------------------------


def test_settings_of_a_garden(tmp_path: Path):
    changed = WeatherSettings.from_table(
        {"stations": 2, "cache_folder": str(tmp_path), "addresses": {"met-norway": "http://127.0.0.1:1/"}}
    )
    assert (changed.stations, changed.cache_folder) == (2, tmp_path)
    assert MetNorway.base(changed) == "http://127.0.0.1:1"
    with pytest.raises(InputError, match="no weather setting 'statoins'; did you mean stations"):
        WeatherSettings.from_table({"statoins": 2})
    with pytest.raises(
        InputError, match="no weather service to give an address 'ncei-dayly'; did you mean ncei-daily"
    ):
        WeatherSettings.from_table({"addresses": {"ncei-dayly": "https://mirror.example.org"}})
    for address in ("mirror.example.org", "ftp://mirror.example.org", "file:///etc/passwd", "http://[", ""):
        with pytest.raises(InputError, match="address of ncei-daily must begin with https://"):
            WeatherSettings.from_table({"addresses": {"ncei-daily": address}})
    assert set(SERVICES) == set(NAMES)
    for key, value, kind in [
        ("years", "many", "a number"),
        ("years", True, "a number"),
        ("sources", ["meteostat", 3], "a list of texts"),
        ("addresses", {"meteostat": 3}, "a table of texts"),
        ("cache_folder", 3, "a text"),
    ]:
        with pytest.raises(InputError, match=f"'{key}' must be {kind}"):
            WeatherSettings.from_table({key: value})


def test_the_stand_in_speaks_as_documented(stand_in: StandIn, shared: Path):
    """The published shape of an error body is what the stand-in sends for a day to come."""
    import requests

    asked = {"start_date": "2026-06-01", "end_date": "2026-07-01", "latitude": "50", "longitude": "8"}
    said = requests.get(f"{stand_in.base}/v1/archive", params=asked, timeout=60)
    example = json.loads((shared / "data" / "weather_examples" / "openmeteo_error.json").read_text())
    assert said.status_code == 400 and said.json().keys() == example.keys()
