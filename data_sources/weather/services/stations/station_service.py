"""What services of measuring stations have in common: who is near, fetching piece by piece, how to answer."""

from __future__ import annotations

import re
from abc import abstractmethod
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import groupby
from operator import itemgetter
from typing import ClassVar

import numpy as np
import pandas as pd

from data_sources.weather.services.protocol.checks import as_weather
from data_sources.weather.services.protocol.service import (
    FetchSpan,
    Service,
    ServiceAnswer,
    Spot,
    span_rounds,
)
from data_sources.weather.services.stations.blend import (
    Station,
    StationDays,
    blend_stations,
    judged_by_each_other,
)
from data_sources.weather.services.transport.faults import ServiceError
from data_sources.weather.services.transport.http import Http, Reply
from data_sources.weather.services.transport.settings import WeatherSettings
from data_sources.weather.store.records import Origin

FIRST_YEARS = 3  # of the nearest station: enough for a first forecast
PATIENCE = 3  # pieces that fail one after the other before we leave the service alone
DAY = 86400.0  # s

Days = pd.DataFrame
"""Days of a station as in `checks`; ``attrs["left_out"]`` counts what was left out, by reason."""


@dataclass(frozen=True)
class Piece:
    """One file or answer of one station."""

    station: Station
    years: range  # what it holds
    # as for `Http.get`
    url: str
    parse: Callable[[bytes], Days]  # from the body to days
    keep_for: float
    absent_for: float = 0.0
    params: Mapping[str, str] = field(default_factory=dict)


class StationService(Service):
    """A service of measuring stations; which are near and what to ask for is its own."""

    source = "station"
    provider: ClassVar[str]
    ids: ClassVar[re.Pattern[str]]
    like: ClassVar[str]
    years_a_round: ClassVar[int | None] = None

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        super().__init__(settings, http)
        self._chosen: dict[Spot, list[Station]] = {}
        self.notes: list[str] = []

    @abstractmethod
    def near(self, spot: Spot, today: date) -> list[Station]:
        """Stations that measure both extremes; further than is asked for does no harm."""

    @abstractmethod
    def pieces(self, station: Station, part: FetchSpan, today: date) -> list[Piece]:
        """What to fetch, the newest first."""

    def listed(
        self, url: str, read: Callable[[bytes], tuple[list[Station], int]], keep_for: float
    ) -> list[Station]:
        """The stations of a list; the last good one serves while there is no good new one."""
        reply = self.http.get(url, read, keep_for=keep_for, size=itemgetter(1))
        if reply.fault is not None:
            self.notes.append(f"the list of stations is an old one: the service {reply.fault.words}")
        return reply.value[0]

    def joined(self, pieces: Sequence[Days]) -> Days:
        """The days of a station from those of its pieces."""
        days: Days = pd.concat(pieces).sort_index()
        if not days.index.is_unique:
            raise ServiceError("damaged", f"sent {days.index[days.index.duplicated()][0]:%Y-%m-%d} twice")
        left_out = sum((Counter(piece.attrs.get("left_out", {})) for piece in pieces), Counter[str]())
        days.attrs["left_out"] = dict(left_out)
        return days

    @abstractmethod
    def attribution(self, stations: Sequence[StationDays], days: Sequence[Days]) -> str:
        """The line to show."""

    def rounds(self, first: date, last: date) -> list[FetchSpan]:
        """The nearest station's recent years, then some years of all stations at a time, or all years."""
        years = self.years_a_round
        rounds = span_rounds(first, last, years) if years else [FetchSpan(first, last)]
        recent = FetchSpan(max(date(last.year - FIRST_YEARS + 1, 1, 1), rounds[-1].first), last, stations=1)
        return [recent, *rounds]

    def choose(self, spot: Spot, today: date) -> list[Station]:
        """The stations to use, nearest first: those that are set, else the nearest with a known height.

        Raises `ServiceError` if there is none.
        """
        settings = self.settings
        for key in settings.station_ids:  # an id becomes part of an address
            if not self.ids.fullmatch(key):
                raise ServiceError("absent", f"knows no station {key}: its ids are like {self.like}")
        near = [s for s in self.near(spot, today) if self.ids.fullmatch(s.id)]
        near.sort(key=lambda s: s.distance_km)
        if settings.station_ids:
            absent = sorted(set(settings.station_ids) - {s.id for s in near})
            if absent:
                raise ServiceError("absent", f"knows no station {' or '.join(absent)}")
            return [s for s in near if s.id in settings.station_ids]
        found = [
            s
            for s in near
            if s.distance_km <= settings.radius_km and (s.elevation is not None or spot.elevation is None)
        ]
        if not found:
            raise ServiceError("absent", f"has no station within {settings.radius_km:.0f} km")
        return found[: settings.stations]

    def fetch(self, spot: Spot, part: FetchSpan, today: date) -> ServiceAnswer:
        """The stations' days of a round, brought to the spot."""
        if spot not in self._chosen:
            self._chosen[spot] = self.choose(spot, today)
        stations = self._chosen[spot][: part.stations]
        pieces = [piece for station in stations for piece in self.pieces(station, part, today)]
        got = _Fetched()
        got.fetch(pieces, self.title, self.http)
        if all(reply.from_cache for _, reply in got.replies):
            # The copies that are here are in the store already.
            newest = any(part.last.year in piece.years for piece, _ in got.replies)
            if got.reason is not None or (not newest and part.last.year == today.year):
                raise got.reason or ServiceError("absent", "has no day of that time")
        notes, self.notes = [*self.notes, *got.notes()], []
        have: list[StationDays] = []
        used: list[Days] = []
        for station in stations:
            own = [reply.value for piece, reply in got.replies if piece.station is station]
            if not own:
                continue
            days = self.joined(own)
            left_out = days.attrs.get("left_out", {})
            days = days.loc[str(part.first) : str(min(part.last, today - timedelta(days=1)))]
            weather, crossed = as_weather(days)
            if weather is None:
                notes.append(f"{station.id} has no day of {part.first.year}-{part.last.year}")
                continue
            notes += [f"{station.id}: {n} values left out, {why}" for why, n in sorted(left_out.items())]
            if crossed:
                notes.append(f"{station.id}: {crossed} days with tmin above tmax left out")
            have.append(StationDays(station, weather))
            used.append(days)
        if not have:
            raise ServiceError("absent", "has no day of that time")
        have, shifts = judged_by_each_other(have)
        blend = blend_stations(have, spot, part.first, part.last)
        there = np.flatnonzero(blend.weather.source != "")
        if not len(there):
            raise ServiceError("absent", "has no day of that time")
        first, last = (date.fromordinal(int(blend.weather.ordinals[at])) for at in (there[0], there[-1]))
        if blend.crossed:
            shifts.append(f"{blend.crossed} days left unknown: the stations do not agree on them")
        return ServiceAnswer(
            Origin(self.provider, ", ".join(blend.used), self.attribution(have, used)),
            got.fetched_at,
            days=blend.weather.between(first, last),
            stations=blend.stations[there[0] : there[-1] + 1],
            suspect=blend.suspect,
            notes=(*notes, *shifts),
            whole=not got.failed,
        )


