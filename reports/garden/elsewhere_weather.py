"""Where the weather of a place far away comes from: a file, or a place of the garden."""

from __future__ import annotations

from pathlib import Path

from data_sources.weather.files.reader import read_weather_file
from phenology.garden import Garden
from phenology.model.errors import FlushcastError, UnknownNameError, WeatherError
from phenology.seasons.translate import ClimateOf, hemisphere
from reports.garden.open_garden import OpenGarden

BUDS = ("repotting", "pruning")  # work that waits for the buds rather than for firm leaves
LEAST_SEASONS = 2  # fewer leave all heat clocks alike (ours)


def climate_from_file(name: str, path: Path, units: str | None, latitude: float | None) -> ClimateOf:
    """A place's climate from a weather file; hemisphere by the latitude given, the weather, or the name."""
    weather, _ = read_weather_file(path, units=units)
    if latitude is None and hemisphere(weather) is None:
        latitude = town_latitude(name)
    return ClimateOf.of(name, weather, latitude)


def climate_of_garden_place(opened: OpenGarden, name: str | None) -> ClimateOf:
    """A place of the garden, the first one without a name.

    Raises
    ------
    WeatherError
        If the garden has no such place with weather: says how to add some.
    """
    from reports.garden.place_weather import read_place_weather

    try:
        place = opened.some_places[0] if name is None else opened.place(name)
    except UnknownNameError:
        raise WeatherError(lacking(name or "")) from None
    weather = read_place_weather(opened.folder, [place.id], None).weather.get(place.id)
    if weather is None:
        raise WeatherError(lacking(place.name, known=True))
    return ClimateOf.of(place.name, weather, place.latitude)


def lacking(name: str, *, known: bool = False) -> str:
    """One sentence: how to add weather for a place."""
    make = "" if known else f"make it a place of the garden{_position(name)} and "
    return (
        f"there is no weather for {name} yet: give a file with --weather FILE --units C, or {make}fetch some "
        f'with `flushcast weather update --place "{name}"`'
    )


def _position(name: str) -> str:
    """The command that adds a town, with its position where the gazetteer knows one of that name."""
    try:
        from data_sources.gazetteer import the_town

        town = the_town(name)
    except FlushcastError:
        return f' (`flushcast place add "{name}" --lat LAT --lon LON`)'
    return f' (`flushcast place add "{name}" --lat {town.latitude:.2f} --lon {town.longitude:.2f}`)'


def town_latitude(name: str) -> float | None:
    """The latitude of the towns of that name, where they agree on the hemisphere."""
    from data_sources.gazetteer import find_towns

    try:
        towns = find_towns(name)
    except UnknownNameError:
        return None
    return towns[0].latitude if len({town.latitude > 0 for town in towns}) == 1 else None


def learned_weights(opened: OpenGarden, latin: str, work: str) -> tuple[dict[str, float], int] | None:
    """How the garden's own looks weigh the heat clocks for a species, and the seasons they come from.

    None without a garden, or with fewer than two seasons of the step that the work waits for: bud break for
    repotting and pruning, hardening for all else.
    """
    return weights_of(opened.snapshot(), latin, work) if opened.exists else None


def weights_of(garden: Garden, latin: str, work: str) -> tuple[dict[str, float], int] | None:
    """The same for a garden that was read already."""
    from phenology.heat.clocks import HEAT_CLOCKS
    from phenology.learning.garden_fit import GardenFit
    from phenology.learning.transitions import Transition

    if latin not in {tree.species for tree in garden.trees} or garden.weather_through() is None:
        return None
    step = Transition("start", "budbreak") if work in BUDS else Transition("extended", "hardened")
    fit = GardenFit(garden)
    seasons = len(fit.seasons_seen(latin, step))
    if seasons < LEAST_SEASONS:
        return None
    shares = fit.requirement(step).clock_shares[: len(HEAT_CLOCKS)]
    return {c.name: float(w) for c, w in zip(HEAT_CLOCKS, shares, strict=True)}, seasons
