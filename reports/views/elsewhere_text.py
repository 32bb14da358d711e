"""Lessons from elsewhere: as text at 80 columns, as a card of towns for a club, and as a table."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from phenology.advice.lesson_here import Translation
from phenology.language.date_style import DateStyle
from phenology.species.species import Species
from phenology.work.cautions import cautions
from phenology.work.grades import odds_in_tenths
from reports.table import Column, attribute, grid
from reports.views.words import capital, date_range, date_style, full_date, listed, short_date

WIDTH = 80
COLUMN = 26
MOST_NAME = 27  # so that two dates fit beside the longest
RANGE = "In brackets: the range that holds four in five."
CAUTION = "A date is a reason to look, never to cut: the leaf decides."
STANDS_IN = "the usual warmth of {} stands in, and dates are wide."
WORKED_OUT = "What a tree was at is worked out: if you know better, say --flush or --stage."
METHOD = "How this is reckoned: docs/method.md, section 8."
NO_SPECIES = "No species is named, so that an average temperate tree is meant: name it."
BLOOM = "no record tells of blooms: the date of the lesson is taken to be the bloom's, the flower decides"

Asked = tuple[date, date]
"""A date asked for, as its first and last day: the same one unless it was vague."""


@dataclass(frozen=True)
class Card:
    """Lessons given in one place as dates of several towns."""

    rows: tuple[Translation, ...]
    attribution: tuple[str, ...] = ()

    @property
    def home(self) -> str:
        """Where the lessons are given."""
        return self.rows[0].there

    @property
    def towns(self) -> list[str]:
        """Names of the towns."""
        return list(dict.fromkeys(t.here for t in self.rows))

    @property
    def dates(self) -> list[Asked]:
        """The dates asked for, in the order asked."""
        return list(dict.fromkeys(map(asked_of, self.rows)))

    def cell(self, town: str, asked: Asked) -> Translation:
        """What is done at home on a date, in a town."""
        return next(t for t in self.rows if t.here == town and asked_of(t) == asked)

    def state(self, asked: Asked) -> str:
        """What a tree is at there on a date, in words."""
        return next(t for t in self.rows if asked_of(t) == asked).state.words

    @property
    def title(self) -> str:
        """What the card says."""
        return f"{capital(what_words(self.rows[0]))} in {self.home} on these dates, due elsewhere"

    @property
    def heading(self) -> str:
        """The work and the species, as a heading."""
        return f"{capital(what_words(self.rows[0]))}, from {self.home}"

    @property
    def orders(self) -> list[str]:
        """What to do, each said once with the dates or towns for which it holds."""
        found: dict[str, list[Translation]] = {}
        for t in self.rows:
            found.setdefault(advice(t, stop=False), []).append(t)
        said = []
        for words, rows in found.items():
            towns = list(dict.fromkeys(t.here for t in rows))
            where = "" if len(towns) == len(self.towns) else f", {listed(towns)}"
            dates = listed([asked_words(t) for t in {asked_of(t): t for t in rows}.values()])
            said.append(f"{dates}{where}: {words}")
        return said

    @property
    def stops(self) -> str:
        """The last safe day in each town; empty where nothing ends the work."""
        last = {t.here: t.until for t in self.rows if t.until and t.in_time}
        days = [f"{town} {short_date(day)}" for town, day in last.items()]
        return f"Stop by: {listed(days)}." if days else ""

    @property
    def warnings(self) -> list[str]:
        """What to mind, each said once."""
        return [*notes_of(*self.rows), *work_notes(self.rows[0])]

    @property
    def weather_words(self) -> str:
        """How many years of weather it rests on."""
        years = sorted({t.years_here for t in self.rows})
        there = f"{years[0]}" if len(years) == 1 else f"{years[0]} to {years[-1]}"
        where = self.towns[0] if len(self.towns) == 1 else "the towns"
        return f"Years of weather: {self.rows[0].years_there} in {self.home}, {there} in {where}."


def elsewhere_text(rows: Sequence[Translation]) -> str:
    """What lessons in one place mean in another, with what to mind."""
    lines: list[str] = []
    for asked in dict.fromkeys(map(asked_of, rows)):
        mine = [t for t in rows if asked_of(t) == asked]
        lines += _wrapped(f"{taught(mine[0])}.")
        for words in _said(mine):
            lines += _wrapped(words, "  ")
    lines += ["", *_wrapped(RANGE)]
    if any(t.state.odds is not None for t in rows):
        lines += _wrapped(WORKED_OUT)
    for note in (*notes_of(*rows), *work_notes(rows[0])):
        lines += _wrapped(note)
    return "\n".join([*lines, *_wrapped(CAUTION), METHOD])


def _said(rows: Iterable[Translation]) -> Iterator[str]:
    """When that comes here, and what to do; trees of which the same holds together."""
    found: dict[str, list[Translation]] = {}
    for t in rows:
        found.setdefault(advice(t), []).append(t)
    for words, alike in found.items():
        first, named = alike[0], alike[0].tree != ""
        if first.due is None:
            of = f" for {listed([t.tree for t in alike])}" if named else ""
            yield f"That will not come in time at {first.here}{of}: {first.why[0]}. Do this instead: {words}"
            continue
        dates = [f"{full_date(t.due)}{span(t)}{f' for {t.tree}' if named else ''}" for t in alike if t.due]
        passed = [t.passed for t in alike if t.passed]
        before = f" This season it came about {short_date(min(passed))}." if passed else ""
        yield f"At {first.here} that comes about {listed(dates)}.{before} {words}"


def card_text(card: Card) -> str:
    """A card for a club: a row a town, a column a date at home, each with its range; 80 columns wide."""
    lines = _wrapped(f"{card.title}.")
    wide = min(MOST_NAME, max(map(len, (card.home, *card.towns)))) + 1
    room = max(1, (WIDTH - wide) // COLUMN)
    for first in range(0, len(card.dates), room):
        dates = card.dates[first : first + room]
        rows = [(town, *(due_words(card.cell(town, asked)) for asked in dates)) for town in card.towns]
        home = (card.home, *(asked_words(card.cell(card.towns[0], asked)) for asked in dates))
        lines += ["", grid(["", *map(card.state, dates)], [home, *rows], WIDTH)]
    notes = [
        *card.orders,
        card.stops,
        RANGE,
        card.weather_words,
        *card.warnings,
        *card.attribution,
        CAUTION,
        METHOD,
    ]
    return "\n".join([*lines, "", *(line for words in notes if words for line in _wrapped(words))])


def taught(t: Translation) -> str:
    """What a tree was at when the lesson was given."""
    state = t.state
    lead = f"{capital(what_words(t))} in {t.there} on {asked_words(t)}: when {state.words}"
    usual = f"usually about {short_date(state.usual[1])} there" if state.usual[1] else "hardly so there"
    if not state.fits:
        return f"{lead}, {usual}: the date is another time there"
    if state.cue != "flush":
        return lead
    odds = "as you say" if state.odds is None else f"{odds_in_tenths(state.odds)} by the weather there"
    return f"{lead} ({odds}; {usual})"


def advice(t: Translation, *, stop: bool = True) -> str:
    """What to do then, what stands against the lesson's own work, and until when; with a full stop."""
    does = f"{capital(t.does)}." if t.due is not None else f"{t.does}."
    against = "; ".join(t.why)
    if t.due is not None and not t.in_time:
        likely = "Most likely too" if t.until and t.due_low and t.due_low <= t.until else "Too"
        does = f"{likely} late for it: {against}. {does}"
    elif t.due is not None and t.answer != "yes":
        does = (
            f"{capital(t.answer)}: {against}. Instead: {t.does}."
            if against
            else f"{capital(t.answer)}: {t.does}."
        )
    elif t.due is not None and against:
        does += f" Mind: {against}."
    if not (stop and t.until and t.due and t.in_time and t.lesson.operation):
        return does
    ends = "Stop by" if t.state.cue in ("flush", "after-bloom") else "Not after"
    return f"{does} {ends} {short_date(t.until)}."


