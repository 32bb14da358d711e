"""Dates from elsewhere as text, CSV, and a card of several towns."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from phenology.records.operations import operation
from phenology.seasons.translate import Translation
from phenology.species.catalogue import Species
from reports.words import date_range, short_date

WIDTH = 80
COLUMNS = (
    "there", "here", "from", "to", "operation", "species", "due_low", "due", "due_high", "never_share",
    "years_there", "years_here", "same_day_length",
)  # fmt: skip
RANGE = "In brackets: where four in five of the years and heat clocks tried put it."
CAUTION = "A date is a reason to look, never to cut: the leaf decides."


def sentence(told: Translation, *, work: str = "", species: str = "") -> str:
    """One translation as a sentence.

    Examples
    --------
    >>> asked, day = date(2025, 7, 5), date(2025, 6, 24)
    >>> sentence(Translation("Omiya", "my benches", asked, asked, date(2025, 6, 20), day,
    ...                      date(2025, 6, 29), 0.0, 20, 20, day, ()))
    'What is done in Omiya on 5 Jul is due at my benches about 24 Jun (20-29 Jun).'
    """
    asked = short_date(told.first) if told.first == told.last else date_range(told.first, told.last)
    what = work.capitalize().replace("-", " ") if work else "What is"
    on = f" of {species}" if work and species else f" with {species}" if species else ""
    when = f"on {asked}" if told.first == told.last else asked
    lead = f"{what}{on} done in {told.there} {when}"
    if told.middle is None:
        return f"{lead} hardly comes at {told.here}: so much warmth gathers in too few years."
    never = f" In {told.never:.0%} of years so much warmth does not gather." if told.never >= 0.05 else ""
    return f"{lead} is due at {told.here} about {short_date(told.middle)} ({span(told)}).{never}"


def span(told: Translation) -> str:
    """The range of a translation."""
    if told.low is None:
        return "never"
    if told.high is None:
        return f"from {short_date(told.low)}, if at all"
    return date_range(told.low, told.high)


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
        lines += [f"  {_asked(t):>15}  ->  {_due(t)}" for t in told]
    lines += ["", *_wrapped(RANGE)]
    for note in dict.fromkeys(note for t in told for note in t.notes):
        lines += _wrapped(f"Note: {note}.")
    late = [t for t in told if any("day length" in note for note in t.notes)]
    if late:
        t = late[0]
        lines += _wrapped(f"By day length alone {_asked(t)} there would be {short_date(t.same_day)} here.")
    for note in work_notes(work, species):
        lines += _wrapped(note)
    return "\n".join([*lines, *_wrapped(CAUTION)])


def work_notes(work: str, species: Species | None) -> Iterator[str]:
    """What a species and an operation ask to be minded, whatever the date."""
    if species and work in ("full-defoliation", "partial-defoliation") and species.defoliation == "never":
        yield f"{species.name}: not defoliated (its entry in the catalogue says never)."
    if species and work and species.growth == "fixed" and operation(work).wakes:
        yield f"{species.name}: a fixed grower, which seldom flushes again after a cut."
    if work and operation(work).caution:
        yield f"{work.capitalize().replace('-', ' ')}: {operation(work).caution}."
    if species:
        for caution in species.cautions:
            yield f"{species.name}: {caution.rstrip('.')}."


def card_text(home: str, towns: Sequence[str], told: Iterable[Translation]) -> str:
    """A card for a club: a row a town, a column a date at home, each with its range."""
    cells: dict[tuple[str, date], Translation] = {}
    for t in told:
        cells[t.here, t.first] = t
    dates = list(dict.fromkeys(day for _, day in cells))
    wide = max(16, *(len(town) + 2 for town in towns))
    lines = [f"Done in {home} on", f"{'':{wide}}" + "".join(f"{short_date(day):>22}" for day in dates)]
    for town in towns:
        row = [f"{_due(cells[town, day]) if (town, day) in cells else '.':>22}" for day in dates]
        lines.append(f"{town:{wide}}" + "".join(row))
    notes = dict.fromkeys(note for t in cells.values() for note in t.notes)
    return "\n".join([*lines, "", RANGE, *(f"Note: {note}." for note in notes), CAUTION])


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


def _asked(t: Translation) -> str:
    return short_date(t.first) if t.first == t.last else date_range(t.first, t.last)


def _due(t: Translation) -> str:
    return "not here" if t.middle is None else f"{short_date(t.middle)} ({span(t)})"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="  ", break_on_hyphens=False)
