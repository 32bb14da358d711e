"""A place's own readings beside the station's, as the weather store has them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from data_sources.weather.place_correction import PlaceCorrection, load_corrections
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.weather.series import DailyWeather

SOURCES = ("station", "model")  # the first that a place has is what its readings are held against


@dataclass(frozen=True, eq=False)
class StationPair:
    """Own readings and the station's (or model's) for the same place."""

    place: str  # its name
    source: str
    own: DailyWeather
    other: DailyWeather
    learned: PlaceCorrection | None  # how they have been found to differ; None with too few days


def station_pair(folder: Path, place: Place, as_of: date | None = None) -> StationPair:
    """Read the pair of one place.

    Parameters
    ----------
    folder : Path
        The garden's.
    place : Place
    as_of : datetime.date, optional
        Forget what came after it.

    Raises
    ------
    WeatherError
        If the garden has no weather.
    InputError
        If the place has no readings of its own, or nothing to hold them against.
    """
    with WeatherStore.open(folder) as store:
        if not store.has(place.id):
            raise InputError(f"{place.name} has no weather yet; add some with `flushcast weather add FILE`")
        own = store.read_source(place.id, "bench", as_of=as_of)
        found = [(s, w) for s in SOURCES if (w := store.read_source(place.id, s, as_of=as_of)) is not None]
    if own is None:
        raise InputError(
            f"{place.name} has no readings of its own; add some with "
            "`flushcast weather add FILE --source bench`"
        )
    if not found:
        raise InputError(f"{place.name} has no station or model to hold its own readings against")
    source, other = found[0]
    learned = load_corrections(folder).get(place.id, {}).get(source)
    if learned is not None and as_of is not None and learned.last_day > as_of:
        learned = None
    return StationPair(place.name, source, own, other, learned)
