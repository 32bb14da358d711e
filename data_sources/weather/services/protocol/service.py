"""What every weather service takes and gives.

A service is asked for a span of days at a spot and answers with values and words, or raises
`ServiceError`. It never touches the store: `update.py` decides what becomes of an answer.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import ClassVar, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.services.transport.http import Http
from data_sources.weather.services.transport.settings import WeatherSettings
from data_sources.weather.store.records import Origin
from phenology.model.errors import InputError
from phenology.weather.series import DailyWeather

Gives = Literal["history", "forecast", "ensemble"]

ROUNDING = 4  # decimals of coordinates that leave the house: about 10 m, and all that services accept


@dataclass(frozen=True)
class Spot:
    """Where weather is wanted; raises `InputError` for a coordinate out of range or an unknown zone.

    Examples
    --------
    >>> Spot(50.1109221, 188.5, 118.0, "Europe/Berlin").longitude
    -171.5
    """

    # rounded to `ROUNDING` decimals, a longitude past 180 brought back [degrees, north and east positive]
    latitude: float
    longitude: float
    elevation: float | None  # above sea level [m]
    timezone: str  # IANA name; the spot's days are this zone's days

    def __post_init__(self) -> None:
        if not -90 <= self.latitude <= 90:
            raise InputError(f"latitude must lie between -90 and 90, got {self.latitude:g}")
        if not -360 <= self.longitude <= 360:
            raise InputError(f"longitude must lie between -180 and 180, got {self.longitude:g}")
        object.__setattr__(self, "latitude", round(float(self.latitude), ROUNDING))
        east = round((float(self.longitude) + 180) % 360 - 180, ROUNDING)
        object.__setattr__(self, "longitude", east)
        try:
            ZoneInfo(self.timezone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise InputError(
                f"there is no time zone '{self.timezone}'; write one such as Europe/Berlin"
            ) from None

    def today(self, now: datetime) -> date:
        """The local day at a time with zone."""
        return now.astimezone(ZoneInfo(self.timezone)).date()


@dataclass(frozen=True)
class FetchSpan:
    """One piece of work of a service: a span of days, and of how many stations (None: all it uses)."""

    first: date
    last: date
    stations: int | None = None

    @cached_property
    def years(self) -> range:
        """The calendar years it touches."""
        return range(self.first.year, self.last.year + 1)


@dataclass(frozen=True)
class ServiceAnswer:
    """What a service gave for one round."""

    origin: Origin  # provider, station ids or model, attribution
    # when the answer left the service, with zone; earlier than now for a copy that is still good
    fetched_at: datetime
    days: DailyWeather | None = None  # days gone by: source "station" or "model"
    forecast: DailyWeather | None = None
    issued: date | None = None  # the day on which the forecast was made; None for that of `fetched_at`
    members: tuple[DailyWeather, ...] = ()  # of an ensemble
    # days of `days` that are hard to believe, with why
    suspect: Mapping[date, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()  # for the grower: what is absent, what was left out
    # how many stations each of `days` is from; None where they are not from stations
    stations: NDArray[np.int64] | None = None
    whole: bool = True  # whether nothing failed that may be had the next time


class Service(ABC):
    """A weather service."""

    name: ClassVar[str]  # in garden.toml
    title: ClassVar[str]  # to a grower
    about: ClassVar[str]  # what it is good for, and on what terms, in a line
    address: ClassVar[str]  # where it lives, as long as no setting says otherwise
    gives: ClassVar[Gives] = "history"
    source: ClassVar[str] = "model"  # what its past days count as

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self.settings, self.http = settings, http

    @classmethod
    def base(cls, settings: WeatherSettings) -> str:
        """Where it lives."""
        return settings.addresses.get(cls.name, cls.address).rstrip("/")

    def lacks(self) -> str:
        """What the grower must set before it can be asked; empty when it is ready."""
        return ""

    def needs(self) -> str:
        """Whose address it needs besides its own, and what for; empty when none."""
        return ""

    def rounds(self, first: date, last: date) -> list[FetchSpan]:
        """The pieces to ask for, the most useful first."""
        return [FetchSpan(first, last)]

    @abstractmethod
    def fetch(self, spot: Spot, part: FetchSpan, today: date) -> ServiceAnswer:
        """Ask for one piece; `today` is the spot's local day. Raises `ServiceError` if it did not give it."""


def span_rounds(first: date, last: date, years: int) -> list[FetchSpan]:
    """Whole calendar years in pieces of `years`, the newest first; the ends are cut to the span.

    Pieces do not move from year to year, so that an answer of long ago can be used again.

    Examples
    --------
    >>> [(r.first.year, r.last.year) for r in span_rounds(date(2014, 3, 1), date(2026, 6, 1), 5)]
    [(2025, 2026), (2020, 2024), (2015, 2019), (2014, 2014)]
    """
    if last < first:
        return []
    starts = range(first.year - first.year % years, last.year + 1, years)
    return [
        FetchSpan(max(first, date(year, 1, 1)), min(last, date(year + years - 1, 12, 31)))
        for year in reversed(starts)
    ]
