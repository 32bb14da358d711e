"""What stands in the report about trees: gathered and put into words, nothing drawn yet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from phenology.advice.agenda import Agenda, AgendaRow, Section
from phenology.advice.alike import Alike, AlikeSteps, alike
from phenology.advice.forecast_rows import ForecastRow
from phenology.garden import Garden
from phenology.work.grades import odds_in_tenths
from reports.text.care_text import as_counted
from reports.text.forecast_text import advice_words, in_brief, notes_of
from reports.text.words import capital, tree_names

NOW = (Section.TODAY, Section.WEEK)
ORDINALS = ("first", "second", "third", "fourth", "fifth")
WAITS = ("today", "in two weeks", "in three weeks")
WAITED = 21  # a window that opens later is not cut in by then: there the stop mark tells the price
MANY = 6  # more alike trees than these are counted, not named, in the heading; their strips name them


@dataclass(frozen=True)
class TreeCard:
    """Alike trees on the page, often only one.

    Attributes
    ----------
    steps : tuple of ForecastRow
        In the order in which their strips stand.
    names, kind, words : str
        Which trees; their species and flush; what to do, in sentences.
    trust : str
        How far the forecast may be trusted; empty where none was made.
    waiting : tuple of (str, int, str)
        What waiting costs: when it is cut, and odds that what it wakes ripens, in per cent for a bar and in
        words; the least sure tree speaks.
    """

    steps: tuple[ForecastRow, ...]
    names: str
    kind: str
    words: str
    trust: str
    waiting: tuple[tuple[str, int, str], ...]


def tree_cards(agenda: Agenda) -> tuple[list[TreeCard], list[TreeCard]]:
    """Trees to look at today and within a week, and those of the coming months; alike trees share a card."""
    coming = set(map(id, agenda.coming))
    near, far = (
        [row for row in agenda.rows if (row.section in NOW) == now and any(id(s) in coming for s in row.told)]
        for now in (True, False)
    )
    return [_card(group) for group in alike(near)], [_card(group) for group in alike(far)]


def other_lines(agenda: Agenda) -> tuple[list[str], list[str]]:
    """Trees without a card, in a line each: those of this week, and the rest."""
    coming = set(map(id, agenda.coming))
    rest = [row for row in agenda.rows if not any(id(s) in coming for s in row.told)]
    near, far = ([row for row in rest if (row.section in NOW) == now] for now in (True, False))
    return _lines(near), _lines(far)


def _lines(rows: list[AgendaRow]) -> list[str]:
    return [f"{tree_names(group.labels)}: {in_brief(group)}" for group in alike(rows)]


def _card(group: Alike) -> TreeCard:
    part, labels = group.parts[0], group.labels
    row = part.first
    flush = ORDINALS[min(row.flush, len(ORDINALS)) - 1]
    return TreeCard(
        tuple(s for r in sorted(group.rows, key=lambda r: as_counted(r.tree.label)) for s in r.told),
        tree_names(labels) if len(labels) <= MANY else f"{labels[0]} and {len(labels) - 1} alike",
        f"{row.species_name}, {flush} flush",
        " ".join(map(capital, advice_words(group, odds=False))),
        part.trust.words if row.arrival is not None and row.dated else "",
        _waiting(part),
    )


def _waiting(part: AlikeSteps) -> tuple[tuple[str, int, str], ...]:
    if part.odds is None or part.first.look_on > part.first.garden.as_of + timedelta(days=WAITED):
        return ()
    return tuple(
        (when, min(99, max(1, round(100 * odds))), odds_in_tenths(odds))
        for when, odds in zip(WAITS, part.odds, strict=True)
    )


def warnings_of(agenda: Agenda) -> list[tuple[str, str]]:
    """Warnings of the whole forecast and of trees, each said once: (whom it concerns or nobody, sentence)."""
    return [
        *(("", _sentence(note)) for note in agenda.forecast.warnings),
        *((tree_names(labels), _sentence(warning)) for warning, labels in notes_of(agenda).items()),
    ]


def cautions_of(garden: Garden) -> list[tuple[str, tuple[str, ...]]]:
    """What to mind with each species kept, species that need nothing left out."""
    kept = {tree.species: garden.species_of(tree) for tree in garden.standing_trees}
    return [
        (capital(species.name), tuple(_sentence(c) for c in species.cautions))
        for species in kept.values()
        if species.cautions
    ]


def _sentence(text: str) -> str:
    return f"{capital(text).rstrip('.')}."