def span(t: Translation) -> str:
    """The range of a translation in brackets; a season of the year by its last day."""
    if t.due_low == t.due:
        return f" (to {short_date(t.due_high)})" if t.due_high not in (None, t.due) else ""
    if t.due_low is None or t.due_high is None:
        return "" if t.due_low is None else f" (from {short_date(t.due_low)}, if at all)"
    return f" ({date_range(t.due_low, t.due_high)})"


def asked_of(t: Translation) -> Asked:
    """The date asked for."""
    return t.asked_from, t.asked_to


def asked_words(t: Translation) -> str:
    """The date asked for. The year is left out always: it is only a label."""
    style = DateStyle("month-first") if date_style().order == "month-first" else DateStyle()
    return style.span(t.asked_from, t.asked_to)


def due_words(t: Translation) -> str:
    """When it is due and its range."""
    if t.due is None:
        return "not in time"
    return f"{short_date(t.due)}{span(t)}{'' if t.in_time else ', too late'}"


def what_words(t: Translation) -> str:
    """The work and the species meant."""
    name = t.lesson.species.name
    work = t.lesson.operation.replace("-", " ") or "a lesson"
    return f"{work} of {name}" if name else work


def notes_of(*rows: Translation) -> list[str]:
    """What to mind about the dates, each said once, a sentence each."""
    found: dict[str, None] = {}
    zonal = {place[0]: place for t in rows for place in t.zonal}
    if len(zonal) > 1:
        found[
            f"Little or no daily weather for {listed(list(zonal))}: {STANDS_IN.format('their latitudes')}"
        ] = None
    for name, latitude, years in zonal.values() if len(zonal) == 1 else ():
        side = "north" if latitude >= 0 else "south"
        known = f"Only {years} {'year' if years == 1 else 'years'}" if years else "No whole year"
        latitudes = STANDS_IN.format(f"latitude {abs(latitude):.0f} {side}")
        found[f"{known} of daily weather for {name}: {latitudes}"] = None
    if any(t.guess for t in rows):
        found["What the species takes is the catalogue's guess: own looks narrow the dates."] = None
    if any(t.state.cue == "after-bloom" for t in rows):
        found[f"{capital(BLOOM)}."] = None
    if any(t.late for t in rows):
        found["Late in the season day length and frost lead more than heat."] = None
    return list(found) if rows[0].lesson.species.name else [NO_SPECIES, *found]


