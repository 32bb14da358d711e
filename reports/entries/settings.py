"""The garden's settings: which there are, how their values are written and read, and changing one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from data_sources.garden import GardenSettings
from data_sources.garden_settings import SETTINGS
from phenology.language.degrees import degrees
from phenology.language.words import near_words
from phenology.model.errors import InputError, UnknownNameError
from reports.garden.open_garden import OpenGarden

NAMES = {name: name.replace("_", "-") for name, setting in SETTINGS.items() if setting.meaning}


def change_setting(garden: OpenGarden, field: str, words: Sequence[str] | None) -> str:
    """Set one setting, None to its default; nothing is written where the value is not allowed."""

    def change(now: GardenSettings) -> GardenSettings:
        value = getattr(GardenSettings(), field) if words is None else _read(field, words, now)
        if field == "season_start" and value != now.season_start and garden.journal.flushes():
            raise InputError(  # every flush on record is told by its season: their days would be wrong
                "the season's start cannot change once looks or work are written down, for every flush is "
                "counted from it; a new garden has it from the beginning: flushcast init --season-start MM-DD"
            )
        return replace(now, **{field: value})

    before, after = garden.change_settings(change)
    return f"{NAMES[field]}: {shown_setting(field, after)} (was {shown_setting(field, before)})."


def field_named(name: str) -> str:
    """The field of a setting as typed; `InputError` where there is none."""
    field = name.strip().casefold().replace("-", "_").replace("weather.", "weather_")
    if field in NAMES:
        return field
    near = near_words(field, {n.replace("_", " "): shown for n, shown in NAMES.items()})
    if near:
        raise UnknownNameError("setting", name, near)
    raise InputError(f"there is no setting '{name}'; they are {', '.join(NAMES.values())}")


def _read(field: str, words: Sequence[str], settings: GardenSettings) -> Any:
    """A value as typed, for `SETTINGS` to check."""
    text = " ".join(words).strip()
    kind = type(getattr(GardenSettings(), field))
    if kind is tuple:
        return tuple(part.strip() for part in text.split(",") if part.strip())
    if field == "stands_on":
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise InputError(f"stands-on takes a date such as 2026-06-14; got '{text}'") from None
    if kind is not float:
        return text
    match = re.fullmatch(r"(-?[\d.]+|-?\d+,\d+)\s*(?:°|deg)?\s*([CF%]?)", text, re.IGNORECASE)
    unit = match[2].upper() if match else ""
    wanted = {
        "hot_day": ("a temperature such as 33C or 91F", "CF"),
        "odds": ("a number from 0.5 to 0.99", "%"),
    }
    what, allowed = wanted.get(field, ("a number", ""))
    try:
        if match is None or unit not in allowed:
            raise ValueError
        number = float(match[1].replace(",", "."))
    except ValueError:
        raise InputError(f"{NAMES[field]} takes {what}; got '{text}'") from None
    if field == "hot_day" and (unit or settings.units) == "F":
        from phenology.model.units import f_to_c

        return round(float(f_to_c(number)), 1)
    return number / 100 if unit == "%" else number


def shown_setting(field: str, settings: GardenSettings) -> str:
    """A setting's value as it is written; what it means where it is not set."""
    value = getattr(settings, field)
    if field == "hot_day":
        return degrees(value, settings.units)
    if isinstance(value, tuple):
        value = ", ".join(value)
    return str(value) if value not in (None, "") else SETTINGS[field].unset
