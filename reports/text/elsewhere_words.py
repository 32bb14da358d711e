"""Dates from elsewhere in words. Years of translated dates are only labels, so no year is ever said."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from phenology.model.operations import Operation
from phenology.seasons.translate import Translation
from phenology.species.catalogue import Species
from reports.text.words import date_style

LONG_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
RANGE = "In brackets: where four in five of the years and heat clocks tried put it."
CAUTION = "A date is a reason to look, never to cut: the leaf decides."
METHOD = "How this is reckoned: docs/method.md, section 8."


def sentence(t: Translation, *, work: str = "", species: str = "") -> str:
    """One translation as a sentence.

    Examples
    --------
    >>> asked, day = date(2025, 7, 5), date(2025, 6, 24)
    >>> sentence(Translation("Omiya", "my benches", asked, asked, date(2025, 6, 20), day,
    ...                      date(2025, 6, 29), 0.0, 20, 20, day))
    'What is done in Omiya on 5 July is due at my benches about 24 June (20-29 June).'
    """
    what = work.capitalize().replace("-", " ") if work else "What is"
    on = f" of {species}" if work and species else f" with {species}" if species else ""
    vague = t.asked_from != t.asked_to
    when = range_words(t.asked_from, t.asked_to) if vague else f"on {day_words(t.asked_from)}"
    lead = f"{what}{on} done in {t.there} {when}"
    if t.due is None:
        return f"{lead} hardly comes at {t.here}: so much warmth gathers in too few years."
    share = f"{t.never_share:.0%}"
    never = f" In {share} of years so much warmth does not gather." if t.never_share >= 0.05 else ""
    return f"{lead} is due at {t.here} about {day_words(t.due)} ({span(t, short=False)}).{never}"


def day_words(day: date, *, short: bool = False) -> str:
    """A day and month in the garden's order. The year is left out always: here it is only a label.

    Examples
    --------
    >>> day_words(date(2025, 7, 5)), day_words(date(2025, 7, 5), short=True)
    ('5 July', '5 Jul')
    """
    month = LONG_MONTHS[day.month - 1][: 3 if short else None]
    return f"{month} {day.day}" if date_style().order == "month-first" else f"{day.day} {month}"


def range_words(first: date, last: date, *, short: bool = False) -> str:
    """Days from one to another, the month said once.

    Examples
    --------
    >>> range_words(date(2025, 6, 20), date(2025, 6, 29)), range_words(date(2025, 12, 30), date(2026, 1, 2))
    ('20-29 June', '30 December-2 January')
    """
    if (first.month, first.day) == (last.month, last.day):
        return day_words(first, short=short)
    if first.month != last.month or last < first:
        return f"{day_words(first, short=short)}-{day_words(last, short=short)}"
    month = LONG_MONTHS[first.month - 1][: 3 if short else None]
    days = f"{first.day}-{last.day}"
    return f"{month} {days}" if date_style().order == "month-first" else f"{days} {month}"


def span(t: Translation, *, short: bool = True) -> str:
    """The range of a translation, months short or in full."""
    if t.due_low is None:
        return "never"
    if t.due_high is None:
        low = day_words(t.due_low, short=short)
        return f"{low}, or never" if short else f"from {low}, if at all"
    return range_words(t.due_low, t.due_high, short=short)


def asked_words(t: Translation) -> str:
    """The date asked for, months short."""
    return range_words(t.asked_from, t.asked_to, short=True)


def due_words(t: Translation) -> str:
    """When it is due and its range, months short."""
    return "not here" if t.due is None else f"{day_words(t.due, short=True)} ({span(t)})"


def notes_of(t: Translation) -> list[str]:
    """What to mind about a translation: a short record, or a date late in the season."""
    notes = [
        f"only {years} {'year' if years == 1 else 'years'} of weather for {name}: range too narrow"
        for name, years in t.short_records
    ]
    return [*notes, *(["late in the season day length and frost lead more than heat"] if t.late else [])]


def what_words(work: str, species: Species | None) -> str:
    """The work and the species meant; empty for anything."""
    if not work:
        return species.name if species else ""
    return " of ".join([work.replace("-", " "), *([species.name] if species else [])])


def work_notes(work: str, species: Species | None) -> Iterator[str]:
    """What a species and an operation ask to be minded, whatever the date."""
    if species and work in ("full-defoliation", "partial-defoliation") and species.defoliation == "never":
        yield f"{species.name}: not defoliated (its entry in the catalogue says never)."
    if species and work and species.growth == "fixed" and Operation(work).wakes:
        yield f"{species.name}: a fixed grower, which seldom flushes again after a cut."
    if work and Operation(work).caution:
        yield f"{work.capitalize().replace('-', ' ')}: {Operation(work).caution}."
    if species:
        for caution in species.cautions:
            yield f"{species.name}: {caution.rstrip('.')}."
