"""Reading and changing a garden's settings."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from typing import Any

from data_sources.garden import (
    SETTINGS_NAME,
    GardenSettings,
    open_journal,
    read_settings,
    write_settings,
)
from phenology.language.words import near_words
from phenology.model.errors import InputError, UnknownNameError
from reports.cli.writing.desk import table, tell

_MEANING = {
    "name": "what the garden is called",
    "units": "C or F: how temperatures are shown",
    "season_start": "first day of a season, MM-DD",
    "date_order": "how dates are shown and 4/7 reads: day-first, month-first or year-first",
    "odds": "how sure a woken flush must be to ripen, 0.5 to 0.99",
    "first_weekday": "where weeks begin: monday ... sunday",
    "weather_sources": "weather services in the order asked, with commas",
    "contact": "address for weather services that want one",
    "stands_on": "the day the garden stands still on",
    "weeks_before_frost": "cuts stop this many weeks before the usual first frost",
    "least_daylength": "cuts stop when days grow shorter than this, in hours",
    "hot_day": "heat above which leaves are not taken off and shoots not cut",
    "away": "when nobody waters: 2026-08-01/2026-08-14, more with commas",
}
_DEFAULTS = {
    "season_start": "by hemisphere",
    "date_order": "day-first, 4/7 asked",
    "first_weekday": "monday",
    "weather_sources": "the usual order",
    "stands_on": "follows the calendar",
}
NAMES = tuple(f.name for f in fields(GardenSettings) if f.name not in ("species", "weather_services"))


def listing(garden: Path) -> str:
    """All settings with their values and meaning."""
    settings = read_settings(garden)
    units = settings.units
    rows = [[_shown_name(n), _shown(n, getattr(settings, n), units), _MEANING.get(n, "")] for n in NAMES]
    own = (
        f"\n{len(settings.species)} species with values of this garden: flushcast species"
        if settings.species
        else ""
    )
    return f"{table(['setting', 'value', ''], rows)}{own}\nThey stand in the garden's {SETTINGS_NAME}."


def one(garden: Path, name: str) -> str:
    """The value of one setting."""
    field = _field(name)
    settings = read_settings(garden)
    return _shown(field, getattr(settings, field), settings.units)


def change(garden: Path, name: str, text: str | None) -> None:
    """Set one setting; None puts it back to its default.

    Raises
    ------
    UnknownNameError, InputError
        If there is no such setting, or the value is not allowed; nothing is written.
    """
    field = _field(name)
    settings = read_settings(garden)
    value = getattr(GardenSettings(), field) if text is None else _value(field, text, settings.units)
    if field == "season_start" and value != settings.season_start:
        _check_season_may_move(garden)
    write_settings(garden, replace(settings, **{field: value}))
    units = settings.units
    now = _shown(field, getattr(read_settings(garden), field), units)
    tell(f"{_shown_name(field)}: {now} (was {_shown(field, getattr(settings, field), units)}).")


def _check_season_may_move(garden: Path) -> None:
    """Every flush on record is told by its season: their days would all come out wrong."""
    with open_journal(garden) as journal:
        if journal.flushes():
            raise InputError(
                "the season's start cannot change once looks or work are written down, for every flush is "
                "counted from it; a new garden has it from the beginning: flushcast init --season-start MM-DD"
            )


def _field(name: str) -> str:
    field = name.strip().casefold().replace("-", "_").replace("weather.", "weather_")
    if field not in NAMES:
        known = {n.replace("_", " "): _shown_name(n) for n in NAMES}
        near = near_words(field, known)
        if near:
            raise UnknownNameError("setting", name, near)
        raise InputError(f"there is no setting '{name}'; they are {', '.join(map(_shown_name, NAMES))}")
    return field


def _value(field: str, text: str, units: str) -> Any:
    if field == "odds":
        try:
            number = float(text.rstrip("% "))
        except ValueError:
            raise InputError(f"odds takes a number from 0.5 to 0.99; got '{text}'") from None
        return number / 100 if text.strip().endswith("%") else number
    if field == "hot_day":
        return _temperature(field, text, units)
    if field in ("weeks_before_frost", "least_daylength"):
        try:
            return float(text)
        except ValueError:
            raise InputError(f"{_shown_name(field)} takes a number; got '{text}'") from None
    if field in ("weather_sources", "away"):
        return tuple(part.strip() for part in text.split(",") if part.strip())
    if field == "stands_on":
        try:
            return date.fromisoformat(text.strip())
        except ValueError:
            raise InputError(f"stands-on takes a date such as 2026-06-14; got '{text}'") from None
    return text


def _temperature(field: str, text: str, units: str) -> float:
    """A temperature as typed, in degC: in the garden's units, unless it says its own ("91F", "33 degC")."""
    match = re.fullmatch(r"\s*(-?\d+(?:[.,]\d+)?)\s*(?:°|deg)?\s*([CFcf])?\s*", text)
    if match is None:
        raise InputError(f"{_shown_name(field)} takes a temperature such as 33C or 91F; got '{text}'")
    value = float(match[1].replace(",", "."))
    fahrenheit = (match[2] or units).upper() == "F"
    return round((value - 32) / 1.8, 1) if fahrenheit else value


def _shown(field: str, value: Any, units: str) -> str:
    if field == "hot_day":  # kept in degC
        return f"{value * 1.8 + 32:.0f} degF" if units == "F" else f"{value:g} degC"
    if isinstance(value, tuple):
        value = ", ".join(value)
    return str(value) if value not in (None, "") else _DEFAULTS.get(field, "-")


def _shown_name(field: str) -> str:
    return field.replace("_", "-")
