"""The day a command stands on: the one asked for, the garden's own, or today."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from phenology.errors import InputError
from reports.cli.clock import today


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
    from phenology.language.vague_dates import parse

    when = parse(as_of, today=now)
    if when.earliest is None or when.earliest != when.latest:
        raise InputError(f"--as-of needs one day, such as 2026-06-14; '{as_of}' is not one")
    if when.earliest > now:
        raise InputError(
            f"{when.earliest.isoformat()} is in the future; a forecast can be made as of a day gone by"
        )
    return when.earliest


def garden_today(garden: Path) -> date:
    """Today, as a garden counts it: a demo garden stands still on the day in its settings."""
    from data_sources.garden import read_settings

    return read_settings(garden).stands_on or today()