@dataclass
class _Fetched:
    """What became of a round's pieces."""

    replies: list[tuple[Piece, Reply[Days]]] = field(default_factory=list)
    failed: list[Piece] = field(default_factory=list)
    absent: list[Piece] = field(default_factory=list)
    reason: ServiceError | None = None

    def fetch(self, pieces: Sequence[Piece], title: str, http: Http) -> None:
        """Ask for each, until it is plain that there is no use in it."""
        failures = 0
        for n, piece in enumerate(pieces):
            http.progress(title, n, len(pieces))
            if failures >= PATIENCE:
                self.failed.append(piece)
                continue
            try:
                reply = http.get(piece.url, piece.parse, piece.params, piece.keep_for, piece.absent_for)
            except ServiceError as error:
                if error.fault == "offline":
                    raise  # the copies that are here are in the store already
                if error.fault == "absent":
                    self.absent.append(piece)
                    continue
                self.failed.append(piece)
                self.reason = self.reason or error
                failures += PATIENCE if error.fault in ("limit", "unready", "late") else 1
            else:
                self.replies.append((piece, reply))
                failures = failures if reply.from_cache else 0
        http.progress(title, len(pieces), len(pieces))

    @property
    def fetched_at(self) -> datetime:
        """When the newest piece was made."""
        return max(reply.fetched_at for _, reply in self.replies)

    def notes(self) -> list[str]:
        """What is absent and what was not received."""
        notes = [f"no file for {in_words(self.absent)}"] if self.absent else []
        if self.reason is not None:
            notes.append(f"{self.reason.words}; not received: {in_words(self.failed)}")
        return notes


def in_words(pieces: Iterable[Piece]) -> str:
    """Station-years in a line.

    Examples
    --------
    >>> one, other = (Station(name, name, 0.0, 1.0) for name in ("10637", "10635"))
    >>> years = [(one, 2003), (one, 2004), (one, 2005), (one, 2009), (other, 2010)]
    >>> in_words(Piece(station, range(y, y + 1), "", pd.DataFrame, 0.0) for station, y in years)
    '10637: 2003-2005, 2009; 10635: 2010'
    """
    by_station: dict[str, set[int]] = {}
    for piece in pieces:
        by_station.setdefault(piece.station.id, set()).update(piece.years)
    parts = []
    for station, years in by_station.items():
        # Years in a row keep their distance from their place in the list.
        runs = [[y for _, y in run] for _, run in groupby(enumerate(sorted(years)), lambda at: at[1] - at[0])]
        parts.append(f"{station}: " + ", ".join(f"{r[0]}-{r[-1]}" if len(r) > 1 else str(r[0]) for r in runs))
    return "; ".join(parts)
