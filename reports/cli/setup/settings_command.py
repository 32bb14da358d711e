"""`flushcast settings`: what is set for the whole garden."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from typing import Any

import click

from data_sources.garden import SETTINGS_NAME, GardenSettings
from data_sources.garden_settings import SETTINGS
from phenology.language.words import near_words
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.units import c_to_f, f_to_c
from reports.cli.common import open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden
from reports.text.lines import table

NAMES = {name: name.replace("_", "-") for name, setting in SETTINGS.items() if setting.meaning}


@click.command("settings")
@click.argument("name", required=False)
@click.argument("value", nargs=-1)
@click.option("--reset", is_flag=True, help="Back to the default.")
@open_garden_option
def settings_command(garden: OpenGarden, name: str | None, value: tuple[str, ...], reset: bool) -> None:
    """Show the settings, or set one.

    \b
    flushcast settings
    flushcast settings units F
    flushcast settings season-start 07-01
    """
    settings = garden.settings
    if name is None:
        rows = [[shown, _shown(n, settings), SETTINGS[n].meaning] for n, shown in NAMES.items()]
        own = f"{len(settings.species)} species with values of this garden: flushcast species\n"
        put(table(["setting", "value", ""], rows))
        put(f"{own if settings.species else ''}They stand in the garden's {SETTINGS_NAME}.")
        return
    field = _field(name)
    if reset or value:
        _change(garden, field, None if reset else value)
    else:
        put(_shown(field, settings))


def _change(garden: OpenGarden, field: str, words: tuple[str, ...] | None) -> None:
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
    tell(f"{NAMES[field]}: {_shown(field, after)} (was {_shown(field, before)}).")


def _field(name: str) -> str:
    field = name.strip().casefold().replace("-", "_").replace("weather.", "weather_")
    if field in NAMES:
        return field
    near = near_words(field, {n.replace("_", " "): shown for n, shown in NAMES.items()})
    if near:
        raise UnknownNameError("setting", name, near)
    raise InputError(f"there is no setting '{name}'; they are {', '.join(NAMES.values())}")


def _read(field: str, words: tuple[str, ...], settings: GardenSettings) -> Any:
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
        return round(float(f_to_c(number)), 1)
    return number / 100 if unit == "%" else number


def _shown(field: str, settings: GardenSettings) -> str:
    value = getattr(settings, field)
    if field == "hot_day":  # kept in degC
        return f"{c_to_f(value):.0f} degF" if settings.units == "F" else f"{value:g} degC"
    if isinstance(value, tuple):
        value = ", ".join(value)
    return str(value) if value not in (None, "") else SETTINGS[field].unset
