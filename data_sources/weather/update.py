"""Bring a place's weather up to date: services in the garden's order, what they give into the store.

First what a first forecast needs (a forecast, the nearest station's recent years), then the rest of the
history, round by round. Every round is in the store before the next is asked, so an update can be stopped
at any time, or run out of its time, and the next goes on from there. What fails is said, and the store stays
as it was. What is offered is judged beside the store: doubtful days are marked, corrections that are very
large or very many wait (`WeatherStore.add`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from data_sources.weather.request_log import RequestLog
from data_sources.weather.services.protocol.service import FetchSpan, Service, ServiceAnswer, Spot
from data_sources.weather.services.transport.faults import ServiceError, parser
from data_sources.weather.services.transport.http import Progress
from data_sources.weather.store.weather_store import WeatherStore
from data_sources.weather.update_words import Brought, no_network, stays
from phenology.model.errors import WeatherError
from phenology.weather.revisions import unlikely_days, waiting_corrections
from phenology.weather.series import SOURCES, DailyWeather, source_rank

Announce = Callable[[str], None]

LAG = 10  # days that measurements may be behind, if a model has them
SHORT_RUNS = 3  # newest days for which a newer run of the forecast model replaces an older one
FEW = 3  # days of a forecast that may be unlikely
HORIZON = 35  # days of forecast that are asked for; services give what they have


@dataclass
class UpdateReport:
    """What an update did."""

    lines: list[str] = field(default_factory=list)  # for the grower, in the order things happened
    brought: dict[str, Brought] = field(default_factory=dict)  # services that answered, by name
    failed: list[str] = field(default_factory=list)  # names of services
    offline: bool = False  # nothing could be reached
    fresh: bool = True  # whether any answer came over the wire, or none was needed
    coverage: str = ""  # of the place's weather afterwards, in words; empty where there is none


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
    log: RequestLog | None = None,
    first_only: bool = False,
    progress: Progress = lambda what, done, total: None,
    announce: Announce = lambda _: None,
) -> UpdateReport:
    """Ask the services, in their order, for what the store lacks of a place.

    Parameters
    ----------
    services : sequence of Service
        A later one is asked for the days that the earlier did not give.
    years : int
        Of history.
    past_days : int
        Past days asked of forecast models.
    log : RequestLog, optional
        What was answered before.
    first_only : bool
        Stop when there is enough for a first forecast.
    progress, announce : callable
        Hear what is going on.

    Raises
    ------
    StoreError
        If the store cannot be written. Rounds before that are kept.
    """
    leading = {service.source: service.name for service in reversed(services)}
    log = log or RequestLog(None, place, spot)
    update = _Update(store, place, spot, now, log, progress, announce, leading)
    report, today = update.report, update.today
    history = [s for s in services if s.gives == "history"]
    span = FetchSpan(date(today.year - years, 1, 1), today - timedelta(days=1))
    ahead = FetchSpan(today - timedelta(days=past_days), today + timedelta(days=HORIZON))
    try:
        any(update.ask(service, ahead) for service in services if service.gives == "forecast")
        any(update.first_round(service, span, last_word=first_only) for service in history)
        any(update.ask(service, ahead) for service in services if service.gives == "ensemble")
        if not first_only:
            left = update.left_to_do(history, span)
            if left and report.brought:
                enough = "there is enough for a first forecast; " if update.enough() else ""
                announce(f"{enough}{left} follow")
            for service in history:
                update.ask_history(service, span, first=service is history[0])
    except _OfflineError:
        return UpdateReport([no_network(store, place, now)], offline=True, fresh=False)
    report.lines += [one.line() for one in report.brought.values()]
    if update.late:
        report.lines.append(f"the time of an update is over; the next goes on with {', '.join(update.late)}")
    report.fresh = update.fresh or not (report.failed or update.late)
    return report


@dataclass
class _Update:
    """One update of one place."""

    store: WeatherStore
    place: str
    spot: Spot
    now: datetime
    log: RequestLog
    progress: Progress
    announce: Announce
    leading: Mapping[str, str]  # the first service of each source
    report: UpdateReport = field(default_factory=UpdateReport)
    late: list[str] = field(default_factory=list)
    fresh: bool = False
    given_up: set[str] = field(default_factory=set)
    waiting: set[str] = field(default_factory=set)
    unreached: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.today, self.before = self.spot.today(self.now), self.store.newest_batch()

    # --- asking ------------------------------------------------------------------------------------------

    def first_round(self, service: Service, span: FetchSpan, *, last_word: bool) -> bool:
        """The first round of a history service; true when it need not be asked or has answered.

        A failure of the nearest station is only said when the others will not be asked (`last_word`).
        """
        part = service.rounds(span.first, span.last)[0]
        if self.log.known(_noted(service)) and self._have(service.source, part):
            return True
        answer = self.ask(service, part, softly=part.stations is not None and not last_word)
        return answer is not None and answer.days is not None

    def ask_history(self, service: Service, span: FetchSpan, *, first: bool) -> None:
        """The rounds of a history service that are not settled; of a later one, those with lacking days."""
        for part in self._open_rounds(service, span):
            if service.name not in self.given_up and (first or self._lacking(service, part)):
                self.ask(service, part)

    def enough(self) -> bool:
        """Whether a first forecast can be made: most of the last year is known, and a forecast is there."""
        weather = self.store.find(self.place)
        if weather is None or weather.last_day < self.today:
            return False
        year = weather.between(self.today - timedelta(days=365), self.today)
        return int(year.known.sum()) > 365 - 2 * LAG

    def left_to_do(self, history: Sequence[Service], span: FetchSpan) -> str:
        """What the rest of an update is about, in words; empty when there is little."""
        service = next((one for one in history if one.name not in self.given_up), None)
        years = {y for part in self._open_rounds(service, span) for y in part.years} if service else set()
        old = years - {self.today.year, self.today.year - 1}
        return f"{len(years)} years of {service.title}" if service and old else ""

    def _open_rounds(self, service: Service, span: FetchSpan) -> list[FetchSpan]:
        return [
            part
            for part in service.rounds(span.first, span.last)
            if part.stations is None
            and not self.log.settled(_noted(service), part, self.today, self._have(service.source, part))
        ]

    def ask(self, service: Service, part: FetchSpan, *, softly: bool = False) -> ServiceAnswer | None:
        """Ask, and keep what comes; None when it failed."""
        http = service.http
        http.begin_answer()
        http.progress = self.progress
        http.on_wait = lambda wait: self.announce(f"{service.title} asks to wait {wait:.0f} s")
        self.progress(service.title, 0, 1)
        try:
            if service.lacks():
                raise ServiceError("unready", service.lacks())
            answer = parser(service.fetch)(self.spot, part, self.today)
            self.fresh |= http.fresh
            self._refuse_unlikely_forecast(answer)
            self._take(service, answer)
            self._remember(service, part, answer)
        except ServiceError as error:
            if error.fault == "unbelievable":
                http.forget()
            if not softly or error.fault in ("offline", "limit", "unready"):
                self._failed(service, error)
            return None
        except WeatherError as error:
            self._failed(service, ServiceError("unbelievable", f"gave nothing to use: {error}"))
            return None
        return answer

    def _failed(self, service: Service, error: ServiceError) -> None:
        if error.fault == "late":
            self.given_up.add(service.name)
            self.late += [service.title] if service.title not in self.late else []
            return
        if error.fault != "absent":
            self.given_up.add(service.name)
        if service.name not in self.report.failed:
            self.report.failed.append(service.name)
        if error.fault == "offline":
            self.unreached.add(service.name)
            if not self.report.brought and len(self.unreached) > 1:
                raise _OfflineError
        line = f"{service.title} {error.words}"
        if service.gives != "history":
            line += f"; {stays(self.store, self.place, self.now)}"
        self._say(line)

    # --- keeping -----------------------------------------------------------------------------------------

    def _take(self, service: Service, answer: ServiceAnswer) -> None:
        """Into the store what is better than what is there."""
        brought = self.report.brought.setdefault(service.name, Brought(service.title))
        if answer.forecast is not None:
            self.store.add_forecast(
                self.place,
                answer.forecast,
                answer.origin,
                fetched_at=answer.fetched_at,
                issued=min(answer.issued or self.spot.today(answer.fetched_at), self.today),
                members=answer.members,
            )
            if answer.forecast.known.any():
                members = f", {len(answer.members)} members" if answer.members else ""
                brought.forecast = f"forecast to {answer.forecast.last_known_day()}{members}"
        days = self._offered(service, answer)
        if days is not None:
            suspect, wait = self._judged(answer, days)
            added = self.store.add(
                self.place,
                days,
                answer.origin,
                fetched_at=answer.fetched_at,
                suspect=suspect,
                wait=wait,
                stations=answer.stations,
                # At a new place only the first of its kind may replace what others gave.
                prefer=self.log.moved(self.today) and service.name == self.leading[service.source],
            )
            brought.add(added)
            if added.held:  # only what is sent anew can confirm it
                service.http.forget()
                self.waiting.add(service.name)
        brought.detail = answer.origin.detail or brought.detail
        for note in answer.notes:
            self._say(f"{service.title}: {note}")

    def _offered(self, service: Service, answer: ServiceAnswer) -> DailyWeather | None:
        """The days of an answer that the store may take: a forecast model's older ones only fill holes."""
        days = answer.days
        stored = self.store.read_source(self.place, service.source)
        if days is None or service.gives == "history" or stored is None:
            return days
        # They stand in until the archive has them.
        old = days.ordinals < self.today.toordinal() - SHORT_RUNS
        return days.only(~(old & stored.spanning(days.first_day, days.last_day).known))

    def _judged(self, answer: ServiceAnswer, days: DailyWeather) -> tuple[dict[date, str], dict[date, str]]:
        """What is doubtful of offered days beside the store, and which corrections must wait."""
        suspect: dict[date, str] = {}
        wait: dict[date, str] = {}
        counts = answer.stations if answer.stations is not None else np.ones(len(days), dtype=np.int64)
        for name in np.unique(days.source[days.source != ""]).tolist():
            new = days.only(days.source == name)
            known, others = None, None
            if not self.log.moved(self.today):
                known = self.store.read_source(self.place, name)
                others = self.store.read_others(self.place, name)
                old = self.store.taken_from(
                    self.place, name, answer.origin.provider, new.first_day, new.last_day, self.before
                )
                wait |= waiting_corrections(new, counts, *old)
            suspect |= unlikely_days(new, known, others, answer.suspect)
        return suspect, wait

    def _refuse_unlikely_forecast(self, answer: ServiceAnswer) -> None:
        """A forecast that cannot be where this place lies is another unit, or another place's."""
        ahead = answer.forecast
        known = self.store.find(self.place)
        if ahead is None or known is None or self.log.moved(self.today):
            return
        found = unlikely_days(ahead, known.between(known.first_day, self.today), None)
        if len(found) >= FEW:
            why = next(iter(found.values()))
            raise ServiceError("unbelievable", f"sent a forecast that cannot be here ({why})")

    def _remember(self, service: Service, part: FetchSpan, answer: ServiceAnswer) -> None:
        if part.stations is None and answer.whole and service.name not in self.waiting:
            self.log.note(_noted(service), part, self.today, self._have(service.source, part))

    # --- what is there -----------------------------------------------------------------------------------

    def _have(self, source: str, part: FetchSpan) -> int:
        stored = self.store.read_source(self.place, source)
        return 0 if stored is None else int(stored.between(part.first, part.last).known.sum())

    def _lacking(self, service: Service, part: FetchSpan) -> bool:
        """Whether a round has days that no better or equal source has.

        The newest days may wait for measurements while a model has them.
        """
        weather = self.store.find(self.place)
        if weather is None:
            return True
        days = weather.spanning(part.first, part.last)
        good = [name for name in SOURCES[:3] if source_rank(name) <= source_rank(service.source)]
        modelled = days.known & (days.source == "model") & (days.ordinals > self.today.toordinal() - LAG)
        return bool((~(days.known & np.isin(days.source, good)) & ~modelled).any())

    def _say(self, line: str) -> None:
        if line not in self.report.lines:
            self.report.lines.append(line)


def _noted(service: Service) -> str:
    """Its name in the note of what was asked: what another address answered is not remembered of this one."""
    address = service.settings.addresses.get(service.name)
    return f"{service.name}@{address}" if address else service.name
