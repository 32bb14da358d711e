"""What every weather service takes and gives, and how it says that it could not.

A service is asked for a span of days at a spot and answers with values and words, or raises
`ServiceError`. It never touches the store: `update.py` decides what becomes of an answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal, Protocol

from data_sources.weather.store.records import Origin
from phenology.model.errors import InputError, WeatherError
from phenology.weather.series import DailyWeather

Gives = Literal["history", "forecast", "ensemble"]
Fault = Literal[
    "offline",  # nothing can be reached: no network, or no such host
    "silent",  # reached, but no (complete) answer in time
    "cut",  # the connection broke off
    "absent",  # it has nothing there
    "refused",  # it does not want us, or not like this
    "limit",  # too many requests
    "server",  # its own trouble
    "damaged",  # an answer that cannot be read
    "unbelievable",  # an answer that can be read and cannot be true
    "unready",  # a setting is missing on our side
]

ROUNDING = 4  # decimals of coordinates that leave the house: about 10 m, and all that services accept
STATION_RADIUS_KM = 50.0

Progress = Callable[[str, int, int], None]
"""Told while a service works: what, how many are done, how many there are."""


def no_progress(what: str, done: int, total: int) -> None:
    """Progress nobody watches."""


class ServiceError(WeatherError):
    """A service did not give what it was asked for; the message has no subject ("refused the request").

    Parameters
    ----------
    fault : str
        What kind of trouble.
    words : str
        Said after the service's name.
    retry_after : float, optional
        Seconds the service asked us to wait.
    """

    def __init__(self, fault: Fault, words: str, *, retry_after: float | None = None) -> None:
        super().__init__(words)
        self.fault, self.words, self.retry_after = fault, words, retry_after


@dataclass(frozen=True)
class Spot:
    """Where weather is wanted: rounded coordinates, height and time zone.

    Parameters
    ----------
    latitude, longitude : float
        Rounded to `ROUNDING` decimals; a longitude past 180 is brought back. [degrees, north, east positive]
    elevation : float, optional
        Above sea level. [m]
    timezone : str
        IANA name; the spot's days are this zone's days.

    Examples
    --------
    >>> Spot(50.1109221, 188.5, 118.0, "Europe/Berlin").longitude
    -171.5
    """

    latitude: float
    longitude: float
    elevation: float | None
    timezone: str

    def __post_init__(self) -> None:
        if not -90 <= self.latitude <= 90:
            raise InputError(f"latitude must lie between -90 and 90, got {self.latitude:g}")
        if not -360 <= self.longitude <= 360:
            raise InputError(f"longitude must lie between -180 and 180, got {self.longitude:g}")
        object.__setattr__(self, "latitude", round(float(self.latitude), ROUNDING))
        east = round((float(self.longitude) + 180) % 360 - 180, ROUNDING)
        object.__setattr__(self, "longitude", east)


@dataclass(frozen=True)
class Station:
    """A weather station near the spot."""

    id: str
    name: str
    latitude: float
    longitude: float
    elevation: float | None
    distance_km: float


@dataclass(frozen=True)
class StationDays:
    """What one station measured, with the days that are hard to believe."""

    station: Station
    weather: DailyWeather
    doubts: Mapping[date, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Round:
    """One piece of work of a service: a span of days, and of how many stations (None: all it uses)."""

    first: date
    last: date
    stations: int | None = None


@dataclass(frozen=True)
class Answer:
    """What a service gave for one round.

    Attributes
    ----------
    origin : Origin
        Provider, station ids or model, attribution.
    fetched_at : datetime
        When the answer left the service, with zone (older than now for a copy).
    days : DailyWeather or None
        Days gone by: source "station" or "model".
    forecast : DailyWeather or None
    members : tuple of DailyWeather
        Of an ensemble.
    suspect : mapping of date to str
        Days of `days` that are hard to believe, with why.
    notes : tuple of str
        For the grower: what is absent, what was left out.
    held : frozenset of int
        Years in which a part failed: their days may fill holes of the store and replace nothing.
    asked, received : int
        Files or pieces asked for and had.
    stale_because : str
        Not empty when this is an old copy: what went wrong.
    elevation : float or None
        Of the spot, as the service has it. [m]
    """

    origin: Origin
    fetched_at: datetime
    days: DailyWeather | None = None
    forecast: DailyWeather | None = None
    members: tuple[DailyWeather, ...] = ()
    suspect: Mapping[date, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    held: frozenset[int] = frozenset()
    asked: int = 1
    received: int = 1
    stale_because: str = ""
    elevation: float | None = None


class Service(Protocol):
    """A weather service.

    `name` is what garden.toml says, `title` what a grower reads, `source` what its past days count as.
    """

    @property
    def name(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def gives(self) -> Gives: ...
    @property
    def source(self) -> str: ...
    @property
    def about(self) -> str:
        """One line: what it is good for, and on what terms."""
        ...

    def lacks(self) -> str:
        """What the grower must set before it can be asked; empty when it is ready."""
        ...

    def rounds(self, first: date, last: date) -> list[Round]:
        """The pieces to ask for, the most useful first."""
        ...

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """Ask for one piece; `today` is the spot's local day."""
        ...


def span_rounds(first: date, last: date, years: int) -> list[Round]:
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
        Round(max(first, date(year, 1, 1)), min(last, date(year + years - 1, 12, 31)))
        for year in reversed(starts)
    ]
