"""A card for a club: what is done here on a few dates is due in every town when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from phenology.seasons.translate import ClimateOf, Translation
from phenology.species.catalogue import Species
from reports.text.elsewhere_words import work_notes
from reports.text.words import listed

Asked = tuple[date, date]
"""A date asked for, as its first and last day: the same one unless it was vague."""


@dataclass(frozen=True)
class Card:
    """Dates of one place as dates of several towns.

    Attributes
    ----------
    home : str
        The place whose dates they are.
    towns : tuple of str
    what : str
        The work and the species meant; empty for anything.
    cells : mapping of (town, (first day, last day)) to Translation
        Where one is missing, too little warmth has gathered at home by that date.
    years : mapping of town or home to int
        Years of weather it rests on.
    south : mapping of town or home to bool
        Whether it lies south of the equator, where summer falls around new year.
    minded : tuple of str
        What the work and the species ask to be minded.
    lines : tuple of str
        Lines that the sources of the weather ask to be shown.
    """

    home: str
    towns: tuple[str, ...]
    what: str
    cells: Mapping[tuple[str, Asked], Translation]
    years: Mapping[str, int]
    south: Mapping[str, bool]
    minded: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def dates(self) -> list[Asked]:
        """The dates asked for, in the order asked."""
        return list(dict.fromkeys(asked for _, asked in self.cells))

    def cell(self, town: str, asked: Asked) -> Translation | None:
        """When what is done at home on a date is due in a town."""
        return self.cells.get((town, asked))

    @property
    def title(self) -> str:
        """What the card tells."""
        return f"{f'{self.what} done' if self.what else 'Done'} in {self.home} on these dates, due elsewhere"

    @property
    def warnings(self) -> list[str]:
        """What to mind, each said once."""
        said = dict.fromkeys(note for told in self.cells.values() for note in told.notes)
        return [*(f"{note[:1].upper()}{note[1:]}." for note in said), *self.minded]

    @property
    def weather_words(self) -> str:
        """How many years of weather it rests on, and which towns have their summer at new year."""
        counts = sorted({self.years[town] for town in self.towns})
        there = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
        where = self.towns[0] if len(self.towns) == 1 else "the towns"
        told = f"Years of weather: {self.years[self.home]} in {self.home}, {there} in {where}."
        south = [name for name in (self.home, *self.towns) if self.south[name]]
        if not south:
            return told
        return f"{told} South of the equator: {listed(south)}."


def club_card(
    home: ClimateOf,
    towns: Sequence[ClimateOf],
    told: Iterable[Translation],
    *,
    work: str = "",
    species: Species | None = None,
    lines: Iterable[str] = (),
) -> Card:
    """Put translations from one place to several towns on a card."""
    places = (home, *towns)
    return Card(
        home.name,
        tuple(town.name for town in towns),
        " of ".join(_what(work, species)),
        {(t.here, (t.first, t.last)): t for t in told},
        {place.name: len(place.years) for place in places},
        {place.name: place.calendar.start_month == 7 for place in places},
        tuple(work_notes(work, species)),
        tuple(lines),
    )


def _what(work: str, species: Species | None) -> Iterator[str]:
    if work:
        yield work.capitalize().replace("-", " ")
    if species:
        yield species.name if work else f"{species.name[:1].upper()}{species.name[1:]}"
