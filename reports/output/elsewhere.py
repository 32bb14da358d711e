"""Dates from elsewhere as text, CSV, and a card of several towns."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Sequence
from datetime import date

from phenology.seasons.translate import Translation
from phenology.species.catalogue import Species
from reports.output.elsewhere_card import Card
from reports.text.elsewhere_words import (
    CAUTION,
    METHOD,
    RANGE,
    asked_words,
    day_words,
    due_words,
    range_words,
    sentence,
    work_notes,
)

WIDTH = 80
COLUMN = 26
MOST_NAME = 27  # so that two dates fit beside the longest
COLUMNS = (
    "there", "here", "from", "to", "operation", "species", "due_low", "due", "due_high", "never_share",
    "years_there", "years_here", "same_day_length",
)  # fmt: skip


def elsewhere_text(told: Sequence[Translation], *, work: str = "", species: Species | None = None) -> str:
    """One sentence, or a table of dates, between two places, with what to mind."""
    name = species.name if species else ""
    lines: list[str] = []
    if len(told) == 1:
        lines += _wrapped(sentence(told[0], work=work, species=name))
    else:
        first = told[0]
        what = " of ".join(part for part in (work.replace("-", " "), name) if part)
        lines += _wrapped(f"Done in {first.there}, due at {first.here}{': ' + what if what else ''}")
        lines += [f"  {asked_words(t):>15}  ->  {due_words(t)}" for t in told]
    lines += ["", *_wrapped(RANGE)]
    for note in dict.fromkeys(note for t in told for note in t.notes):
        lines += _wrapped(f"Note: {note}.")
    late = [t for t in told if any("day length" in note for note in t.notes)]
    if late:
        t = late[0]
        lines += _wrapped(
            f"By day length alone {asked_words(t)} there would be {day_words(t.same_day)} here."
        )
    for note in work_notes(work, species):
        lines += _wrapped(note)
    return "\n".join([*lines, *_wrapped(CAUTION), METHOD])


def card_text(card: Card) -> str:
    """A card for a club: a row a town, a column a date at home, each with its range; 80 columns wide."""
    lines = _wrapped(f"{card.title}.")
    wide = min(MOST_NAME, max(len(town) for town in card.towns)) + 1
    room = max(1, (WIDTH - wide) // COLUMN)
    for first in range(0, len(card.dates), room):
        dates = card.dates[first : first + room]
        heads = [range_words(*asked, short=True) for asked in dates]
        lines += [
            "",
            f"{'':{wide}}" + "".join(f"{told:>{COLUMN}}" for told in heads),
        ]
        for town in card.towns:
            name, *rest = textwrap.wrap(town, wide - 1)
            row = [f"{_due_or_dot(card.cell(town, asked)):>{COLUMN}}" for asked in dates]
            lines += [f"{name:{wide}}" + "".join(row), *(f"  {part}" for part in rest)]
    said = [RANGE, card.weather_words, *card.warnings, *card.lines, CAUTION, METHOD]
    return "\n".join([*lines, "", *(line for words in said for line in _wrapped(words))])


def _due_or_dot(told: Translation | None) -> str:
    return "." if told is None else due_words(told)


def elsewhere_csv(told: Iterable[Translation], *, work: str = "", species: str = "") -> str:
    """Translations as CSV; the year of a due date is only a label, so days are written MM-DD."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for t in told:
        due = [_month_day(day) for day in (t.low, t.middle, t.high)]
        asked = [_month_day(t.first), _month_day(t.last)]
        writer.writerow([
            t.there, t.here, *asked, work, species, *due, f"{t.never:.2f}", t.years_there, t.years_here,
            _month_day(t.same_day),
        ])  # fmt: skip
    return out.getvalue()


def _month_day(day: date | None) -> str:
    return "" if day is None else f"{day.month:02d}-{day.day:02d}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)
