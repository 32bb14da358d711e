"""Own readings of the weather: one day typed in, or a file of days, with the checks of `weather add`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from math import isfinite
from pathlib import Path
from typing import Any

from starlette.responses import Response

from data_sources.tables.problems import FileQuestion, TableError, sentences
from data_sources.tables.text_table import text_of
from data_sources.weather.files.reader import read_weather_file
from phenology.language.date_style import short_date
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.entries.readings import take_readings
from reports.views.words import counted
from reports.web.site import Visit
from reports.web.uploads import Upload, asked_plainly

FILE_UNITS = ("C", "F", "tenths")
TYPED = "your entry"


def readings(visit: Visit) -> Response:
    """The form, and what became of the readings that it sent."""
    if visit.request.method == "GET":
        return _form(visit)
    if visit.text("token"):
        held = visit.site.uploads.find(visit.text("token"), visit.owner)
        given = {name: str(value).strip() for name, value in visit.form.items() if value and ":" in name}
        with held.lock:
            held.answers |= given
            return _take_file(visit, visit.text("token"), held)
    if (raw := visit.files.get("file")) is not None:
        name = visit.names["file"]
        token = visit.site.uploads.keep(name, visit.owner, text_of(name, raw))
        held = visit.site.uploads.find(token, visit.owner)
        held.answers = {"place": visit.text("place")}
        if visit.text("units") in FILE_UNITS:
            held.answers["units:"] = visit.text("units")
        return _take_file(visit, token, held)
    if visit.form.get("file") is not None or "day" not in visit.form:
        return _form(visit, ["Choose a file first."])
    return _take_day(visit)


def _form(visit: Visit, wrong: list[str] | None = None, **given: Any) -> Response:
    """The page with its two forms; what is wrong stands above them, what was typed stays."""
    typed = {name: visit.text(name) for name in ("day", "low", "high", "place")}
    units = visit.garden.settings.units
    page: dict[str, Any] = {"token": "", "questions": [], "lines": [], "name": "", **given}
    return visit.page(
        "readings.html.j2", "Own readings", 422 if wrong else 200, wrong=wrong or [], typed=typed,
        places=visit.garden.places, units=f"°{units}", latest=visit.garden.today.isoformat(), **page,
    )  # fmt: skip


def _place(visit: Visit, id: str) -> Place:
    places = visit.garden.some_places
    return next((place for place in places if place.id == id), places[0])


def _take_day(visit: Visit) -> Response:
    """One day as typed: a table of one row, so that the same reader judges it."""
    garden, wrong = visit.garden, list[str]()
    try:
        day = date.fromisoformat(visit.text("day"))
    except ValueError:
        return _form(visit, ["Say which day it was, such as 2026-07-24."])
    low, high = (_number(visit.text(name)) for name in ("low", "high"))
    if low is None or high is None:
        wrong.append("Write minimum and maximum as numbers, such as 9.5.")
    elif low > high:
        wrong.append("The minimum is above the maximum; change one of them.")
    if day > garden.today or (day == garden.today and not garden.settings.stands_on):
        wrong.append(f"{short_date(day)} is not over yet; write it down when it is.")
    if wrong:
        return _form(visit, wrong)
    text = f"date,tmin,tmax\n{day},{low},{high}\n"
    known: dict[str, Any] = {"units": garden.settings.units}
    return _taken(visit, TYPED, text, known, _place(visit, visit.text("place")))


def _number(text: str) -> float | None:
    text = text.replace(",", ".").replace("\u2212", "-")
    try:
        number = float(text)
    except ValueError:
        return None
    return number if isfinite(number) else None


def _take_file(visit: Visit, token: str, held: Upload) -> Response:
    """A file with what has been answered of it; what it leaves open is asked."""
    place = _place(visit, held.answers.get("place", ""))
    known: dict[str, Any] = {"columns": {}}
    for name, answer in held.answers.items():
        what, colon, role = name.partition(":")
        if colon and what == "column":
            known["columns"][role] = answer
        elif colon and what in ("units", "date_order", "clock", "timezone"):
            known[what] = answer
    try:
        return _taken(visit, held.name, held.content, known, place)
    except FileQuestion as question:
        return _form(visit, token=token, name=held.name, questions=[asked_plainly(question)])


def _taken(visit: Visit, name: str, text: str, known: Mapping[str, Any], place: Place) -> Response:
    """Keep what was read and tell it with its counts."""
    garden = visit.garden
    unfinished = None if garden.settings.stands_on else garden.today
    try:
        weather, report = read_weather_file(
            Path(name),
            text=text,
            source="bench",
            **{"timezone": place.timezone, "today": unfinished, **known},
        )
        taken = take_readings(garden, place, weather, report, name)
    except FileQuestion:
        raise
    except TableError as error:
        return _form(visit, sentences(error.problems) or [error.plain])
    except InputError as error:
        return _form(visit, [str(error)])
    visit.site.keeper.warm()
    result = taken.result
    counts = (
        (result.added, "new"),
        (result.replaced, "replaced"),
        (result.unchanged, "there already"),
        (result.kept, "left, because what was there is better"),
        (result.held, "of them doubtful, so that the earlier values stay"),
        (result.suspicious, "of them doubtful, kept apart and unused"),
    )
    lines = [f"{place.name}: {counted(n, 'days')} {words}." for n, words in counts if n]
    lines = lines or [f"{place.name}: nothing new."]
    notes = [*report.lines(), *taken.shifts, *(f"{place.name} {line}" for line in taken.corrections)]
    return _form(visit, lines=lines, notes=notes if name != TYPED else notes[2:])
