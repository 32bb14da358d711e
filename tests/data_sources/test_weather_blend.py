"""Several stations to one place: against the station library's own interpolation, and by hand."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.gazetteer import distance
from data_sources.weather.services.protocol.service import Spot
from data_sources.weather.services.stations.blend import Station, StationDays, blend_stations, blend_values
from phenology.model.errors import WeatherError
from phenology.weather.series import DailyWeather
from tests.data_sources.invented_services import STATIONS
from tests.data_sources.stand_in import StandIn

FIRST, LAST = date(2025, 11, 20), date(2026, 1, 15)
DAYS = (LAST - FIRST).days + 1


def station(
    key: str,
    latitude: float,
    longitude: float,
    elevation: float | None,
    spot: Spot,
    seed: int,
    holes: int = 0,
) -> StationDays:
    """A station with weather of its own, and some days unknown."""
    random = np.random.default_rng(seed)
    low = np.round(random.normal(2, 4, DAYS), 1)
    high = np.round(low + random.uniform(2, 12, DAYS), 1)
    gone = random.choice(DAYS, holes, replace=False)
    low[gone] = np.nan
    high[gone[: holes // 2]] = np.nan
    away = distance(spot.latitude, spot.longitude, np.array([latitude]), np.array([longitude]))[0] / 1000
    where = Station(key, key, elevation, float(away))
    return StationDays(where, DailyWeather(FIRST, low, high, "station"))


def by_the_library(
    stations: list[StationDays], places: list[tuple], spot: Spot, folder: Path
) -> dict[str, np.ndarray]:
    """What `meteostat.interpolate` makes of the same values, read from files of its own shape."""
    import meteostat as ms
    import meteostat.providers.meteostat.daily as provider

    for one in stations:
        days = one.weather.to_frame()
        rows = pd.DataFrame(
            {part: getattr(days.index, part) for part in ("year", "month", "day")}, days.index
        )
        for name in ("tmin", "tmax"):
            rows[name], rows[f"{name}_source"] = (
                days[name],
                days[name].map(lambda v: "zz", na_action="ignore"),
            )
        for year, part in rows.groupby("year"):
            (folder / str(year)).mkdir(exist_ok=True)
            part.to_csv(folder / str(year) / f"{one.station.id}.csv.gz", index=False)
    ms.config.cache_enable = False
    provider.ENDPOINT = f"{folder.as_posix()}/{{year}}/{{station}}.csv.gz"
    known = [
        ms.Station(id=k, latitude=lat, longitude=lon, elevation=height) for k, lat, lon, height in places
    ]
    series = ms.daily(known, FIRST, LAST, parameters=[ms.Parameter.TMIN, ms.Parameter.TMAX])
    height = None if spot.elevation is None else int(spot.elevation)
    frame = ms.interpolate(series, ms.Point(spot.latitude, spot.longitude, height), lapse_rate=6.5).fetch()
    at = [(stamp.date() - FIRST).days for stamp in frame.index]
    out = {name: np.full(DAYS, np.nan) for name in ("tmin", "tmax")}
    for name, values in out.items():
        values[at] = frame[name].to_numpy(dtype=float, na_value=np.nan)
    return out


CASES = {
    "four around, one high": (
        Spot(50.11, 8.62, 118, "Europe/Berlin"),
        [("a", 50.12, 8.70, 112), ("b", 50.02, 8.45, 95), ("c", 50.22, 8.45, 480), ("d", 50.05, 8.98, 140)],
    ),
    "all of about one height": (
        Spot(50.11, 8.62, 118, "Europe/Berlin"),
        [("a", 50.20, 8.70, 130), ("b", 50.02, 8.45, 95), ("c", 50.30, 8.45, 150)],
    ),
    "one next door": (
        Spot(50.11, 8.62, 118, "Europe/Berlin"),
        [("a", 50.12, 8.63, 121), ("b", 50.02, 8.45, 95), ("c", 50.22, 8.45, 480)],
    ),
    "near, but far above": (
        Spot(46.5, 9.8, 3000, "Europe/Zurich"),
        [("a", 46.51, 9.81, 2500), ("b", 46.6, 9.9, 1700), ("c", 46.3, 9.7, 900)],
    ),
    "across the date line": (
        Spot(-16.8, 179.9, 10, "Pacific/Fiji"),
        [("a", -16.7, -179.95, 12), ("b", -16.9, 179.6, 40)],
    ),
    "above the polar circle": (
        Spot(69.65, 18.95, 100, "Europe/Oslo"),
        [("a", 69.68, 18.91, 8), ("b", 69.5, 19.2, 300)],
    ),
}


@pytest.mark.parametrize("holes", [0, 12])
@pytest.mark.parametrize("name", CASES)
def test_it_is_the_library_s_interpolation_without_its_loop(name: str, holes: int, tmp_path: Path):
    """Reference: meteostat 2.1.5, `interpolate` with its defaults."""
    spot, where = CASES[name]
    stations = [station(*args, spot, seed, holes) for seed, args in enumerate(where)]  # type: ignore[misc]
    ours = blend_stations(stations, spot, FIRST, LAST)
    theirs = by_the_library(stations, where, spot, tmp_path)
    crossed = theirs["tmin"] > theirs["tmax"]  # the library passes them on, we leave them unknown
    assert crossed.sum() == ours.crossed
    for variable, b in theirs.items():
        a, b = getattr(ours.weather, variable)[~crossed], b[~crossed]
        np.testing.assert_array_equal(np.isnan(a), np.isnan(b))
        np.testing.assert_allclose(a, b, atol=0.1001)  # where it lies between two tenths, either is right
        assert np.nanmean(np.abs(a - b)) < 0.005


def test_two_stations_by_hand():
    """Twice as far is a quarter of the weight; both 100 m below the spot, so 0.65 °C cooler there."""
    values = np.array([[10.0], [20.0]])
    blended = blend_values(values, np.array([6000.0, 12000.0]), np.array([0.0, 0.0]), None)
    assert blended[0] == 12.0
    w = np.array([1 / (6000**2 + 1000**2), 1 / (12000**2 + 1000**2)])
    by_hand = (w @ (np.array([10.0, 20.0]) - 0.65).round(1)) / w.sum()
    blended = blend_values(values, np.array([6000.0, 12000.0]), np.array([0.0, 0.0]), 100.0)
    assert blended[0] == pytest.approx(by_hand, abs=0.051)


@settings(max_examples=40)
@given(
    st.lists(st.floats(-40, 45), min_size=2, max_size=5),
    st.lists(st.floats(100, 90_000), min_size=5, max_size=5),
)
def test_a_blend_at_one_height_lies_between_its_stations(values: list[float], away: list[float]):
    n = len(values)
    column = np.round(np.array(values), 1)[:, None]
    blended = blend_values(column, np.array(away[:n]), np.zeros(n), 0.0)
    assert column.min() - 0.051 <= blended[0] <= column.max() + 0.051


def test_a_station_without_height_is_left_out_and_all_without_is_an_error():
    spot = Spot(50.11, 8.62, 118, "Europe/Berlin")
    low, none = station("a", 50.2, 8.7, 130, spot, 1), station("b", 50.1, 8.6, None, spot, 2)
    blend = blend_stations([low, none], spot, FIRST, LAST)
    assert blend.used == ("a",)
    np.testing.assert_array_equal(blend.weather.tmin, low.weather.tmin)
    with pytest.raises(WeatherError, match="no station near has a known height"):
        blend_stations([none], spot, FIRST, LAST)
    flat = Spot(50.11, 8.62, None, "Europe/Berlin")
    assert blend_stations([low, none], flat, FIRST, LAST).used == ("b", "a")


def test_doubt_is_passed_over_while_another_station_has_the_day():
    spot = Spot(50.11, 8.62, 118, "Europe/Berlin")
    one, two = station("a", 50.2, 8.7, 130, spot, 1), station("b", 50.0, 8.5, 120, spot, 2)
    day = FIRST + timedelta(days=4)
    doubtful = StationDays(one.station, one.weather, {day: "stuck"})
    together = blend_stations([doubtful, two], spot, FIRST, LAST)
    assert together.weather.tmax[4] == two.weather.tmax[4] and not together.suspect
    alone = blend_stations([doubtful], spot, FIRST, LAST)
    assert alone.weather.tmax[4] == one.weather.tmax[4] and alone.suspect == {day: "stuck"}


def test_a_measured_day_is_not_mixed_with_a_modelled_one():
    spot = Spot(50.11, 8.62, 118, "Europe/Berlin")
    one, two = station("a", 50.2, 8.7, 130, spot, 1), station("b", 50.0, 8.5, 120, spot, 2)
    names = np.where(np.arange(DAYS) < 50, "station", "model")
    tail = DailyWeather(FIRST, one.weather.tmin, one.weather.tmax, names)
    blend = blend_stations([StationDays(one.station, tail), two], spot, FIRST, LAST)
    assert set(blend.weather.source) == {"station"}
    np.testing.assert_array_equal(blend.weather.tmin[50:], two.weather.tmin[50:])


def test_distance_across_the_date_line_and_over_the_pole():
    assert distance(0, 179.9, np.array([0.0]), np.array([-179.9]))[0] == pytest.approx(22_239, rel=1e-4)
    assert distance(89.9, 0, np.array([89.9]), np.array([180.0]))[0] == pytest.approx(22_239, rel=1e-4)


def test_the_stand_in_s_world_is_the_same_after_the_blend(stand_in: StandIn):
    spot = Spot(50.11, 8.62, 300, "Europe/Berlin")
    stations = []
    for s in STATIONS[:4]:
        low, high = stand_in.world.days(FIRST, LAST, s.elevation)
        away = distance(50.11, 8.62, np.array([s.latitude]), np.array([s.longitude]))[0] / 1000
        where = Station(s.id, s.name, s.elevation, float(away))
        stations.append(StationDays(where, DailyWeather(FIRST, low, high, "station")))
    low, high = stand_in.world.days(FIRST, LAST, 300)
    blend = blend_stations(stations, spot, FIRST, LAST)
    np.testing.assert_allclose(blend.weather.tmin, low, atol=0.15)
    np.testing.assert_allclose(blend.weather.tmax, high, atol=0.15)
