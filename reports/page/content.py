"""What stands in the report about trees: gathered and put into words, nothing drawn yet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.next_steps import Alike, NextStep, alike, coming_steps, row_warnings
from phenology.garden import Garden
from phenology.work.grades import odds_in_tenths
from reports.text.care_text import as_counted
from reports.text.forecast_text import advice_words
from reports.text.words import capital, tree_names

NOW_DAYS = 7
ORDINALS = ("first", "second", "third", "fourth", "fifth")
WAITS = ("today", "in two weeks", "in three weeks")
WAITED = 21  # a window that opens later is not cut in by then: there the stop mark tells the price
MANY = 6  # more alike trees than these are counted, not named, in the heading; their strips name them


@dataclass(frozen=True)
class TreeCard:
    """Alike trees on the page, often only one.

    Attributes
    ----------
    steps : tuple of NextStep
        In the order in which their strips stand.
    names, kind, words : str
        Which trees; their species and flush; what to do, in sentences.
    trust : str
        How far the forecast may be trusted; empty where none was made.
    waiting : tuple of (str, int, str)
        What waiting costs: when it is cut, and odds that what it wakes ripens, in per cent for a bar and in
        words; the least sure tree speaks.
    """

    steps: tuple[NextStep, ...]
    names: str
    kind: str
    words: str
    trust: str
    waiting: tuple[tuple[str, int, str], ...]


def tree_cards(forecast: GardenForecast) -> tuple[list[TreeCard], list[TreeCard]]:
    """Trees to look at within a week, and those of the coming months; alike trees share a card."""
    soon, steps = forecast.garden.as_of + timedelta(days=NOW_DAYS), coming_steps(forecast)
    near, far = ([s for s in steps if (s.row.look_on <= soon) == is_near] for is_near in (True, False))
    return [_card(group) for group in alike(near)], [_card(group) for group in alike(far)]


def _card(group: Alike) -> TreeCard:
    row, labels = group.first.row, group.labels
    flush = ORDINALS[min(row.flush, len(ORDINALS)) - 1]
    return TreeCard(
        tuple(sorted(group.steps, key=lambda step: as_counted(step.row.tree.label))),
        tree_names(labels) if len(labels) <= MANY else f"{labels[0]} and {len(labels) - 1} alike",
        f"{row.species_name}, {flush} flush",
        " ".join(map(capital, advice_words(group, odds=False))),
        group.trust.words if row.arrival is not None and row.dated else "",
        _waiting(group),
    )


def _waiting(group: Alike) -> tuple[tuple[str, int, str], ...]:
    soonest = min(step.row.look_on for step in group.steps)
    if group.odds is None or soonest > group.first.garden.as_of + timedelta(days=WAITED):
        return ()
    return tuple(
        (when, min(99, max(1, round(100 * odds))), odds_in_tenths(odds))
        for when, odds in zip(WAITS, group.odds, strict=True)
    )


def notes_of(forecast: GardenForecast) -> list[tuple[str, str]]:
    """Warnings of the whole forecast and of trees, each said once: (whom it concerns or nobody, sentence)."""
    of_trees = row_warnings(coming_steps(forecast)).items()
    return [
        *(("", _sentence(note)) for note in forecast.warnings),
        *((tree_names(labels), _sentence(warning)) for warning, labels in of_trees),
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
