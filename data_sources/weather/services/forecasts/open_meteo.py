"""Open-Meteo: forecast, archive and ensemble.

Asked are hours in GMT, never days: its own days use the present distance from Greenwich all year round,
and are an hour off beyond the next clock change.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import NamedTuple, TypeVar

import pandas as pd

from data_sources.weather.services.protocol.checks import (
    ahead_from,
    as_weather,
    believable,
    celsius,
    days_from_hours,
    instants,
    numbers,
    refuse_old_issue,
)
from data_sources.weather.services.protocol.service import (
    FetchSpan,
    Service,
    ServiceAnswer,
    Spot,
    span_rounds,
)
from data_sources.weather.services.transport.faults import ANOTHER_SHAPE, ServiceError, json_object, parser
from data_sources.weather.services.transport.http import Reply
from data_sources.weather.store.records import Origin
from phenology.weather.series import DailyWeather

ATTRIBUTION = (
    "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0, changed: daily extremes computed"
)
TERMS = "free for non-commercial use"
VARIABLE = "temperature_2m"
DAY = timedelta(days=1)
YEARS_A_CALL = 5  # costs about 13 of the 600 calls a minute that are free
EARLIEST = date(1940, 1, 1)  # of the archive
T = TypeVar("T")
MOST_PAST, MOST_AHEAD, MOST_MEMBERS_AHEAD = 92, 16, 35  # days that can be asked for


class Runs(NamedTuple):
    """Local days of an answer's columns, by name; its first day in Greenwich."""

    days: dict[str, pd.DataFrame]
    begins: date

    def weather(self, column: str, source: str) -> DailyWeather | None:
        """The days of one column; None where none is whole."""
        return as_weather(self.days[column], source)[0]


class OpenMeteo(Service):
    """What the three have in common."""

    def lacks(self) -> str:
        """A key sent to the free address leads nowhere."""
        if self.settings.api_key and self.name not in self.settings.addresses:
            return f"needs the address of your paid service: set {self.name} in [weather.services.addresses]"
        return ""

    def ask(self, spot: Spot, keep_for: float, make: Callable[[Runs], T], **more: str) -> Reply[T]:
        """What `make` takes from the hours at a spot; the service corrects for its height itself."""
        asked = {
            "latitude": f"{spot.latitude:g}",
            "longitude": f"{spot.longitude:g}",
            "hourly": VARIABLE,
            "timezone": "GMT",
            "timeformat": "unixtime",
            "temperature_unit": "celsius",
            **more,
        }
        if spot.elevation is not None:
            asked["elevation"] = f"{spot.elevation:.0f}"
        if self.settings.api_key:
            asked["apikey"] = self.settings.api_key
        return self.http.get(
            self.base(self.settings),
            lambda body: make(read_runs(body, spot.timezone)),
            params=asked,
            keep_for=keep_for,
        )


class OpenMeteoForecast(OpenMeteo):
    """Up to 16 days ahead, and the model's short runs of the last days."""

    name, title, gives = "open-meteo-forecast", "Open-Meteo forecast", "forecast"
    about = f"16 days ahead, anywhere on earth; {TERMS}"
    address = "https://api.open-meteo.com/v1/forecast"

    def fetch(self, spot: Spot, part: FetchSpan, today: date) -> ServiceAnswer:
        """The days before its issue as the model has them, and the forecast from its issue on."""
        past = min(max((today - part.first).days + 1, 0), MOST_PAST)
        ahead = min(max((part.last - today).days + 2, 1), self.settings.forecast_days, MOST_AHEAD)

        def checked(runs: Runs) -> DailyWeather:
            refuse_old_issue(runs.begins + past * DAY, today)
            weather = runs.weather(VARIABLE, "model")
            ahead_from(weather, today, part.last)
            assert weather is not None
            return weather

        reply = self.ask(spot, 3600.0, checked, past_days=str(past), forecast_days=str(ahead))
        weather = reply.value
        # A copy from before midnight knows yesterday as a forecast only.
        issued = min(spot.today(reply.fetched_at), today)
        gone = weather.between(part.first, issued - DAY)
        forecast, notes = ahead_from(weather, issued, part.last)
        return ServiceAnswer(
            Origin("Open-Meteo", "forecast", ATTRIBUTION),
            reply.fetched_at,
            days=gone if len(gone) else None,
            forecast=forecast,
            notes=notes,
        )


