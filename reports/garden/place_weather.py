"""What the store has of a garden's places, as their benches have it; own readings beside the station's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from data_sources.weather.place_correction import PlaceCorrection, corrected, load_corrections
from data_sources.weather.store.reading import WeatherReader
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Place
from phenology.weather.outlook import Outlook, measure_skill
from phenology.weather.series import DailyWeather

SKILL_DAYS = 365
"""How far back forecasts are judged: enough to measure all leads, and by services as they are now (ours)."""


def read_outlook(
    store: WeatherReader,
    place: str,
    weather: DailyWeather,
    corrections: Mapping[str, PlaceCorrection],
    as_of: date | None = None,
) -> Outlook | None:
    """What is known of a place's newest forecast; None where there was none within a year.

    Past forecasts are held against `weather`, the place's own, corrected. They and the members are brought to
    the bench alike, so that their error is told apart from the place's own difference.
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


@dataclass
class StoredWeather:
    """What the store has of a garden's places, by their ids, and whom it is owed to."""

    weather: dict[str, DailyWeather] = field(default_factory=dict)
    outlooks: dict[str, Outlook] = field(default_factory=dict)
    attribution: list[str] = field(default_factory=list)


def read_place_weather(folder: Path, places: list[str], as_of: date | None) -> StoredWeather:
    """The weather of each place that has any, brought to its bench where own readings tell how it differs.

    See `WeatherReader.read` for what `as_of` leaves out.
    """
    known = StoredWeather()
    try:
        store = WeatherReader.open(folder)
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


SOURCES = ("station", "model")  # the first that a place has is what its readings are held against


@dataclass(frozen=True, eq=False, repr=False)
class StationPair:
    """Own readings and the station's (or model's) for the same place."""

    place: str  # its name
    source: str
    own: DailyWeather
    other: DailyWeather
    learned: PlaceCorrection | None  # how they have been found to differ; None with too few days


def station_pair(folder: Path, place: Place, as_of: date | None = None) -> StationPair:
    """Read the pair of one place; with `as_of` what came after it is forgotten.

    Raises `WeatherError` if the garden has no weather; `InputError` if the place has no readings of its own,
    or nothing to hold them against.
    """
    with WeatherReader.open(folder) as store:
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
