"""NOAA's GHCN-Daily files: the whole record of a station in one file."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

from data_sources.weather.files.ghcn import read_ghcn
from data_sources.weather.services.answer_checks import refuse_impossible
from data_sources.weather.services.http import Http
from data_sources.weather.services.http_faults import refuse_page
from data_sources.weather.services.ncei_daily import ATTRIBUTION
from data_sources.weather.services.noaa_stations import near_stations
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
)
from data_sources.weather.services.settings import WeatherSettings
from data_sources.weather.services.stations_near import (
    blended_answer,
    choose,
    first_rounds,
)
from phenology.model.errors import WeatherError
from phenology.weather.quality import doubtful_days
from phenology.weather.series import DailyWeather

PROVIDER = "NOAA GHCN-Daily"
KEEP = 86400.0
LINE = 266  # characters of a line without its last marks, which may be blank and stripped


class GhcnDaily:
    """Files of stations."""

    name, title, source = "ghcn-daily", "NOAA GHCN-Daily", "station"
    gives: Gives = "history"
    about = "measuring stations worldwide, each station's whole record in a file; public domain"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings, self._http = settings, http
        self._near: dict[Spot, list[Station]] = {}

    def lacks(self) -> str:
        """Nothing: it can always be asked."""
        return ""

    def rounds(self, first: date, last: date) -> list[Round]:
        """The nearest station first; its file holds all years, and so do the others'."""
        return first_rounds([Round(first, last)], last)

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The stations' days of a round, brought to the spot."""
        base = self._settings.address(self.name)
        if spot not in self._near:
            self._near[spot] = choose(near_stations(spot, base, self._http, today), spot, self._settings)
        chosen = self._near[spot][: part.stations]
        have: list[StationDays] = []
        notes: list[str] = []
        fault: ServiceError | None = None
        fetched: list[datetime] = []
        stale = ""
        for n, station in enumerate(chosen):
            progress(self.title, n, len(chosen))
            try:
                reply = self._http.get(f"{base}/all/{station.id}.dly", _Read(station.id), keep_for=KEEP)
            except ServiceError as error:
                if error.fault in ("offline", "limit"):
                    raise
                notes.append(f"{station.id} {error.words}")
                fault = error
                continue
            weather, left_out = reply.value
            fetched.append(reply.fetched_at)
            stale = stale or reply.stale_because
            notes += [
                f"{station.id}: {count} values left out, {why}" for why, count in sorted(left_out.items())
            ]
            have.append(StationDays(station, weather, doubtful_days(weather)))
        progress(self.title, len(chosen), len(chosen))
        if not have and fault is not None:
            raise fault
        years = frozenset(range(part.first.year, part.last.year + 1))
        return blended_answer(
            PROVIDER,
            ATTRIBUTION.format(", ".join(s.station.id for s in have)),
            have,
            spot,
            part,
            min(fetched),
            notes=notes,
            held=years if fault is not None and fault.fault != "absent" else frozenset(),
            asked=len(chosen),
            received=len(have),
            stale_because=stale,
        )


class _Read:
    """Reads a station's file out of a body."""

    def __init__(self, station: str) -> None:
        self._station = station

    def __call__(self, body: bytes) -> tuple[DailyWeather, dict[str, int]]:
        refuse_page(body)
        text = body.decode("ascii", "replace")
        if not text.startswith(self._station):
            raise ServiceError("damaged", "sent a file that is not this station's")
        # The file's values are bare digits: a line cut short could show 10.4 as 1.0.
        if any(len(line) < LINE for line in text.splitlines()):
            raise ServiceError("damaged", "sent a file that breaks off")
        try:
            weather, report = read_ghcn(Path(f"{self._station}.dly"), text, source="station")
        except WeatherError as error:
            why = getattr(error, "problems", ()) or [str(error).splitlines()[0]]
            raise ServiceError("damaged", f"sent a file that cannot be used: {why[0]}") from None
        refuse_impossible(weather.tmin, weather.tmax)
        return weather, dict(report.left_out)