class OpenMeteoArchive(OpenMeteo):
    """A reanalysis back to 1940, held to one model so that the past has no false step."""

    name, title = "open-meteo-archive", "Open-Meteo archive"
    about = f"a reanalysis back to 1940, anywhere on earth, five days behind; {TERMS}"
    address = "https://archive-api.open-meteo.com/v1/archive"

    def rounds(self, first: date, last: date) -> list[FetchSpan]:
        """A few years a call, the newest first."""
        return span_rounds(max(first, EARLIEST), last, YEARS_A_CALL)

    def fetch(self, spot: Spot, part: FetchSpan, today: date) -> ServiceAnswer:
        """The days of a round, as far as the analysis has come."""
        # A day more at each end: local days begin and end on other days of Greenwich.
        first, last = max(part.first - DAY, EARLIEST), min(part.last + DAY, today - DAY)
        if last < part.first:
            raise ServiceError("absent", "has nothing so new")
        model = self.settings.archive_model
        keep_for = (30 if (today - last).days > 100 else 1) * 86400.0

        def checked(runs: Runs) -> DailyWeather:
            columns = [name for name in (VARIABLE, f"{VARIABLE}_{model}") if name in runs.days]
            if not columns:
                raise ServiceError("damaged", f"sent no values of the model {model}")
            weather = runs.weather(columns[0], "model")
            weather = weather.between(part.first, part.last) if weather is not None else None
            if weather is None or not len(weather):
                raise ServiceError("absent", "has no day of that time yet")
            return weather

        asked = {"start_date": first.isoformat(), "end_date": last.isoformat(), "models": model}
        reply = self.ask(spot, keep_for, checked, **asked)
        copernicus = f"Generated using Copernicus Climate Change Service information {today.year}"
        origin = Origin("Open-Meteo", model, f"{ATTRIBUTION}. {copernicus}")
        return ServiceAnswer(origin, reply.fetched_at, days=reply.value)


class OpenMeteoEnsemble(OpenMeteo):
    """The same forecast many times over, from slightly different beginnings."""

    name, title, gives = "open-meteo-ensemble", "Open-Meteo ensemble", "ensemble"
    about = f"how much forecasts from slightly different beginnings part; {TERMS}"
    address = "https://ensemble-api.open-meteo.com/v1/ensemble"

    def fetch(self, spot: Spot, part: FetchSpan, today: date) -> ServiceAnswer:
        """The control run and the members, from today on."""
        ahead = min(max((part.last - today).days + 2, 1), MOST_MEMBERS_AHEAD)
        model = self.settings.ensemble_model

        def checked(runs: Runs) -> list[DailyWeather]:
            refuse_old_issue(runs.begins + DAY, today)
            found: list[DailyWeather] = []
            for name in sorted(runs.days, key=lambda n: ("_member" in n, n)):
                run = runs.weather(name, "forecast")
                if run is not None and run.between(today, part.last).known.any():
                    found.append(ahead_from(run, today, part.last)[0])
            if len(found) < 2:
                raise ServiceError("damaged", f"sent no members of the model {model}")
            # Every member must hold the same days, or the spread would be one of how far they reach.
            last = min(run.last_known_day() for run in found)
            return [run.between(today, last) for run in found]

        asked = {"models": model, "past_days": "1", "forecast_days": str(ahead)}
        reply = self.ask(spot, 6 * 3600.0, checked, **asked)
        control, *members = reply.value
        return ServiceAnswer(
            Origin("Open-Meteo ensemble", model, ATTRIBUTION),
            reply.fetched_at,
            forecast=control,
            members=tuple(member for member in members if member.known.any()),
        )


@parser
def read_runs(body: bytes, zone: str) -> Runs:
    """The local days of an answer's hours.

    Raises `ServiceError` if the answer is no answer, of another shape than documented, or no air.
    """
    answer = json_object(body)
    try:
        hourly, units = answer["hourly"], answer["hourly_units"]
        times = hourly["time"]
        if units.get("time") != "unixtime" or not all(type(t) is int for t in times):
            raise ServiceError("damaged", "sent times of another shape than was asked for")
        columns = {
            name: celsius(numbers(values), str(units.get(name, units.get(VARIABLE, ""))))
            for name, values in hourly.items()
            if name.startswith(VARIABLE)
        }
    except (KeyError, TypeError, AttributeError):
        raise ServiceError("damaged", ANOTHER_SHAPE) from None
    if not columns or not times or any(len(column) != len(times) for column in columns.values()):
        raise ServiceError("damaged", "sent columns that are not as long as each other")
    index = instants(times)
    days = {name: days_from_hours(pd.Series(air, index), zone) for name, air in columns.items()}
    return Runs({name: believable(one) for name, one in days.items()}, index[0].date())
