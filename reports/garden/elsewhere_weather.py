"""The places of a lesson: a garden's own, one with a weather file, or a town known by its position alone."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from data_sources.weather.files.reader import read_weather_file
from phenology.advice.lesson_place import LessonPlace, hemisphere
from phenology.garden import Garden
from phenology.model.errors import FlushcastError, InputError, WeatherError
from phenology.model.records import Place
from phenology.weather.series import DailyWeather
from phenology.work.last_safe import HARDENING
from reports.garden.open_garden import OpenGarden
from reports.garden.place_weather import read_place_weather

SAME_DEGREES = 2.0  # towns of one name this close share a usual year (ours)
HERE = "here"
"""The name by which the place of the garden is called in options."""


class LessonPlaces:
    """The places of one command, by name; the garden `opened` may not be there.

    `files` of weather (in `units`) and `latitudes` [degrees] go by place in lower case: `HERE` for the one at
    home, "" for the only place. `guessed` are places whose latitude only the weather tells.
    """

    def __init__(
        self,
        opened: OpenGarden,
        species: str,
        files: Mapping[str, Path],
        latitudes: Mapping[str, float],
        units: str | None,
    ) -> None:
        self.opened, self.species, self.files, self.latitudes = opened, species, files, latitudes
        self.units, self.guessed = units, list[str]()

    def home(self, name: str | None, garden: Garden | None) -> LessonPlace:
        """The place where the grower is: a file's, or the garden's of that name, by default its first."""
        if HERE in self.files:
            return self._elsewhere(name or "your place", HERE, None)
        if garden is None:
            _ = self.opened.settings  # says that there is no garden, and how to make one
            raise InputError("there is no garden here")
        return home_place(garden, self.opened.place(name) if name else garden.places[0], self.species)

    def elsewhere(self, name: str, home: LessonPlace | None) -> LessonPlace:
        """A place by name; raises `WeatherError` if nothing tells where it lies: says what would."""
        return self._elsewhere(name, name.strip().casefold(), home)

    def _elsewhere(self, name: str, key: str, home: LessonPlace | None) -> LessonPlace:
        file = self.files.get(key, self.files.get("") if key != HERE else None)
        series = None if file is None else read_weather_file(file, units=self.units)[0]
        place, own = self._place(name, key, series)
        if series is None:
            series = own
        return LessonPlace.elsewhere(
            place, series, self.opened.today, self.opened.catalogue, self.species, home
        )

    def _place(self, name: str, key: str, series: DailyWeather | None) -> tuple[Place, DailyWeather | None]:
        """Where it lies, and the weather that the garden has of it."""
        latitude = self.latitudes.get(key, self.latitudes.get("") if key != HERE else None)
        if self.opened.exists and latitude is None:
            try:
                mine = self.opened.place(None if key == HERE else name)
            except InputError:
                pass
            else:
                return mine, read_place_weather(self.opened.folder, [mine.id], None).weather.get(mine.id)
        if latitude is None:
            latitude = town_latitude(name) if series is None or hemisphere(series) is None else None
        if latitude is None and series is not None:
            latitude = hemisphere(series)
            self.guessed.append(name)
        if latitude is None:
            raise WeatherError(
                f"nothing tells where {name} lies, or several towns bear the name: add its country after a "
                f'comma, give its latitude with --lat "{name}=48.1" or daily weather with '
                f'--weather "{name}=FILE" --units C, or make it a place of the garden: '
                f'flushcast place add "{name}"'
            )
        return Place(key, name, latitude, 0.0), None


def home_place(garden: Garden, place: Place, species: str) -> LessonPlace:
    """A place of the garden itself, with all that its records teach."""
    from dataclasses import replace

    others = [other for other in garden.places if other.id != place.id]
    if place.latitude * garden.places[0].latitude < 0:
        series = garden.weather.get(place.id)
        return LessonPlace.elsewhere(place, series, garden.as_of, garden.species, species)
    return LessonPlace(replace(garden, places=[place, *others]), species)


def seasons_taught(home: LessonPlace) -> int:
    """Seasons of own looks that tell when leaves of the species get hard."""
    return max(len(home.fit.seasons_seen(home.tree.species, step)) for step in HARDENING)


def town_latitude(name: str) -> float | None:
    """The latitude of the one town of that name, or of the largest where all lie close to it."""
    from data_sources.gazetteer import find_towns

    try:
        towns = find_towns(name)
    except FlushcastError:
        return None
    spread = max(t.latitude for t in towns) - min(t.latitude for t in towns)
    return towns[0].latitude if spread <= SAME_DEGREES else None
