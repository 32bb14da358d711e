"""The weather of a garden's places, as its benches have it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from data_sources.weather.outlooks import read_outlook
from data_sources.weather.place_correction import corrected, load_corrections
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import WeatherError
from phenology.weather.outlook import Outlook
from phenology.weather.series import DailyWeather


@dataclass
class PlaceWeather:
    """What the store has of a garden's places, by their ids, and whom it is owed to."""

    weather: dict[str, DailyWeather] = field(default_factory=dict)
    outlooks: dict[str, Outlook] = field(default_factory=dict)
    attribution: list[str] = field(default_factory=list)


def read_place_weather(folder: Path, places: list[str], as_of: date | None) -> PlaceWeather:
    """The weather of each place that has any, brought to its bench where own readings tell how it differs.

    See `WeatherStore.read` for what `as_of` leaves out.
    """
    known = PlaceWeather()
    try:
        store = WeatherStore.open(folder)
    except WeatherError:
        return known
    with store:
        corrections = load_corrections(folder)
        for place in places:
            if store.has(place):
                fits = corrections.get(place, {})
                if as_of is not None:  # what was learned from later readings was not known then
                    fits = {source: fit for source, fit in fits.items() if fit.last_day <= as_of}
                known.weather[place] = corrected(store.read(place, as_of=as_of), fits)
                outlook = read_outlook(store, place, known.weather[place], fits, as_of)
                if outlook is not None:
                    known.outlooks[place] = outlook
                known.attribution += store.attribution_lines(place)
    return known
