"""Bring a place's weather up to date: services in the garden's order, what they give into the store.

First what a first forecast needs (the nearest station's recent years, a forecast), then the rest of the
history, round by round. Every round is in the store before the next is asked, so an update can be stopped
at any moment and goes on from there. What fails is said, and the store stays as it was.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from data_sources.weather.asked_log import AskedLog
from data_sources.weather.services.protocol.service import (
    Answer,
    Progress,
    Round,
    Service,
    Spot,
    no_progress,
)
from data_sources.weather.services.transport.faults import ServiceError
from data_sources.weather.store.weather_store import WeatherStore
from data_sources.weather.update_words import (
    age_in_words,
    brought,
    newest_forecast,
    no_network,
    stays,
)
from phenology.model.errors import WeatherError
from phenology.weather.series import SOURCES, DailyWeather, source_rank

LAG = 10  # days that measurements may be behind, if a model has them
SHORT_RUNS = 3  # newest days for which a newer run of the forecast model replaces an older one
HORIZON = 35  # days of forecast that are asked for; services give what they have


@dataclass
class UpdateReport:
    """What an update did.

    Attributes
    ----------
    lines : list of str
        For the grower, in the order things happened.
    new, replaced : int
        Days that are new in the store, or changed.
    answered, failed : list of str
        Names of services.
    offline : bool
        Nothing could be reached.
    """

    lines: list[str] = field(default_factory=list)
    new: int = 0
    replaced: int = 0
    answered: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    offline: bool = False


class _OfflineError(Exception):
    """No service can be reached: asking on would only cost time."""


def update_weather(
    store: WeatherStore,
    place: str,
    spot: Spot,
    services: Sequence[Service],
    *,
    now: datetime,
    years: int = 30,
    past_days: int = 10,
    log: AskedLog | None = None,
    first_only: bool = False,
    progress: Progress = no_progress,
    announce: Callable[[str], None] = lambda _: None,
) -> UpdateReport:
    """Ask the services for what the store lacks.

    Parameters
    ----------
    store : WeatherStore
    place : str
        Id of the place.
    spot : Spot
        Where it is.
    services : sequence of Service
        In the order they are tried. A later one is asked for the days that the earlier did not give.
    now : datetime
        With time zone.
    years : int
        Of history.
    past_days : int
        Past days asked of forecast models.
    log : AskedLog, optional
        What was answered before.
    first_only : bool
        Stop when there is enough for a first forecast.
    progress, announce : callable
        Told what is going on.

    Returns
    -------
    UpdateReport

    Raises
    ------
    StoreError
        If the store cannot be written. Rounds before that are kept.
    """
    today = spot.today(now)
    work = _Work(store, place, spot, today, now, log or AskedLog(None, place, spot), progress)
    history = [s for s in services if s.gives == "history"]
    # The ensemble goes first, so that the forecast proper is the newest and is the one that is read.
    ahead = [s for s in services if s.gives == "ensemble"], [s for s in services if s.gives == "forecast"]
    span = Round(date(today.year - years, 1, 1), today - timedelta(days=1))
    try:
        for service in history:
            if work.first_round(service, span, last_word=first_only):
                break
        for group in ahead:
            for service in group:
                if work.ask_forecast(service, past_days):
                    break
        if not first_only:
            left = work.left_to_do(history, span)
            if left and work.report.answered:
                announce(f"there is enough for a first forecast; {left} follow")
            for service in history:
                work.ask_history(service, span, first=service is history[0])
    except _OfflineError:
        work.report.offline = True
        work.report.lines = [no_network(store, place, now)]
    return work.finished()


class _Work:
    """One update of one place."""

    def __init__(
        self,
        store: WeatherStore,
        place: str,
        spot: Spot,
        today: date,
        now: datetime,
        log: AskedLog,
        progress: Progress,
    ) -> None:
        self.store, self.place, self.spot, self.today, self.now = store, place, spot, today, now
        self.log, self.progress = log, progress
        self.report = UpdateReport()
        self._unreached: list[str] = []
        self._told: set[str] = set()
        self._tally: dict[str, list[int]] = {}
        self._about: dict[str, str] = {}
        self._titles: dict[str, str] = {}
        self._given_up: set[str] = set()

    # --- asking ------------------------------------------------------------------------------------------

    def first_round(self, service: Service, span: Round, *, last_word: bool) -> bool:
        """The first round of a history service; true when it need not be asked or has answered.

        A failure of the nearest station is only told when the others will not be asked (`last_word`).
        """
        part = service.rounds(span.first, span.last)[0]
        if self.log.known(service.name) and self._have(service.source, part):
            return True
        answer = self._ask(service, part, softly=part.stations is not None and not last_word)
        if answer is None:
            return False
        self._take(service, answer)
        if part.stations is None:
            self._remember(service, part, answer)
        return answer.days is not None

    def ask_forecast(self, service: Service, past_days: int) -> bool:
        """A forecast service; true when it has answered."""
        part = Round(self.today - timedelta(days=past_days), self.today + timedelta(days=HORIZON))
        answer = self._ask(service, part)
        if answer is None:
            return False
        try:
            self._take(service, answer)
        except WeatherError as error:
            self._failed(service, ServiceError("damaged", f"gave nothing to use: {error}"))
            return False
        return True

    def ask_history(self, service: Service, span: Round, *, first: bool) -> None:
        """The rounds of a history service that are not settled; of a later one, those with lacking days."""
        for part in self._open_rounds(service, span):
            if service.name in self._given_up:
                return
            if not first and not self._lacking(service, part):
                continue
            answer = self._ask(service, part)
            if answer is not None:
                self._take(service, answer)
                self._remember(service, part, answer)

    def left_to_do(self, history: Sequence[Service], span: Round) -> str:
        """What the rest of an update is about, in words; empty when there is little."""
        for service in history:
            if service.name in self._given_up:
                continue
            parts = self._open_rounds(service, span)
            years = {y for p in parts for y in range(p.first.year, p.last.year + 1)}
            old = years - {self.today.year, self.today.year - 1}
            return f"{len(years)} years of {service.title}" if old else ""
        return ""

    def _open_rounds(self, service: Service, span: Round) -> list[Round]:
        return [
            part
            for part in service.rounds(span.first, span.last)
            if part.stations is None
            and not self.log.settled(service.name, part, self.today, self._have(service.source, part))
        ]

    def _ask(self, service: Service, part: Round, *, softly: bool = False) -> Answer | None:
        lacks = service.lacks()
        if lacks:
            self._failed(service, ServiceError("unready", lacks))
            return None
        try:
            answer = service.fetch(self.spot, part, self.today, self.progress)
        except ServiceError as error:
            if not softly or error.fault in ("offline", "limit", "unready"):
                self._failed(service, error)
            return None
        except WeatherError as error:
            self._failed(service, ServiceError("unbelievable", f"gave nothing to use: {error}"))
            return None
        self._titles[service.name] = service.title
        if service.name not in self.report.answered:
            self.report.answered.append(service.name)
        return answer

    def _failed(self, service: Service, error: ServiceError) -> None:
        if error.fault != "absent":
            self._given_up.add(service.name)
        line = f"{service.title} {error.words}"
        if line in self._told:
            return
        self._told.add(line)
        if service.name not in self.report.failed:
            self.report.failed.append(service.name)
        if error.fault == "offline":
            self._unreached.append(service.name)
            if not self.report.answered and len(self._unreached) > 1:
                raise _OfflineError
        if service.gives == "history":
            self.report.lines.append(line)
        else:
            self.report.lines.append(f"{line}; {stays(self.store, self.place, self.now)}")

    # --- keeping -----------------------------------------------------------------------------------------

    def _take(self, service: Service, answer: Answer) -> None:
        """Into the store what is better than what is there."""
        issued = self.spot.today(answer.fetched_at)
        if answer.forecast is not None:
            self.store.add_forecast(
                self.place,
                answer.forecast,
                answer.origin,
                fetched_at=answer.fetched_at,
                issued=min(issued, self.today),
                members=answer.members,
            )
        tally = self._tally.setdefault(service.name, [0, 0, 0])
        days = self._offered(service, answer)
        if days is not None:
            added = self.store.add(
                self.place,
                days,
                answer.origin,
                fetched_at=answer.fetched_at,
                suspect=answer.suspect,
            )
            tally[0] += added.added
            tally[1] += added.replaced
            tally[2] += added.suspicious
            self.report.new += added.added
            self.report.replaced += added.replaced
        if service.gives != "history":
            self._about[service.name] = newest_forecast(answer)
        elif answer.origin.detail:
            self._about[service.name] = answer.origin.detail
        if answer.stale_because:
            old = age_in_words(answer.fetched_at, self.now)
            self._say(f"{service.title} {answer.stale_because}; what it sent {old} is used again")
        for note in answer.notes:
            self._say(f"{service.title}: {note}")

    def _offered(self, service: Service, answer: Answer) -> DailyWeather | None:
        """The days of an answer that the store may take; in part, they fill holes only."""
        days = answer.days
        if days is None:
            return None
        years = np.array([date.fromordinal(int(o)).year for o in days.ordinals])
        holes_only = np.isin(years, sorted(answer.held))
        if service.gives != "history":
            # A forecast model's past days stand in until the archive has them.
            holes_only |= days.ordinals < self.today.toordinal() - SHORT_RUNS
        if not holes_only.any():
            return days
        low, high, source = days.tmin.copy(), days.tmax.copy(), days.source.copy()
        for name in set(source.tolist()) - {""}:
            stored = self._stored(name)
            if stored is not None:
                known = stored.spanning(days.first_day, days.last_day).known
                low[known & holes_only & (source == name)] = np.nan
        high[np.isnan(low) & ~np.isnan(days.tmin)] = np.nan
        return DailyWeather(days.first_day, low, high, source)

    def _remember(self, service: Service, part: Round, answer: Answer) -> None:
        if not answer.held and not answer.stale_because:
            self.log.note(service.name, part, self.today, self._have(service.source, part))

    # --- what is there -----------------------------------------------------------------------------------

    def _stored(self, source: str) -> DailyWeather | None:
        if not self.store.has(self.place):
            return None
        return self.store.read_source(self.place, source)

    def _have(self, source: str, part: Round) -> int:
        stored = self._stored(source)
        return 0 if stored is None else int(stored.between(part.first, part.last).known.sum())

    def _lacking(self, service: Service, part: Round) -> bool:
        """Whether a round has days that no better or equal source has.

        The newest days may wait for measurements while a model has them.
        """
        if not self.store.has(self.place):
            return True
        weather = self.store.find(self.place)
        if weather is None:
            return True
        part_of = weather.spanning(part.first, part.last)
        good = [name for name in SOURCES[:3] if source_rank(name) <= source_rank(service.source)]
        lacking = ~(part_of.known & np.isin(part_of.source, good))
        recent = part_of.ordinals > self.today.toordinal() - LAG
        stand_in = part_of.known & (part_of.source == "model")
        return bool((lacking & ~(recent & stand_in)).any())

    # --- saying ------------------------------------------------------------------------------------------

    def _say(self, line: str) -> None:
        if line not in self._told:
            self._told.add(line)
            self.report.lines.append(line)

    def finished(self) -> UpdateReport:
        """The report, with a line for every service that answered."""
        if self.report.offline:
            return self.report
        for name in self.report.answered:
            tally, about = self._tally.get(name, [0, 0, 0]), self._about.get(name, "")
            self.report.lines.append(brought(self._titles[name], tally, about))
        return self.report
