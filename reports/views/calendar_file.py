"""The forecast as a calendar (RFC 5545): all-day events that update instead of piling up.

An event's identity is its tree, season, flush, stage and kind, so a new forecast moves the event
that the phone already shows. SEQUENCE rises only when something of it changed; what is no longer expected
is cancelled.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from phenology.advice.agenda import make_agenda
from phenology.advice.care import WIRE, CareDue
from phenology.advice.forecast_rows import AHEAD_DAYS, ForecastRow, GardenForecast
from phenology.garden import Garden
from phenology.model.errors import InputError
from phenology.work.cautions import LOOK_FIRST
from reports.views.forecast_text import STATE
from reports.views.words import capital, date_range, tree_names

PRODUCT = "-//flushcast//garden//EN"
UID_END = "@flushcast"
FIRST_CARE = ("shade", "shelter")
"""Care that lasts from the work on for a while: a bar; the rest of what the work asks is told in it."""
SEASON = {"pinching": "pinch soft tips", "bloom": "shape as flowers fade"}
"""Duties of the season with a bar of their own; what is left to winter is told in one event."""
WEATHER = ("heat", "frost")
ALARM_HOURS = 7  # into the day; no alarm for a window, whose look has one


@dataclass(frozen=True)
class Event:
    """One all-day event, its first and last day included; a rhythm of looks repeats weekly until a day.

    Its key is tree id, season, flush, stage, kind ("look", "window" or "stop"); tree id, work id, kind
    ("wire", "care" or "after"); tree id, season, duty ("pinching", "bloom" or "winter"); day, "heat" or
    "frost".
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
    """Looks, windows and stop dates of the coming months, care after work, and the season's duties."""
    agenda = make_agenda(forecast)
    for step in agenda.coming:
        yield from _step_events(step, forecast.usual_warmth)
    trees: dict[str, list[CareDue]] = {}
    until = forecast.garden.as_of + timedelta(days=AHEAD_DAYS)
    for care in agenda.care:
        if care.first <= until:
            trees.setdefault(care.tree.id, []).append(care)
    for cares in trees.values():
        yield from _after_work([c for c in cares if c.work is not None], forecast.garden.as_of)
        yield from _of_season([c for c in cares if c.work is None], forecast.garden)
    yield from _of_weather([c for cares in trees.values() for c in cares if c.care in WEATHER])


def _step_events(step: ForecastRow, rests_on: str) -> Iterator[Event]:
    label, today = step.tree.label, step.garden.as_of
    key = (step.tree.id, str(step.season), str(step.flush), step.stage)
    does = step.advice.does if step.advice and step.operation else ""
    words = f"{f'If firm, {does}' if does else 'Note what you see'}. Trust: {step.trust.words}."
    words = f"{words} {rests_on}".strip()
    rhythm = step.undated or step.guess
    first, until = step.weekly if rhythm else (step.look_on, None)
    if step.decides:
        title = f"{label}: look weekly" if rhythm else f"{label}: look"
        yield Event((*key, "look"), title, first, first, words, until)
    low, high = step.date_at(0.1), step.date_at(0.9)
    if not rhythm and low is not None and high is not None and high >= today:
        title = f"{label}: probably {STATE[step.stage]}"
        yield Event((*key, "window"), title, max(low, today), high, words)
    stop = step.last_safe
    if stop is not None and stop >= today and step.advice is not None:
        words = f"{capital(step.advice.reason)}."
        yield Event((*key, "stop"), f"{label}: last day to cut", stop, stop, words)


