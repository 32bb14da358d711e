"""MET Norway's location forecast: about nine days ahead, anywhere on earth.

It wants to know who calls (a contact), never more than four decimals, and no question before its last
answer has run out; the client keeps to that by the answer's own Expires and Last-Modified.
"""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd

from data_sources.weather.services.protocol.checks import (
    ahead_from,
    as_weather,
    believable,
    celsius,
    days_from_hours,
    instants,
    local_day,
    numbers,
    refuse_old_issue,
)
from data_sources.weather.services.protocol.service import FetchSpan, Service, ServiceAnswer, Spot
from data_sources.weather.services.transport.faults import ANOTHER_SHAPE, ServiceError, json_object, parser
from data_sources.weather.store.records import Origin
from phenology.weather.series import DailyWeather

ATTRIBUTION = "Data from MET Norway (https://api.met.no/), CC BY 4.0 / NLOD 2.0, processed"
HOUR = pd.Timedelta(hours=1)
BLOCK = 6 * HOUR
HOURS_SEEN = 18  # of a local day: three six-hour blocks wholly within it; fewer may miss an extreme


class MetNorway(Service):
    """The forecast service."""

    name, title, gives = "met-norway", "MET Norway", "forecast"
    about = "about nine days ahead, anywhere on earth; free, needs a contact of yours"
    address = "https://api.met.no/weatherapi/locationforecast/2.0/complete"

    def lacks(self) -> str:
        """It refuses callers without a contact, and faking one leads to a ban: so we do not call."""
        contact = self.settings.contact
        if "@" in contact or "://" in contact:
            return ""
        return "needs a contact: set `contact` in garden.toml to your e-mail address or web page"

    def fetch(self, spot: Spot, part: FetchSpan, today: date) -> ServiceAnswer:
        """The whole local days from today on."""
        if self.lacks():
            raise ServiceError("unready", self.lacks())
        asked = {"lat": f"{spot.latitude:g}", "lon": f"{spot.longitude:g}"}
        if spot.elevation is not None:
            asked["altitude"] = f"{spot.elevation:.0f}"

        def read(body: bytes) -> tuple[DailyWeather, tuple[str, ...], int, date]:
            steps = read_steps(body)
            days, rough = forecast_days(steps, spot.timezone)
            begins: date = local_day(steps.iloc[:1], spot.timezone)[0].date()
            refuse_old_issue(begins, today)
            weather = as_weather(believable(days), "forecast")[0]
            return (*ahead_from(weather, min(begins, today), part.last), rough, begins)

        reply = self.http.get(self.base(self.settings), read, params=asked)
        weather, notes, rough, begins = reply.value
        if rough:
            notes = (*notes, f"{rough} later days have no extremes and are left out")
        if reply.deprecated:
            notes = (*notes, "says that this address will go away: update flushcast")
        return ServiceAnswer(
            Origin(self.title, "locationforecast", ATTRIBUTION),
            reply.fetched_at,
            forecast=weather,
            issued=begins,
            notes=notes,
        )


@parser
def read_steps(body: bytes) -> pd.DataFrame:
    """The steps of an answer by UTC: ``air`` then, ``low`` and ``high`` of the six hours after. [°C]

    Raises `ServiceError` if the answer is of another shape than documented.
    """
    answer = json_object(body)
    try:
        meta, rows = answer["properties"]["meta"], answer["properties"]["timeseries"]
        unit = str(meta["units"]["air_temperature"])
        times = [int(datetime.fromisoformat(row["time"]).timestamp()) for row in rows]
        after = [row["data"].get("next_6_hours", {}).get("details", {}) for row in rows]
        columns = {
            "air": [row["data"]["instant"]["details"].get("air_temperature") for row in rows],
            "low": [block.get("air_temperature_min") for block in after],
            "high": [block.get("air_temperature_max") for block in after],
        }
    except (KeyError, TypeError, AttributeError, ValueError):
        raise ServiceError("damaged", ANOTHER_SHAPE) from None
    if not times:
        raise ServiceError("damaged", ANOTHER_SHAPE)
    values = {name: celsius(numbers(column), unit) for name, column in columns.items()}
    return pd.DataFrame(values, index=instants(times))


def forecast_days(steps: pd.DataFrame, zone: str) -> tuple[pd.DataFrame, int]:
    """Whole local days: from hours while there are hours, then from the extremes of six-hour blocks.

    And how many days are left out because they have a value only every six hours, and no extremes.
    """
    begin = pd.DatetimeIndex(steps.index)
    hourly = pd.Series(begin, begin).diff().shift(-1) == HOUR
    fine = days_from_hours(steps["air"].iloc[: int((~hourly).argmax()) + 1], zone).dropna()
    # Seen of a day are its hourly values, and every hour of the blocks that lie wholly within it.
    air = steps[["air", "air"]].set_axis(["low", "high"], axis="columns").dropna()
    blocks = steps[["low", "high"]].dropna()
    ends = pd.DatetimeIndex(blocks.index) + BLOCK - HOUR / 60
    blocks = blocks[local_day(blocks, zone) == local_day(pd.Series(0, ends), zone)]
    seen = pd.concat([air[hourly], *(blocks.set_axis(blocks.index + n * HOUR) for n in range(6))])
    hours = seen[~seen.index.duplicated()]
    enough = hours.groupby(local_day(hours, zone)).size() >= HOURS_SEEN
    # Values between two blocks count too, but an hour is not seen by them.
    values = pd.concat([seen, air])
    days = values.groupby(local_day(values, zone)).agg(tmin=("low", "min"), tmax=("high", "max"))
    edges = local_day(pd.Series(0, [begin[0] - HOUR / 60, begin[-1] + BLOCK]), zone)
    days = days[(days.index > edges[0]) & (days.index < edges[1])]
    good = enough.reindex(days.index, fill_value=False)
    rough = int((~good & (days.index > fine.index.max() if len(fine) else True)).sum())
    return fine.combine_first(days[good]), rough
