"""Dates from elsewhere as one table: JSON, CSV and DataFrame."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from operator import attrgetter
from typing import Any

from phenology.seasons.translate import Translation
from reports.table import Column, Table, attribute
from reports.text.elsewhere_words import notes_of

SCHEMA = "flushcast.elsewhere/1"


def columns(work: str = "", species: str = "", *, dated: bool = False) -> tuple[Column[Any], ...]:
    """Columns of translations for a work and a species meant; dates as MM-DD, unless `dated`."""

    def day(name: str, meaning: str = "", of: str = "") -> Column[Any]:
        get = attrgetter(of or name)
        if dated:
            return Column(name, "date", get, meaning)
        return Column(name, "text", lambda row: _month_day(get(row)), meaning)

    return (
        attribute("there", "text", "where the date is asked for"),
        attribute("here", "text", "where it is due"),
        day("from", "the date asked for, its first day", "asked_from"),
        day("to", "its last, where it was vague", "asked_to"),
        Column("operation", "text", lambda _: work, "the work meant"),
        Column("species", "text", lambda _: species, "the species meant"),
        day("due_low", "by when one in ten of the years and clocks tried put it"),
        day("due", "five in ten; missing where it does not come"),
        day("due_high", "nine in ten"),
        attribute("never_share", "number", "of years in which so much warmth does not gather, 0 to 1", 2),
        attribute("years_there", "whole", "of weather"),
        attribute("years_here", "whole"),
        day("same_day_length", "what day length alone would say"),
        Column("notes", "texts", notes_of, "what to mind"),
    )


def elsewhere_table(
    rows: Iterable[Translation], work: str = "", species: str = "", *, dated: bool = False
) -> Table[Any]:
    """Translations as a table."""
    return Table(SCHEMA, columns(work, species, dated=dated), rows)


def _month_day(day: date | None) -> str | None:
    return None if day is None else f"{day:%m-%d}"
