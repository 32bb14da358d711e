"""Open-Meteo's forecast: up to 16 days ahead, and the model's short runs of the last days."""

from __future__ import annotations

from datetime import date, timedelta

from data_sources.weather.services import open_meteo as om
from data_sources.weather.services.answer_checks import believable_forecast, refuse_impossible
from data_sources.weather.services.http import Http
from data_sources.weather.services.protocol import (
    Answer,
    Gives,
    Progress,
    Round,
    ServiceError,
    Spot,
    no_progress,
)
from data_sources.weather.services.settings import WeatherSettings
from data_sources.weather.store.records import Origin
from phenology.weather.quality import doubtful_days

KEEP = 3600.0  # a model run is new every few hours


class OpenMeteoForecast:
    """The forecast service."""

    name, title, source = "open-meteo-forecast", "Open-Meteo forecast", "model"
    gives: Gives = "forecast"
    about = f"16 days ahead, anywhere on earth; {om.TERMS}"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings, self._http = settings, http

    def lacks(self) -> str:
        """Nothing: it can always be asked."""
        return ""

    def rounds(self, first: date, last: date) -> list[Round]:
        """All at once."""
        return [Round(first, last)]

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The days from `part.first` to yesterday as the model has them, and the forecast from today on."""
        past = min(max((today - part.first).days + 1, 0), 92)
        ahead = min(max((part.last - today).days + 2, 1), self._settings.forecast_days, 16)
        reply = self._http.get(
            self._settings.address(self.name),
            om.read_hours,
            params=om.query(spot, self._settings, past_days=str(past), forecast_days=str(ahead)),
            keep_for=KEEP,
        )
        hours = reply.value
        made = om.to_days(hours, om.VARIABLE, spot, "model")
        if made.weather is None:
            raise ServiceError("damaged", "sent no whole day of hours")
        refuse_impossible(made.weather.tmin, made.weather.tmax)
        yesterday = today - timedelta(days=1)
        gone = made.weather.between(part.first, yesterday)
        ahead_days, notes = believable_forecast(made.weather.between(today, date.max))
        if not len(ahead_days):
            raise ServiceError("damaged", "sent no day from today on (is the computer's clock right?)")
        return Answer(
            Origin(om.PROVIDER, "forecast", om.ATTRIBUTION),
            reply.fetched_at,
            days=gone if len(gone) else None,
            forecast=ahead_days,
            suspect=doubtful_days(gone) if len(gone) else {},
            notes=notes,
            stale_because=reply.stale_because,
            elevation=hours.elevation,
        )
