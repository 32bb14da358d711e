"""A garden read from its folder: journal, settings and weather, as the forecast wants them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from data_sources.garden import GardenSettings, calendar_of, open_journal, read_settings
from data_sources.weather.outlooks import read_outlook
from data_sources.weather.place_correction import corrected, load_corrections
from data_sources.weather.store.weather_store import WeatherStore
from phenology.garden import Garden
from phenology.model.errors import InputError, WeatherError
from phenology.model.limits import Limits
from phenology.species.catalogue import load_species
from phenology.weather.outlook import Outlook
from phenology.weather.series import DailyWeather


def read_garden(folder: Path, as_of: date, *, past: bool = False) -> tuple[Garden, GardenSettings]:
    """The garden as known on a date, with its settings.

    Parameters
    ----------
    folder : Path
    as_of : date
    past : bool
        Whether the date was asked for (`--as-of`): records and weather dated after it are then left out.

    Raises
    ------
    StoreError, InputError
        If there is no garden there, or its files cannot be read.
    """
    settings = read_settings(folder)
    with open_journal(folder) as journal, journal.snapshot():
        places = journal.places()
        if not places:
            raise InputError("the garden has no place yet; add one with `flushcast place add`")
        told = _read_store(folder, [p.id for p in places], as_of if past else None)
        garden = Garden(
            as_of,
            calendar_of(settings, places),
            places,
            journal.trees(),
            journal.stands(),
            journal.aims(),
            journal.flushes(),
            journal.looks(),
            journal.works(),
            load_species(settings.species),
            told.weather,
            limits_of(settings),
            outlooks=told.outlooks,
            attribution=tuple(dict.fromkeys(told.attribution)),
        )
    if past:  # the weather is as known then already: the forecast of that day goes on after it
        garden = replace(garden.up_to(as_of), weather=told.weather)
    return garden, settings


def limits_of(settings: GardenSettings) -> Limits:
    """What the garden asks of late work."""
    return Limits(
        odds=settings.odds,
        weeks_before_frost=settings.weeks_before_frost,
        least_daylength=settings.least_daylength,
        hot_day_c=settings.hot_day,
        away=settings.away,
    )


def read_weather(folder: Path, places: list[str], as_of: date | None) -> dict[str, DailyWeather]:
    """The weather of each place that has any, brought to its bench where own readings tell how it differs.

    See `WeatherStore.read` for what `as_of` leaves out.
    """
    return _read_store(folder, places, as_of).weather


@dataclass
class _Told:
    """What the store tells of a garden's places."""

    weather: dict[str, DailyWeather] = field(default_factory=dict)
    outlooks: dict[str, Outlook] = field(default_factory=dict)
    attribution: list[str] = field(default_factory=list)


def _read_store(folder: Path, places: list[str], as_of: date | None) -> _Told:
    told = _Told()
    try:
        store = WeatherStore.open(folder)
    except WeatherError:
        return told
    with store:
        corrections = load_corrections(folder)
        for place in places:
            if store.has(place):
                fits = corrections.get(place, {})
                if as_of is not None:  # what was learned from later readings was not known then
                    fits = {source: fit for source, fit in fits.items() if fit.last_day <= as_of}
                told.weather[place] = corrected(store.read(place, as_of=as_of), fits)
                outlook = read_outlook(store, place, told.weather[place], fits, as_of)
                if outlook is not None:
                    told.outlooks[place] = outlook
                told.attribution += store.attribution_lines(place)
    return told
