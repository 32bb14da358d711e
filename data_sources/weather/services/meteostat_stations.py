"""Meteostat: thirty years of the stations around a garden, brought to its place and height."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np

from data_sources.weather.services.http import Http
from data_sources.weather.services.meteostat_files import MeteostatFiles
from data_sources.weather.services.meteostat_reading import StationYear, near_stations, read_year
from data_sources.weather.services.protocol import (
    Answer,
    Gives,
    Progress,
    Round,
    ServiceError,
    Spot,
    Station,
    StationDays,
    no_progress,
    span_rounds,
)
from data_sources.weather.services.settings import WeatherSettings
from data_sources.weather.services.stations_near import (
    blended_answer,
    choose,
    first_rounds,
    in_words,
    station_days,
)

PROVIDER = "Meteostat"
YEARS_A_ROUND = 5
PATIENCE = 6  # files that fail one after the other before we leave the service alone


class Meteostat:
    """Stations by way of Meteostat."""

    name, title, source = "meteostat", "Meteostat", "station"
    gives: Gives = "history"
    about = "measuring stations worldwide, several blended to the place; free"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings = settings
        self._scratch = None
        folder = settings.cache_folder
        if folder is None:
            self._scratch = tempfile.TemporaryDirectory(prefix="flushcast-", ignore_cleanup_errors=True)
            folder = Path(self._scratch.name)
        self.files = MeteostatFiles(folder / "meteostat", settings.address(self.name), http)
        self._near: dict[Spot, list[Station]] = {}
        self._notes: list[str] = []

    def lacks(self) -> str:
        """Nothing: it can always be asked."""
        return ""

    def rounds(self, first: date, last: date) -> list[Round]:
        """The nearest station's recent years, then five years of all stations at a time."""
        return first_rounds(span_rounds(first, last, YEARS_A_ROUND), last)

    def stations(self, spot: Spot) -> list[Station]:
        """The stations that are used for a spot."""
        if spot not in self._near:
            old_list = self.files.list_of_stations()
            if old_list:
                self._notes.append(f"the list of stations is an old one: the service {old_list}")
            self._near[spot] = choose(near_stations(self.files, spot), spot, self._settings)
        return self._near[spot]

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The stations' days of a round, brought to the spot."""
        chosen = self.stations(spot)[: part.stations]
        wanted = [(s.id, year) for s in chosen for year in range(part.last.year, part.first.year - 1, -1)]
        failed, fault = self._fetch_files(wanted, today, progress)
        have = self.files.have([s.id for s in chosen], range(part.first.year, part.last.year + 1))
        if fault is not None and fault.fault == "offline":
            raise fault  # the files that are here are in the store already
        if not have:
            raise fault or ServiceError("absent", "has no day of that time")
        notes, self._notes = self._notes, []
        read: dict[tuple[str, int], StationYear] = {}
        for key in sorted(have):
            year = read_year(self.files, *key)
            if year is not None:
                read[key] = year
        absent = [key for key in wanted if key not in read and key not in failed]
        if absent:
            notes.append(f"no file for {in_words(_by_station(absent))}")
        old = [key for key in failed if key in read]
        if failed and fault is not None:
            why = "" if old else f"{fault.words}; "
            notes.append(f"{why}not received: {in_words(_by_station(failed))}")
        stations: list[StationDays] = []
        for station in chosen:
            years = [read[key] for key in sorted(read) if key[0] == station.id]
            days, more = _joined(station, years, part, today)
            notes += more
            if days is not None:
                stations.append(days)
        providers = sorted({p for y in read.values() for p in y.attribution.split(", ")} - {PROVIDER, ""})
        return blended_answer(
            PROVIDER,
            _attribution(providers),
            stations,
            spot,
            part,
            self.files.fetched_at(old or have),
            notes=notes,
            # What is missing today may have been in a blend of earlier days.
            held=frozenset(year for key, year in failed if (key, year) not in read),
            asked=len(wanted),
            received=len(read),
            stale_because=fault.words if fault is not None and old else "",
        )

    def _fetch_files(
        self, wanted: Sequence[tuple[str, int]], today: date, progress: Progress
    ) -> tuple[list[tuple[str, int]], ServiceError | None]:
        """Fetch what is not fresh; which could not be had, and the last reason."""
        stale = [key for key in wanted if not self.files.fresh(*key, today)]
        failed: list[tuple[str, int]] = []
        fault: ServiceError | None = None
        in_a_row = 0
        for n, key in enumerate(stale):
            progress(self.title, n, len(stale))
            if in_a_row >= PATIENCE or (fault is not None and fault.fault in ("offline", "limit", "unready")):
                failed.append(key)
                continue
            try:
                self.files.fetch(*key)
                in_a_row = 0
            except ServiceError as error:
                if error.fault == "absent":
                    in_a_row = 0
                    continue
                failed.append(key)
                fault, in_a_row = error, in_a_row + 1
        if stale:
            progress(self.title, len(stale), len(stale))
        return failed, fault


def _joined(
    station: Station, years: Sequence[StationYear], part: Round, today: date
) -> tuple[StationDays | None, list[str]]:
    """A station's years as one series, without days that have not been yet."""
    if not years:
        return None, []
    day = np.concatenate([y.day for y in years])
    keep = (day >= part.first.toordinal()) & (day <= part.last.toordinal()) & (day < today.toordinal())
    if not keep.any():
        return None, []
    low, high = (np.concatenate([getattr(y, name) for y in years])[keep] for name in ("tmin", "tmax"))
    model = np.concatenate([y.model for y in years])[keep]
    try:
        days, notes = station_days(
            station,
            [date.fromordinal(int(d)) for d in day[keep]],
            low.tolist(),
            high.tolist(),
            np.where(model, "model", "station").tolist(),
        )
    except ServiceError as error:
        return None, [f"{station.id} {error.words}"]
    return days, notes


def _by_station(keys: Sequence[tuple[str, int]]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for station, year in keys:
        found.setdefault(station, []).append(year)
    return found


def _attribution(providers: Sequence[str]) -> str:
    terms = "CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/), interpolated to the site"
    if not providers:
        who = "Meteostat and its data providers (https://dev.meteostat.net/providers)"
    else:
        who = f"Meteostat (https://meteostat.net) with data of {', '.join(providers)}"
    return f"Source: {who}, {terms}"
