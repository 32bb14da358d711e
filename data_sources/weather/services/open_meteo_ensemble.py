"""Open-Meteo's ensembles: the same forecast many times over, from slightly different beginnings."""

from __future__ import annotations

from datetime import date

import numpy as np

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
from phenology.weather.series import DailyWeather

KEEP = 6 * 3600.0
LONGEST = 35  # days


class OpenMeteoEnsemble:
    """The ensemble service."""

    name, title, source = "open-meteo-ensemble", "Open-Meteo ensemble", "model"
    gives: Gives = "ensemble"
    about = f"how much forecasts from slightly different beginnings part; {om.TERMS}"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings, self._http = settings, http

    def lacks(self) -> str:
        """Nothing: it can always be asked."""
        return ""

    def rounds(self, first: date, last: date) -> list[Round]:
        """All at once."""
        return [Round(first, last)]

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The control run and the members, from today on."""
        ahead = min(max((part.last - today).days + 2, 1), LONGEST)
        model = self._settings.ensemble_model
        reply = self._http.get(
            self._settings.address(self.name),
            om.read_hours,
            params=om.query(spot, self._settings, models=model, past_days="1", forecast_days=str(ahead)),
            keep_for=KEEP,
        )
        hours = reply.value
        runs: list[DailyWeather] = []
        for name in sorted(hours.columns, key=lambda n: ("_member" in n, n)):
            made = om.to_days(hours, name, spot, "forecast").weather
            run = made.between(today, date.max) if made is not None else None
            if run is None or not len(run):
                continue
            refuse_impossible(run.tmin, run.tmax)
            runs.append(believable_forecast(run)[0])
        if len(runs) < 2:
            raise ServiceError("damaged", f"sent no members of the model {model}")
        control, *members = runs
        # Every member must hold the same days, or the spread would be one of how far they reach.
        last = min(run.last_known_day() for run in runs if run.known.any())
        kept = [member.between(today, last) for member in members]
        return Answer(
            Origin(f"{om.PROVIDER} ensemble", model, om.ATTRIBUTION),
            reply.fetched_at,
            forecast=control.between(today, last),
            members=tuple(member for member in kept if np.any(member.known)),
            stale_because=reply.stale_because,
            elevation=hours.elevation,
        )
