"""The forecast as a calendar (RFC 5545): all-day events that update instead of piling up.

An event's identity is its tree, season, flush, stage and kind, so a new forecast moves the event
that the phone already shows. SEQUENCE rises only when something of it changed; what is no longer expected
is cancelled.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from phenology.advice.care import WIRE, care_due
from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.next_steps import NextStep, coming_steps
from phenology.garden import Garden
from phenology.model.errors import InputError
from phenology.work.cautions import LOOK_FIRST
from reports.text.forecast_text import STATE
from reports.text.words import capital, short_date

PRODUCT = "-//flushcast//garden//EN"
UID_END = "@flushcast"
CARE = {
    "shade": "shade and shelter",
    "shelter": "shelter, do not feed",
    "water": "water less",
    "pests": "look for pests",
    "buds": "look at the buds",
    "feed": "feed",
    "again": "is the pest gone?",
    WIRE: "look at the wire",
}
"""Care after work in a phone's width."""
ONE_DAY = ("water", "feed")  # told on the day it begins: a bar of weeks would bury the rest


@dataclass(frozen=True)
class Event:
    """One all-day event.

    Attributes
    ----------
    key : tuple of str
        Tree id, season, flush, stage, kind ("look", "window" or "stop"); tree id, work id, "wire"; tree id,
        work id, what is to be done, days from the work, "care".
    title : str
        Short, for a phone.
    first, last : datetime.date
        Both included.
    words : str
        What the event says when it is opened, before the caution.
    weekly_until : datetime.date or None
        For a rhythm of looks: repeats every week until then.
    """

    key: tuple[str, ...]
    title: str
    first: date
    last: date
    words: str
    weekly_until: date | None = None

    @property
    def kind(self) -> str:
        """What the event is for."""
        return self.key[-1]

    @property
    def uid(self) -> str:
        """Its identity, the same from forecast to forecast."""
        return f"{uuid5(NAMESPACE_URL, 'flushcast:' + '/'.join(self.key))}{UID_END}"


def events_of(forecast: GardenForecast) -> Iterator[Event]:
    """Looks, windows and stop dates of the coming months, wire looks, and care after work."""
    for step in coming_steps(forecast):
        yield from _step_events(step)
    yield from _care_events(forecast.garden)


def _step_events(step: NextStep) -> Iterator[Event]:
    row, label, today = step.row, step.row.tree.label, step.garden.as_of
    key = (row.tree.id, str(row.season), str(row.flush), row.stage)
    does = row.advice.does if row.advice and row.operation else ""
    words = f"{f'If firm, {does}' if does else 'Note what you see'}. Trust: {row.trust.words}."
    if step.undated:
        first, until = step.weekly
        yield Event((*key, "look"), f"{label}: look weekly", first, first, words, until)
    else:
        yield Event((*key, "look"), f"{label}: look", row.look_on, row.look_on, words)
        low, high = step.date_at(0.1), step.date_at(0.9)
        if low is not None and high is not None and high >= today:
            title = f"{label}: probably {STATE[row.stage]}"
            yield Event((*key, "window"), title, max(low, today), high, words)
    stop = step.last_safe
    if stop is not None and stop >= today:
        words = "A later cut wakes growth that may freeze before it is hard."
        yield Event((*key, "stop"), f"{label}: last day to cut", stop, stop, words)


def _care_events(garden: Garden) -> Iterator[Event]:
    """Care after work; what two pieces of work on a tree ask for alike is told once."""
    known: set[tuple[str, str, date]] = set()
    for care in care_due(garden):
        tree, name, first, last = care.tree, care.care, care.first, care.last
        words = capital(care.what)
        key: tuple[str, ...] = (tree.id, care.work.id, name)
        if name == WIRE:
            first = last = max(first, garden.as_of)
        else:
            key = (*key, str((first - care.work.latest).days), "care")
        if name in ONE_DAY:
            words, last = f"{words} (until {short_date(last)})", first
        if last >= garden.as_of and (tree.id, name, first) not in known:
            known.add((tree.id, name, first))
            yield Event(key, f"{tree.label}: {CARE[name]}", first, last, f"{words}.")


def calendar_text(forecast: GardenForecast, name: str, old: Mapping[str, Any] | None = None) -> bytes:
    """The calendar, brought up to date from the one written before.

    Parameters
    ----------
    forecast : GardenForecast
    name : str
        Of the garden, shown as the calendar's name.
    old : mapping of UID to event, optional
        The events of the file as it stands; see `events_before`.
    """
    from icalendar import Calendar

    old = old or {}
    calendar = Calendar()
    calendar.add("PRODID", PRODUCT)
    calendar.add("VERSION", "2.0")
    calendar.add("CALSCALE", "GREGORIAN")
    calendar.add("NAME", name)
    calendar.add("X-WR-CALNAME", name)
    stamp = datetime.combine(forecast.garden.as_of, time(), UTC)
    wanted = {event.uid: event for event in events_of(forecast)}
    for uid, event in wanted.items():
        calendar.add_component(_component(event, old.get(uid), stamp))
    for uid, component in old.items():
        if uid not in wanted and (kept := _kept(component, stamp)) is not None:
            calendar.add_component(kept)
    return bytes(calendar.to_ical())


def events_before(before: bytes) -> dict[str, Any]:
    """The events of a calendar file written earlier, by UID.

    Raises
    ------
    InputError
        If the file is no calendar, or not one of ours.
    """
    from icalendar import Calendar

    try:
        calendar = Calendar.from_ical(before)
    except ValueError as error:
        raise InputError(f"the file there is no calendar ({error}); choose another name with --out") from None
    if str(calendar.get("PRODID", "")) != PRODUCT:
        raise InputError("the calendar there was not written by flushcast; choose another name with --out")
    return {str(event["UID"]): event for event in calendar.walk("VEVENT")}


def _component(event: Event, old: Any, stamp: datetime) -> Any:
    from icalendar import Event as Component

    new = Component()
    new.add("UID", event.uid)
    new.add("SUMMARY", event.title)
    new.add("DTSTART", event.first)
    new.add("DTEND", event.last + timedelta(days=1))  # the end of an all-day event is the day after it
    if event.weekly_until is not None:
        new.add("RRULE", {"FREQ": "WEEKLY", "UNTIL": event.weekly_until})
    new.add("DESCRIPTION", f"{event.words} {LOOK_FIRST}")
    new.add("CATEGORIES", [event.kind])
    new.add("STATUS", "CONFIRMED")
    new.add("TRANSP", "TRANSPARENT")
    if old is not None and _said(old) == _said(new):
        return old
    new.add("SEQUENCE", 0 if old is None else int(old.get("SEQUENCE", 0)) + 1)
    new.add("DTSTAMP", stamp)
    return new


def _said(component: Any) -> dict[str, bytes]:
    """Everything an event says, without its number and stamp."""
    return {
        name: component[name].to_ical() for name in sorted(component) if name not in ("SEQUENCE", "DTSTAMP")
    }


def _kept(old: Any, stamp: datetime) -> Any:
    """An event no longer expected: left as it was when past, cancelled when to come."""
    if old["DTEND"].dt <= stamp.date() and "RRULE" not in old:
        return old if str(old.get("STATUS")) != "CANCELLED" else None
    if str(old.get("STATUS")) != "CANCELLED":
        old["SEQUENCE"] = int(old.get("SEQUENCE", 0)) + 1
        del old["STATUS"], old["DTSTAMP"]
        old.add("STATUS", "CANCELLED")
        old.add("DTSTAMP", stamp)
    return old
