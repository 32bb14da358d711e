"""What services of measuring stations have in common: who is near, what to say, how to answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.services.answer_checks import refuse_impossible
from data_sources.weather.services.protocol import (
    Answer,
    Round,
    ServiceError,
    Spot,
    Station,
    StationDays,
)
from data_sources.weather.services.settings import WeatherSettings
from data_sources.weather.services.station_blend import blend_stations
from data_sources.weather.store.records import Origin
from phenology.weather.quality import doubtful_days, shifted_days, without_crossed_days
from phenology.weather.series import DailyWeather

FIRST_YEARS = 3  # of the nearest station: enough for a first forecast


def choose(stations: Sequence[Station], spot: Spot, settings: WeatherSettings) -> list[Station]:
    """The stations to use, nearest first: those that are set, else the nearest with a known height.

    Raises
    ------
    ServiceError
        If there is none.
    """
    if settings.station_ids:
        by_id = {s.id: s for s in stations}
        absent = [wanted for wanted in settings.station_ids if wanted not in by_id]
        if absent:
            raise ServiceError("absent", f"knows no station {' or '.join(absent)}")
        return sorted((by_id[w] for w in settings.station_ids), key=lambda s: s.distance_km)
    near = [s for s in stations if s.distance_km <= settings.radius_km]
    with_height = [s for s in near if s.elevation is not None or spot.elevation is None]
    if not with_height:
        raise ServiceError("absent", f"has no station within {settings.radius_km:.0f} km")
    return sorted(with_height, key=lambda s: s.distance_km)[: settings.stations]


def first_rounds(rounds: list[Round], last: date) -> list[Round]:
    """The rounds of a station service: the nearest station's recent years before all."""
    recent = Round(max(date(last.year - FIRST_YEARS + 1, 1, 1), rounds[-1].first), last, stations=1)
    return [recent, *rounds]


def station_days(
    station: Station,
    days: Sequence[date],
    tmin: Sequence[float],
    tmax: Sequence[float],
    source: Sequence[str],
) -> tuple[StationDays, list[str]]:
    """One station's days, looked over; and what was left out.

    Raises
    ------
    ServiceError
        If the values as a whole are no air, or a day comes twice.
    """
    at = np.array([day.toordinal() for day in days], dtype=np.int64)
    order = np.argsort(at, kind="stable")
    at = at[order]
    low, high = np.asarray(tmin, dtype=float)[order], np.asarray(tmax, dtype=float)[order]
    names = np.asarray(source, dtype="U8")[order]
    if (np.diff(at) == 0).any():
        again = date.fromordinal(int(at[np.flatnonzero(np.diff(at) == 0)[0]]))
        raise ServiceError("damaged", f"sent {again} twice for station {station.id}")
    refuse_impossible(low, high)
    span = int(at[-1] - at[0]) + 1
    wide_low, wide_high, wide_names = np.full(span, np.nan), np.full(span, np.nan), np.full(span, "station")
    wide_low[at - at[0]], wide_high[at - at[0]], wide_names[at - at[0]] = low, high, names
    weather, crossed = without_crossed_days(date.fromordinal(int(at[0])), wide_low, wide_high, wide_names)
    notes = [f"{station.id}: {len(crossed)} days with tmin above tmax left out"] if crossed else []
    return StationDays(station, weather, doubtful_days(weather)), notes


def blended_answer(
    provider: str,
    attribution: str,
    stations: Sequence[StationDays],
    spot: Spot,
    part: Round,
    fetched_at: datetime,
    *,
    notes: Sequence[str] = (),
    held: frozenset[int] = frozenset(),
    asked: int = 1,
    received: int = 1,
    stale_because: str = "",
) -> Answer:
    """The answer of a station service: its stations brought to the spot.

    Raises
    ------
    ServiceError
        If there is nothing to blend.
    """
    if not stations:
        raise ServiceError("absent", "has no day of that time")
    stations, shifts = judged_by_each_other(stations)
    blend = blend_stations(stations, spot, part.first, part.last)
    weather = trimmed(blend.weather)
    if weather is None:
        raise ServiceError("absent", "has no day of that time")
    words = [*notes, *shifts]
    if blend.crossed:
        words.append(f"{blend.crossed} days left unknown: the stations do not agree on them")
    return Answer(
        Origin(provider, ", ".join(blend.used), attribution),
        fetched_at,
        days=weather,
        suspect=blend.suspect,
        notes=tuple(words),
        held=held,
        asked=asked,
        received=received,
        stale_because=stale_because,
    )


def judged_by_each_other(stations: Sequence[StationDays]) -> tuple[list[StationDays], list[str]]:
    """Stations with the days marked on which one disagrees with the others, and what seems misdated.

    Of two that disagree nobody can tell which is right, so it takes three: each is held against the median
    of the others. A steady difference (height, town) is no disagreement.
    """
    if len(stations) < 3:
        return list(stations), []
    first = min(s.weather.first_day for s in stations)
    last = max(s.weather.last_day for s in stations)
    wide = [s.weather.spanning(first, last) for s in stations]
    judged, notes = [], []
    for n, one in enumerate(stations):
        others = [w for m, w in enumerate(wide) if m != n]
        low, high = (_median([getattr(w, name) for w in others]) for name in ("tmin", "tmax"))
        middle, _ = without_crossed_days(first, low, high, "station")
        judged.append(
            StationDays(one.station, one.weather, {**doubtful_days(one.weather, middle), **one.doubts})
        )
        notes += [f"{one.station.id}: {shift}" for shift in shifted_days(one.weather, middle)]
    return judged, notes


def _median(columns: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Day by day the median of what is known; NaN where fewer than two are."""
    table = np.sort(np.stack(columns), axis=0)  # unknown last
    known = (~np.isnan(table)).sum(axis=0)
    day = np.arange(table.shape[1])
    at = np.maximum(known - 1, 0)
    out = (table[at // 2, day] + table[(at + 1) // 2, day]) / 2
    return np.where(known >= 2, out, np.nan)


def trimmed(weather: DailyWeather) -> DailyWeather | None:
    """The series without unknown days at its ends; None when every day is unknown."""
    some = np.flatnonzero(weather.source != "")
    if not len(some):
        return None
    first = weather.first_day.toordinal()
    return weather.between(date.fromordinal(first + int(some[0])), date.fromordinal(first + int(some[-1])))


def in_words(failed: Mapping[str, Sequence[int]]) -> str:
    """Station-years in a line.

    Examples
    --------
    >>> in_words({"10637": [2003, 2004, 2005, 2009], "10635": [2010]})
    '10637: 2003-2005, 2009; 10635: 2010'
    """
    parts = []
    for station, years in failed.items():
        runs: list[list[int]] = []
        for year in sorted(years):
            if runs and runs[-1][1] == year - 1:
                runs[-1][1] = year
            else:
                runs.append([year, year])
        parts.append(f"{station}: " + ", ".join(f"{a}-{b}" if b > a else str(a) for a, b in runs))
    return "; ".join(parts)