def work_notes(t: Translation) -> Iterator[str]:
    """What a species and its work ask to be minded, whatever the date."""
    species: Species = t.lesson.species
    if t.lesson.operation:
        yield from cautions([t.lesson.operation], [species])
    for caution in species.cautions:
        if caution != species.sap_caution:
            yield f"{species.name}: {caution.rstrip('.')}."


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False
    )


SCHEMA = "flushcast.elsewhere/2"


COLUMNS: tuple[Column[Translation], ...] = (
    attribute("there", "text", "where the lesson was given"),
    attribute("here", "text", "where it is due"),
    attribute("tree", "text", "the tree meant; empty for any of the species"),
    attribute("from", "date", "the lesson's date, its first day; only day and month count", of="asked_from"),
    attribute("to", "date", "its last, where it was vague", of="asked_to"),
    attribute("operation", "text", "the work meant", of="lesson.operation"),
    attribute("species", "text", "the species meant", of="lesson.species.latin"),
    attribute(
        "cue", "text", "what the work goes by: a flush, or a season of the tree's year", of="state.cue"
    ),
    attribute("flush", "whole", "the flush meant; 0 with another cue", of="state.flush"),
    attribute("stage", "text", "what it was at there", of="state.stage"),
    Column("state_odds", "number", lambda t: t.state.odds, "that a tree there was at it; missing if said", 2),
    Column("there_usual", "date", lambda t: t.state.usual[1], "when that usually comes there"),
    attribute("due_low", "date", "by when that state has come here with a chance of 10 %"),
    attribute("due", "date", "50 %; missing where it does not come"),
    attribute("due_high", "date", "90 %"),
    attribute("until", "date", "the last day for the work here, where something ends it"),
    attribute("in_time", "yes", "whether it comes here before it is too late for the work"),
    attribute("answer", "text", "whether the lesson's own work is good here then"),
    attribute("why", "texts", "what stands against it, or is to be minded"),
    attribute("does", "text", "what to do here then"),
    attribute("never_share", "number", "chance that it does not come in the season, 0 to 1", 2),
    attribute("years_there", "whole", "of weather"),
    attribute("years_here", "whole", "of weather"),
    attribute("same_day_length", "date", "what day length alone would say"),
    Column("notes", "texts", lambda t: notes_of(t), "what to mind about the dates"),
)