def _after_work(cares: list[CareDue], today: date) -> Iterator[Event]:
    """The next look at wire; a bar of shade; one day to look at buds and for pests, with what else is due."""
    wire = [c for c in cares if c.care == WIRE]
    kept = [c for c in cares if c.care in FIRST_CARE]
    looks = [c for c in cares if c.look and c.care != WIRE]
    rest = [c for c in cares if not c.look and c.care not in FIRST_CARE]
    for care in wire:
        day = max(care.first, today)
        yield Event(_key(care, WIRE), f"{care.tree.label}: look at the wire", day, day, _listed([care]))
    if kept:
        care, last = kept[0], max(c.last for c in kept)
        title = f"{care.tree.label}: shade and shelter"
        yield Event(_key(care, "care"), title, care.first, last, _listed([*kept, *rest]))
    if looks:
        care, last = max(looks, key=lambda c: (c.first, c.care)), max(c.last for c in looks)
        title = f"{care.tree.label}: look at buds, and for pests"
        yield Event(_key(care, "after"), title, care.first, last, _listed([*looks, *rest]))


def _of_season(cares: list[CareDue], garden: Garden) -> Iterator[Event]:
    winter = [c for c in cares if c.care not in SEASON and c.care not in WEATHER]
    for care in cares:
        if care.care in SEASON and not (care.care == "bloom" and care.look):  # the round asks for that look
            season = str(garden.calendar.season_of(care.first))
            title = f"{care.tree.label}: {SEASON[care.care]}"
            yield Event((care.tree.id, season, care.care), title, care.first, care.last, _listed([care]))
    if winter:
        first = winter[0]
        season = str(garden.calendar.season_of(first.first))
        title = f"{first.tree.label}: winter list"
        yield Event((first.tree.id, season, "winter"), title, first.first, first.first, _listed(winter))


def _of_weather(cares: list[CareDue]) -> Iterator[Event]:
    """One event for all trees that the same heat or frost concerns."""
    groups: dict[tuple[date, str], list[CareDue]] = {}
    for care in cares:
        groups.setdefault((care.first, care.care), []).append(care)
    for (first, name), group in groups.items():
        title = f"{capital(name)}: {tree_names(sorted({c.tree.label for c in group}))}"
        yield Event((first.isoformat(), name), title, first, max(c.last for c in group), _listed(group))


def _key(care: CareDue, kind: str) -> tuple[str, ...]:
    return care.tree.id, care.work.id if care.work is not None else "", kind


def _listed(cares: Iterable[CareDue]) -> str:
    """What is to be done, each with its dates, told once."""
    return " ".join(dict.fromkeys(f"{capital(c.what)} ({date_range(c.first, c.last)})." for c in cares))


def calendar_text(forecast: GardenForecast, name: str, old: Mapping[str, Any] | None = None) -> bytes:
    """The calendar of a garden's name, brought up to date from the events of the file before, by UID."""
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

    Raises `InputError` if the file is no calendar, or not one of ours.
    """
    from icalendar import Calendar

    try:
        calendar = Calendar.from_ical(before)
    except ValueError as error:
        why = str(error)[:80]
        raise InputError(f"the file there is no calendar ({why}); choose another name with --out") from None
    if str(calendar.get("PRODID", "")) != PRODUCT:
        raise InputError("the calendar there was not written by flushcast; choose another name with --out")
    return {str(event["UID"]): event for event in calendar.walk("VEVENT") if _is_ours(event)}


def _is_ours(event: Any) -> bool:
    """Whether an event is as we write them; one that was altered so that it is not, is written anew."""
    try:
        end, sequence = event["DTEND"].dt, int(event.get("SEQUENCE", 0))
    except (KeyError, AttributeError, TypeError, ValueError):
        return False
    all_day = isinstance(end, date) and not isinstance(end, datetime)
    return all_day and {"UID", "DTSTAMP", "STATUS"} <= set(event) and 0 <= sequence < 2**31 - 1


def _component(event: Event, old: Any, stamp: datetime) -> Any:
    from icalendar import Alarm
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
    if event.kind != "window":
        alarm = Alarm()
        alarm.add("ACTION", "DISPLAY")
        alarm.add("DESCRIPTION", event.title)
        alarm.add("TRIGGER", timedelta(hours=ALARM_HOURS))
        new.add_component(alarm)
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
