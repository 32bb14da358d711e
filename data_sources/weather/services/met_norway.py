"""MET Norway's location forecast: about nine days ahead, anywhere on earth.

It wants to know who calls (a contact), never more than four decimals, and no question before its last
answer has run out; the client keeps to that by the answer's own Expires and Last-Modified.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.services.answer_checks import (
    believable_forecast,
    celsius,
    numbers,
    refuse_impossible,
)
from data_sources.weather.services.http import Http
from data_sources.weather.services.http_faults import json_object
from data_sources.weather.services.local_days import HOUR, day_starts, days_from_hours, zone_of
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

ATTRIBUTION = "Data from MET Norway (https://api.met.no/), CC BY 4.0 / NLOD 2.0, processed"
SIX_HOURS = 6 * HOUR
HOURS_SEEN = 18  # of a local day: three six-hour blocks wholly within it; fewer may miss an extreme


class Steps(NamedTuple):
    """The steps of an answer: moments [s], air then, extremes of the six hours after (NaN if not given)."""

    moments: NDArray[np.int64]
    air: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    elevation: float | None


class MetNorway:
    """The forecast service."""

    name, title, source = "met-norway", "MET Norway", "model"
    gives: Gives = "forecast"
    about = "about nine days ahead, anywhere on earth; free, needs a contact of yours"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings, self._http = settings, http

    def lacks(self) -> str:
        """It refuses callers without a contact, and faking one leads to a ban: so we do not call."""
        contact = self._settings.http.contact
        if "@" in contact or "://" in contact:
            return ""
        return "needs a contact: set `contact` in garden.toml to your e-mail address or web page"

    def rounds(self, first: date, last: date) -> list[Round]:
        """All at once."""
        return [Round(first, last)]

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The whole local days from today on."""
        if self.lacks():
            raise ServiceError("unready", self.lacks())
        asked = {"lat": f"{spot.latitude:g}", "lon": f"{spot.longitude:g}"}
        if spot.elevation is not None:
            asked["altitude"] = f"{spot.elevation:.0f}"
        reply = self._http.get(self._settings.address(self.name), read_steps, params=asked)
        steps = reply.value
        weather, rough = forecast_days(steps, spot)
        if weather is not None:
            weather = weather.between(today, date.max)
        if weather is None or not len(weather):
            raise ServiceError("damaged", "sent no whole day from today on (is the computer's clock right?)")
        refuse_impossible(weather.tmin, weather.tmax)
        weather, notes = believable_forecast(weather)
        if rough:
            notes = (*notes, f"{rough} later days have no extremes and are left out")
        if reply.deprecated:
            notes = (*notes, "says that this address will go away: update flushcast")
        return Answer(
            Origin(self.title, "locationforecast", ATTRIBUTION),
            reply.fetched_at,
            forecast=weather,
            notes=notes,
            stale_because=reply.stale_because,
            elevation=steps.elevation,
        )


def read_steps(body: bytes) -> Steps:
    """The steps of an answer, in the compact or the complete shape.

    Raises
    ------
    ServiceError
        If the answer is of another shape than documented.
    """
    answer = json_object(body)
    try:
        meta, rows = answer["properties"]["meta"], answer["properties"]["timeseries"]
        unit = str(meta["units"]["air_temperature"])
        moments = [_moment(row["time"]) for row in rows]
        now = numbers([row["data"]["instant"]["details"].get("air_temperature") for row in rows])
        after = [row["data"].get("next_6_hours", {}).get("details", {}) for row in rows]
        low = numbers([block.get("air_temperature_min") for block in after])
        high = numbers([block.get("air_temperature_max") for block in after])
        where: Any = answer.get("geometry", {}).get("coordinates", [])
    except (KeyError, TypeError, AttributeError, ValueError):
        raise ServiceError("damaged", "sent an answer of another shape than it documents") from None
    at = np.array(moments, dtype=np.int64)
    if not len(at) or (np.diff(at) <= 0).any():
        raise ServiceError("damaged", "sent times twice or out of order")
    height = float(where[2]) if len(where) > 2 and isinstance(where[2], int | float) else None
    return Steps(at, celsius(now, unit), celsius(low, unit), celsius(high, unit), height)


def forecast_days(steps: Steps, spot: Spot) -> tuple[DailyWeather | None, int]:
    """Whole local days: from hours while there are hours, then from the extremes of six-hour blocks.

    Returns
    -------
    weather : DailyWeather or None
    rough : int
        Days that have a value only every six hours, and no extremes: left out.
    """
    gaps = np.diff(steps.moments)
    coarse_from = int(np.flatnonzero(gaps > HOUR)[0]) if (gaps > HOUR).any() else len(steps.moments) - 1
    hourly = slice(0, coarse_from + 1)
    fine = days_from_hours(steps.moments[hourly], steps.air[hourly], spot.timezone, "forecast").weather
    zone = zone_of(spot.timezone)
    first = datetime.fromtimestamp(int(steps.moments[0]), zone).toordinal()
    last = datetime.fromtimestamp(int(steps.moments[-1]), zone).toordinal()
    starts = day_starts(first, last - first + 1, zone)
    low, high = np.full(last - first + 1, np.nan), np.full(last - first + 1, np.nan)
    rough = 0
    step = np.append(gaps, SIX_HOURS)
    with_extremes = ~np.isnan(steps.low) & ~np.isnan(steps.high)
    for at in range(len(low)):
        start, stop = starts[at], starts[at + 1]
        if start < steps.moments[0] or stop > steps.moments[-1] + SIX_HOURS:
            continue
        inside = (steps.moments >= start) & (steps.moments < stop) & ~np.isnan(steps.air)
        blocks = (steps.moments >= start) & (steps.moments + SIX_HOURS <= stop) & with_extremes
        seen = {hour for moment in steps.moments[blocks] // HOUR for hour in range(moment, moment + 6)}
        seen |= set((steps.moments[inside & (step == HOUR)] // HOUR).tolist())
        if len(seen) >= HOURS_SEEN:
            low[at] = np.min(np.concatenate((steps.low[blocks], steps.air[inside])))
            high[at] = np.max(np.concatenate((steps.high[blocks], steps.air[inside])))
        elif fine is None or date.fromordinal(first + at) > fine.last_day:
            rough += 1
    days = DailyWeather(date.fromordinal(first), low, high, "forecast")
    if fine is not None and len(fine):
        begin = (fine.first_day - days.first_day).days
        low[begin : begin + len(fine)], high[begin : begin + len(fine)] = fine.tmin, fine.tmax
        days = DailyWeather(days.first_day, low, high, "forecast")
    known = np.flatnonzero(days.known)
    if not len(known):
        return None, rough
    start = days.first_day + timedelta(days=int(known[0]))
    return days.between(start, days.first_day + timedelta(days=int(known[-1]))), rough


def _moment(text: str) -> int:
    return int(datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp())
