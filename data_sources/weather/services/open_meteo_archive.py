"""Open-Meteo's archive: a reanalysis back to 1940, held to one model so that the past has no false step."""

from __future__ import annotations

from datetime import date, timedelta

from data_sources.weather.services import open_meteo as om
from data_sources.weather.services.answer_checks import refuse_impossible
from data_sources.weather.services.http import Http
from data_sources.weather.services.protocol import (
    Answer,
    Gives,
    Progress,
    Round,
    ServiceError,
    Spot,
    no_progress,
    span_rounds,
)
from data_sources.weather.services.settings import WeatherSettings
from data_sources.weather.store.records import Origin
from phenology.weather.quality import doubtful_days

YEARS_A_CALL = 5  # costs about 13 of the 600 calls a minute that are free
KEEP_OLD, KEEP_NEW = 30 * 86400.0, 86400.0
EARLIEST = date(1940, 1, 1)


class OpenMeteoArchive:
    """The archive service."""

    name, title, source = "open-meteo-archive", "Open-Meteo archive", "model"
    gives: Gives = "history"
    about = f"a reanalysis back to 1940, anywhere on earth, five days behind; {om.TERMS}"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings, self._http = settings, http

    def lacks(self) -> str:
        """Nothing: it can always be asked."""
        return ""

    def rounds(self, first: date, last: date) -> list[Round]:
        """A few years a call, the newest first."""
        return span_rounds(max(first, EARLIEST), last, YEARS_A_CALL)

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The days of a round, as far as the analysis has come."""
        # A day more at each end: local days begin and end on other days of Greenwich.
        first = max(part.first - timedelta(days=1), EARLIEST)
        last = min(part.last + timedelta(days=1), today - timedelta(days=1))
        if last < part.first:
            raise ServiceError("absent", "has nothing so new")
        model = self._settings.archive_model
        asked = om.query(
            spot, self._settings, start_date=first.isoformat(), end_date=last.isoformat(), models=model
        )
        reply = self._http.get(
            self._settings.address(self.name),
            om.read_hours,
            params=asked,
            keep_for=KEEP_OLD if (today - last).days > 100 else KEEP_NEW,
        )
        hours = reply.value
        column = om.VARIABLE if om.VARIABLE in hours.columns else f"{om.VARIABLE}_{model}"
        if column not in hours.columns:
            raise ServiceError("damaged", f"sent no values of the model {model}")
        made = om.to_days(hours, column, spot, "model")
        weather = made.weather.between(part.first, part.last) if made.weather else None
        if weather is None or not len(weather):
            raise ServiceError("absent", "has no day of that time yet")
        refuse_impossible(weather.tmin, weather.tmax)
        attribution = (
            f"{om.ATTRIBUTION}. Generated using Copernicus Climate Change Service information {today.year}"
        )
        return Answer(
            Origin(om.PROVIDER, model, attribution),
            reply.fetched_at,
            days=weather,
            suspect=doubtful_days(weather),
            stale_because=reply.stale_because,
            elevation=hours.elevation,
        )
