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


def elsewhere_table(
    rows: Iterable[Translation], *, work: str = "", species: str = "", dated: bool = False
) -> Table[Any]:
    """Translations as a table.

    Parameters
    ----------
    rows : iterable of Translation
    work, species : str, optional
        What is meant; the species by its Latin name.
    dated : bool
        Whether dates are told with their year; without, as MM-DD, for it is only a label.
    """

    def day(name: str, of: str) -> Column[Any]:
        get = attrgetter(of)
        if dated:
            return Column(name, "date", get)
        return Column(name, "text", lambda row: _month_day(get(row)))

    columns = (
        attribute("there", "text"),
        attribute("here", "text"),
        day("from", "asked_from"),
        day("to", "asked_to"),
        Column[Any]("operation", "text", lambda _: work),
        Column[Any]("species", "text", lambda _: species),
        day("due_low", "due_low"),
        day("due", "due"),
        day("due_high", "due_high"),
        attribute("never_share", "number", 2),
        attribute("years_there", "whole"),
        attribute("years_here", "whole"),
        day("same_day_length", "same_day_length"),
        Column[Any]("notes", "texts", notes_of),
    )
    return Table(SCHEMA, columns, rows)


def _month_day(day: date | None) -> str | None:
    return None if day is None else f"{day:%m-%d}"
