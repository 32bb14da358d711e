"""The forecast of a place as kept in the store: when it was made, its measured skill, its ensemble."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

from data_sources.weather.place_correction import PlaceCorrection, corrected
from data_sources.weather.store.weather_store import WeatherStore
from phenology.weather.forecast_skill import measure_skill
from phenology.weather.outlook import Outlook
from phenology.weather.series import DailyWeather

SKILL_DAYS = 365
"""How far back forecasts are judged: enough to measure all leads, and by services as they are now (ours)."""


def read_outlook(
    store: WeatherStore,
    place: str,
    weather: DailyWeather,
    corrections: Mapping[str, PlaceCorrection],
    as_of: date | None = None,
) -> Outlook | None:
    """What is known of a place's newest forecast.

    Parameters
    ----------
    place : str
        Id of the place.
    weather : DailyWeather
        The place's weather, corrected: what past forecasts are held against.
    corrections : mapping
        As for `corrected`; past forecasts and members are brought to the bench alike, so that their error is
        told apart from the place's own difference.
    as_of : datetime.date, optional
        Only what was issued by then. Default: everything.

    Returns
    -------
    Outlook or None
        None where there was no forecast within a year.
    """
    since = (as_of or weather.last_day) - timedelta(days=SKILL_DAYS)
    past = store.past_forecasts(place, as_of=as_of, since=since)
    if not len(past.issued):
        return None
    low, high = past.tmin, past.tmax
    correction = corrections.get("model") or corrections.get("station")  # as `corrected` treats forecasts
    if correction is not None:
        low = low + correction.tmin.difference(past.day, low)
        high = high + correction.tmax.difference(past.day, high)
    skill = measure_skill(past.issued, past.day, low, high, weather)
    members = tuple(corrected(one, corrections) for one in store.members(place, as_of=as_of))
    return Outlook(date.fromordinal(int(past.issued.max())), skill, members)
