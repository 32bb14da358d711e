"""What the commands that write in the journal share: the open garden, saving, and how things are said."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any, cast
from uuid import uuid4

from data_sources.garden import GardenSettings, calendar_of, open_journal, read_settings
from data_sources.journal import Journal
from data_sources.journal.schema import Record
from data_sources.journal_questions import last_entry_trees, record_around
from phenology.language.tree_selection import Roster, label_list, means_the_last, select_trees
from phenology.language.vague_dates import VagueDate, format_dates, parse
from phenology.language.written_days import DATE_ORDERS, AmbiguousDateError, DateOrder
from phenology.model.errors import InputError
from phenology.model.records import Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.records.flushes import TreeRecord
from phenology.species.catalogue import Species, load_species
from reports.cli.common import say
from reports.garden.clock import today as clock_today
from reports.garden.timestamp import moment_on
from reports.text.words import date_range, weekday_date, weekday_full_date

WIDTH = 80
UNDO = "Undo:\u00a0flushcast\u00a0undo"  # kept on one line, to be copied


@dataclass
class Desk:
    """An open garden and the day it stands on."""

    folder: Path
    settings: GardenSettings
    journal: Journal
    today: date

    @cached_property
    def places(self) -> list[Place]:
        """All places; the first one is where a garden's season is told from."""
        return self.journal.places()

    @cached_property
    def trees(self) -> list[Tree]:
        """All trees, as a person would order their labels."""
        from phenology.language.tree_selection import in_order

        return in_order(self.journal.trees())

    @cached_property
    def stands(self) -> list[Stand]:
        """Where every tree stands from when."""
        return self.journal.stands()

    @cached_property
    def catalogue(self) -> dict[str, Species]:
        """The species, with the garden's own values."""
        return load_species(self.settings.species)

    @cached_property
    def calendar(self) -> SeasonCalendar:
        """When seasons start here."""
        return calendar_of(self.settings, self.places)

    def order_named(self, name: str | None) -> DateOrder | None:
        """An order of day and month by its name."""
        return next((order for order in DATE_ORDERS if order == name), None)

    def new_id(self) -> str:
        """A new id."""
        return str(uuid4())

    def select(self, text: str, on: date | None = None) -> tuple[Tree, ...]:
        """The trees a grower means."""
        names = {latin: species.names for latin, species in self.catalogue.items()}
        last = last_entry_trees(self.journal) if means_the_last(text) else []
        roster = Roster(self.trees, self.places, self.stands, names, last)
        return select_trees(text, roster, on=on or self.today)

    def read_date(self, text: str | None) -> VagueDate:
        """A date as typed; nothing typed is today."""
        try:
            return parse(
                text or "today",
                today=self.today,
                order=self.settings.reading_order,
                first_weekday=self.settings.date_style.first_weekday,
            )
        except AmbiguousDateError as error:
            first = str(error).split(";")[0]
            if self.settings.date_order is not None:  # dates are shown year first: so they are written too
                raise AmbiguousDateError(f"{first}; write the month as a word, or 2026-07-04") from None
            raise AmbiguousDateError(
                f"{first}; write the month as a word, or settle it once: "
                "flushcast settings date-order day-first (or month-first)"
            ) from None

    def day(self, text: str) -> date:
        """A date that must be one day; a vague one counts by its middle."""
        earliest, latest = self.read_date(text).in_season(self.calendar, self.today)
        return earliest + (latest - earliest) // 2

    def record(self, tree: Tree, day: date) -> TreeRecord:
        """A tree's flushes and looks around a day."""
        return record_around(self.journal, tree, self.calendar.season_of(day))

    def save(self, label: str, save: Iterable[Record], remove: Iterable[Record] = ()) -> None:
        """Write records as one batch that can be undone."""
        with self.journal.batch(label, at=moment_on(self.today)) as batch:
            for record in save:
                batch.save(record)
            for record in remove:
                batch.delete(cast(Any, type(record)), record.id)

    def names(self, trees: Sequence[Tree]) -> str:
        """Trees by label, neighbours drawn together; very many are counted."""
        text = label_list(tree.label for tree in trees)
        return text if len(text) <= 60 else f"{text[:57].rsplit(',', 1)[0]}, ... ({len(trees)} trees)"


def split_words(desk: Desk, words: Sequence[str], find: Callable[[str], str]) -> tuple[tuple[Tree, ...], str]:
    """Trees and one more word: `look hornbeams still going` needs no quotes.

    Raises
    ------
    InputError
        An unknown tree is told before an unknown word.
    """
    first: InputError | None = None
    for at in range(1, len(words)):
        try:
            found = find(" ".join(words[at:]))
        except InputError as error:
            first = error
            continue
        return desk.select(" ".join(words[:at])), found
    desk.select(" ".join(words[:-1]))
    assert first is not None
    raise first


@contextmanager
def open_desk(folder: Path) -> Iterator[Desk]:
    """The garden in a folder, open for one command; its warnings are told."""
    settings = read_settings(folder)
    with open_journal(folder) as journal:
        told = list(journal.warnings)
        for warning in told:
            tell(f"Note: {warning}")
        yield Desk(folder, settings, journal, settings.stands_on or clock_today())
        for warning in journal.warnings[len(told) :]:
            tell(f"Note: {warning}")


def tell(words: str) -> None:
    """Words for the grower, wrapped at 80 columns; a no-break space holds words together."""
    text = textwrap.fill(words, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
    say(text.replace("\u00a0", " "))


def shown_date(earliest: date, latest: date, today: date) -> str:
    """A date shown back: "Sat 4 Jul", with the year when it is not this one, or its two ends."""
    if earliest != latest:
        this_year = earliest.year == latest.year == today.year
        return date_range(earliest, latest) if this_year else format_dates(earliest, latest)
    return weekday_date(earliest) if earliest.year == today.year else weekday_full_date(earliest)


def counted(n: int, plural: str) -> str:
    """A number of things: "1 tree", "3 trees"."""
    one = {"flushes": "flush", "column readings": "column reading", "days of weather": "day of weather"}.get(
        plural, plural.removesuffix("s")
    )
    return f"{n} {one if n == 1 else plural}"


def table(headers: Sequence[str], rows: Iterable[Sequence[str]], *, width: int = WIDTH) -> str:
    """A plain table within 80 columns; the last column takes what is left and wraps."""
    body = [list(row) for row in rows]
    count = len(headers)
    widths = [max([len(h)] + [len(row[i]) for row in body]) for i, h in enumerate(headers)]
    room = width - sum(w + 2 for w in widths[:-1])
    if room < 12:  # the widest column but the last gives way
        widest = max(range(count - 1), key=lambda i: widths[i])
        widths[widest] = max(6, widths[widest] - (12 - room))
        room = width - sum(w + 2 for w in widths[:-1])
    lines = []
    for row in [list(headers), *body]:
        cells = [_cut(cell, widths[i]) for i, cell in enumerate(row[:-1])]
        wrapped = textwrap.wrap(row[-1], max(room, 8)) or [""]
        left = "  ".join(cell.ljust(widths[i]) for i, cell in enumerate(cells))
        lines.append(f"{left}  {wrapped[0]}".rstrip() if cells else wrapped[0])
        lines += [f"{'':{len(left) + 2}}{more}" for more in wrapped[1:]]
    return "\n".join(lines)


def _cut(cell: str, width: int) -> str:
    return cell if len(cell) <= width else f"{cell[: width - 1]}…"
