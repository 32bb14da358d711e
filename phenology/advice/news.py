"""What is worth a message: what changed since the last one, and what cannot wait for the next.

The counts of days are ours.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from phenology.advice.adviser import stop_days
from phenology.advice.agenda import Agenda, AgendaRow, Section
from phenology.advice.care import CareDue
from phenology.advice.forecast_change import (
    NEWS_DAYS,
    ForecastChange,
    Issued,
    Key,
    issued_by,
    misses,
    moved_outside,
    stop_changes,
)
from phenology.advice.visits import PRESSING, Visit

DIGEST_DAYS = 7  # messages lie at least so far apart, unless something cannot wait
CLOSES_DAYS = 7  # a window that closes within so many days cannot
WEATHER_DAYS = 3  # nor frost or heat so near
A_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Told:
    """What the last message told."""

    on: date | None = None  # its day; None before the first
    issued: Mapping[Key, Issued] = field(default_factory=dict)  # when each coming stage was said to come
    # by tree id, until when each tree was said to be cut. [day of season]
    stops: Mapping[str, float] = field(default_factory=dict)
    today: frozenset[str] = frozenset()  # ids of the trees that were to be looked at
    # what could not wait, with the last day that was told of it
    alerts: Mapping[str, date] = field(default_factory=dict)


@dataclass(frozen=True)
class News:
    """What a message says."""

    since: date | None  # the day of the message before
    weather: tuple[CareDue, ...]  # frost or heat that threatens new growth
    closing: tuple[tuple[AgendaRow, Visit], ...]  # windows about to close, the soonest first
    looks: tuple[AgendaRow, ...]  # trees to look at today that were not told of
    changes: tuple[ForecastChange, ...]  # misses, dates that moved out of their range, stop dates that moved
    told: Told  # what will have been told once it is sent
    # what has been told if nothing is sent: a spell of weather that goes on is still the one told of
    unsent: Told

    @property
    def presses(self) -> bool:
        """Whether it cannot wait for the week to be over."""
        return bool(self.weather or self.closing)

    @property
    def worth_sending(self) -> bool:
        """Whether there is anything to say, and the last message is a week past or it cannot wait."""
        if self.presses:
            return True
        told_on = self.told.on
        rested = self.since is None or told_on is None or (told_on - self.since).days >= DIGEST_DAYS
        return rested and bool(self.looks or self.changes)


def all_told(agenda: Agenda) -> Told:
    """What somebody knows who was told all of an agenda, but for what cannot wait."""
    today = frozenset(row.tree.id for row in agenda.of(Section.TODAY))
    stops = stop_days(agenda.garden, agenda.forecast.seasons)
    return Told(agenda.garden.as_of, _rounded(issued_by(agenda.forecast)), stops, today)


def news(agenda: Agenda, now: Told, before: Told) -> News:
    """What a garden's agenda has to say to somebody who was told `before`; `now` is `all_told` of it."""
    garden, forecast = agenda.garden, agenda.forecast
    same_season = before.on is not None and garden.calendar.season_of(before.on) == garden.season
    changes: list[ForecastChange] = []
    if same_season:
        changes = [*misses(before.issued, forecast), *moved_outside(before.issued, forecast)]
        moved = stop_changes(before.stops, now.stops, garden, {})
        changes += [replace(c, why="") for c in moved if abs(c.days) >= NEWS_DAYS]
    known = before.today if same_season else frozenset()
    threats = [care for care in agenda.care if _threatens(care, garden.as_of)]
    weather = tuple(care for care in threats if not _goes_on(care, before.alerts))
    closing = tuple(_closing(agenda, before.alerts))
    kept = {key: day for key, day in before.alerts.items() if day >= garden.as_of - A_DAY}
    kept |= {_threat(care): care.last for care in threats if care not in weather}
    alerts = kept | {_threat(care): care.last for care in weather}
    alerts |= {_window(row, visit): visit.by for row, visit in closing if visit.by is not None}
    looks = tuple(row for row in agenda.of(Section.TODAY) if row.tree.id not in known)
    unsent = replace(before, alerts=kept)
    told = replace(now, alerts=alerts)
    return News(before.on, weather, closing, looks, tuple(_once(changes)), told, unsent)


def _rounded(issued: Mapping[Key, Issued]) -> dict[Key, Issued]:
    """To a hundredth of a day, as it is kept."""
    days = {key: (one.low, one.middle, one.high) for key, one in issued.items()}
    return {key: Issued(*(t and round(t, 2) for t in three)) for key, three in days.items()}


def _once(changes: list[ForecastChange]) -> Iterator[ForecastChange]:
    """A date that a look outlived also moved: it is told once."""
    seen: set[tuple[str, str, date]] = set()
    for change in changes:
        key = change.label, change.stage, change.expected
        if key not in seen:
            seen.add(key)
            yield change


def _threatens(care: CareDue, today: date) -> bool:
    return care.care in PRESSING and care.last >= today and (care.first - today).days <= WEATHER_DAYS


def _goes_on(care: CareDue, alerts: Mapping[str, date]) -> bool:
    """Whether it is a spell that was told of: one is told once, however its days shift."""
    told = alerts.get(_threat(care))
    return told is not None and care.first <= told + A_DAY


def _closing(agenda: Agenda, alerts: Mapping[str, date]) -> Iterator[tuple[AgendaRow, Visit]]:
    today, found = agenda.garden.as_of, []
    for row in agenda.of(Section.TODAY):
        for visit in row.presses:
            if visit.step is None or visit.by is None or not 0 <= (visit.by - today).days <= CLOSES_DAYS:
                continue
            told = alerts.get(_window(row, visit))
            if told is None or (told - visit.by).days >= NEWS_DAYS:
                found.append((row, visit))
    yield from sorted(found, key=lambda one: (one[1].by or date.max, one[0].tree.label))


def _threat(care: CareDue) -> str:
    return f"{care.care} {care.tree.id}"


def _window(row: AgendaRow, visit: Visit) -> str:
    step = visit.step
    assert step is not None
    return f"{visit.operation} {row.tree.id} {step.season} {step.flush}"
