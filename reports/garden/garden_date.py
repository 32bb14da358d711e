"""The day a command stands on: the one asked for, the garden's own, or today."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from phenology.language.vague_dates import VagueDate, format_day, parse
from phenology.language.written_days import AmbiguousDateError
from phenology.model.errors import InputError
from reports.garden.clock import today


def garden_date(garden: Path, as_of: str | None = None) -> date:
    """The date of a garden's forecast.

    Parameters
    ----------
    garden : Path
        Its folder; a demo garden stands still on a day of its own.
    as_of : str, optional
        A date as typed: ISO, or any plain date such as "4 July 2025".

    Raises
    ------
    InputError
        If the date cannot be understood or lies in the future.
    """
    now = garden_today(garden)
    if as_of is None:
        return now
    when = typed_date(garden, as_of, now)
    if when.earliest is None or when.earliest != when.latest:
        raise InputError(f"--as-of needs one day, such as 2026-06-14; '{as_of}' is not one")
    if when.earliest > now:
        raise InputError(
            f"{format_day(when.earliest)} is in the future; a forecast can be made as of a day gone by"
        )
    return when.earliest


def typed_date(garden: Path, text: str, now: date | None = None) -> VagueDate:
    """A date as typed, read as the garden has dates; without a garden 4/7 is read neither way.

    Raises
    ------
    InputError
        If the date cannot be understood, or could be two.
    """
    from data_sources.garden import SETTINGS_NAME, GardenSettings, read_settings

    settings = read_settings(garden) if (garden / SETTINGS_NAME).is_file() else GardenSettings()
    weeks = settings.date_style.first_weekday
    try:
        return parse(text, today=now or today(), order=settings.reading_order, first_weekday=weeks)
    except AmbiguousDateError as error:
        raise AmbiguousDateError(f"{str(error).split(';')[0]}; write the month as a word") from None


def garden_today(garden: Path) -> date:
    """Today, as a garden counts it: a demo garden stands still on the day in its settings."""
    from data_sources.garden import read_settings

    return read_settings(garden).stands_on or today()
