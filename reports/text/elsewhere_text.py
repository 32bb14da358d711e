"""Dates from elsewhere as text at 80 columns, and a card of several towns for a club."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from phenology.seasons.translate import ClimateOf, Translation
from phenology.species.catalogue import Species
from reports.table import grid
from reports.text.elsewhere_words import (
    CAUTION,
    METHOD,
    RANGE,
    asked_words,
    day_words,
    due_words,
    notes_of,
    range_words,
    sentence,
    what_words,
    work_notes,
)
from reports.text.words import listed

WIDTH = 80
COLUMN = 26
MOST_NAME = 27  # so that two dates fit beside the longest

Asked = tuple[date, date]
"""A date asked for, as its first and last day: the same one unless it was vague."""


@dataclass(frozen=True)
class Card:
    """Dates of one place as dates of several towns.

    Attributes
    ----------
    home : ClimateOf
        The place whose dates they are.
    places : tuple of ClimateOf
        The towns.
    translations : tuple of Translation
        From home to the towns; where one is missing, too little warmth has gathered at home by that date.
    work : str
        The operation meant; empty for any.
    species : Species or None
    attribution : tuple of str
        Lines that the sources of the weather ask to be shown.
    """

    home: ClimateOf
    places: tuple[ClimateOf, ...]
    translations: tuple[Translation, ...]
    work: str = ""
    species: Species | None = None
    attribution: tuple[str, ...] = ()

    @property
    def towns(self) -> list[str]:
        """Names of the towns."""
        return [town.name for town in self.places]

    @property
    def dates(self) -> list[Asked]:
        """The dates asked for, in the order asked."""
        return list(dict.fromkeys((t.asked_from, t.asked_to) for t in self.translations))

    def cell(self, town: str, asked: Asked) -> Translation | None:
        """When what is done at home on a date is due in a town."""
        found = (t for t in self.translations if t.here == town and (t.asked_from, t.asked_to) == asked)
        return next(found, None)

    @property
    def what(self) -> str:
        """The work and the species meant, as a sentence begins; empty for anything."""
        what = what_words(self.work, self.species)
        return f"{what[:1].upper()}{what[1:]}"

    @property
    def title(self) -> str:
        """What the card says."""
        done = f"{self.what} done" if self.what else "Done"
        return f"{done} in {self.home.name} on these dates, due elsewhere"

    @property
    def warnings(self) -> list[str]:
        """What to mind, each said once."""
        notes = dict.fromkeys(note for t in self.translations for note in notes_of(t))
        return [*(f"{note[:1].upper()}{note[1:]}." for note in notes), *work_notes(self.work, self.species)]

    @property
    def weather_words(self) -> str:
        """How many years of weather it rests on, and which towns have their summer at new year."""
        years = sorted({len(town.years) for town in self.places})
        there = f"{years[0]}" if len(years) == 1 else f"{years[0]} to {years[-1]}"
        where = self.towns[0] if len(self.places) == 1 else "the towns"
        words = f"Years of weather: {len(self.home.years)} in {self.home.name}, {there} in {where}."
        south = [place.name for place in (self.home, *self.places) if place.calendar.start_month == 7]
        return f"{words} South of the equator: {listed(south)}." if south else words


def elsewhere_text(rows: Sequence[Translation], *, work: str = "", species: Species | None = None) -> str:
    """One sentence, or a table of dates, between two places, with what to mind."""
    first = rows[0]
    lines: list[str] = []
    if len(rows) == 1:
        lines += _wrapped(sentence(first, work=work, species=species.name if species else ""))
    else:
        what = what_words(work, species)
        lines += _wrapped(f"Done in {first.there}, due at {first.here}{': ' + what if what else ''}")
        lines += [grid(["done", "due"], [(asked_words(t), due_words(t)) for t in rows], WIDTH)]
    lines += ["", *_wrapped(RANGE)]
    for note in dict.fromkeys(note for t in rows for note in notes_of(t)):
        lines += _wrapped(f"Note: {note}.")
    if late := next((t for t in rows if t.late), None):
        same = day_words(late.same_day_length)
        lines += _wrapped(f"By day length alone {asked_words(late)} there would be {same} here.")
    for note in work_notes(work, species):
        lines += _wrapped(note)
    return "\n".join([*lines, *_wrapped(CAUTION), METHOD])


def card_text(card: Card) -> str:
    """A card for a club: a row a town, a column a date at home, each with its range; 80 columns wide."""
    lines = _wrapped(f"{card.title}.")
    wide = min(MOST_NAME, max(map(len, card.towns))) + 1
    room = max(1, (WIDTH - wide) // COLUMN)
    for first in range(0, len(card.dates), room):
        dates = card.dates[first : first + room]
        rows = [(town, *(_due(card.cell(town, asked)) for asked in dates)) for town in card.towns]
        lines += ["", grid(["", *(range_words(*asked, short=True) for asked in dates)], rows, WIDTH)]
    notes = [RANGE, card.weather_words, *card.warnings, *card.attribution, CAUTION, METHOD]
    return "\n".join([*lines, "", *(line for words in notes for line in _wrapped(words))])


def _due(t: Translation | None) -> str:
    return "." if t is None else due_words(t)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)
