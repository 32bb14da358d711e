"""What stands in the report about trees: gathered and put into words, nothing drawn yet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.garden import Garden
from phenology.species.catalogue import Species
from reports.text.aftercare_due import care_lines
from reports.text.deciding import coming_rows, odds_of, refusal_of
from reports.text.forecast_text import advice_words, alike, trust_words
from reports.text.words import tree_names

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
    rows : tuple of ForecastRow
    names, kind, words : str
        Which trees; their species and flush; what to do, in sentences.
    trust : str
        How far the forecast may be trusted; empty where none was made.
    waiting : tuple of (str, int)
        What waiting costs: when it is cut, and odds in per cent that what it wakes ripens; the least sure
        tree speaks.
    """

    rows: tuple[ForecastRow, ...]
    names: str
    kind: str
    words: str
    trust: str
    waiting: tuple[tuple[str, int], ...]


def tree_cards(forecast: GardenForecast) -> tuple[list[TreeCard], list[TreeCard]]:
    """Trees to look at within a week, and those of the coming months; alike trees share a card."""
    now: list[TreeCard] = []
    later: list[TreeCard] = []
    soon = forecast.garden.as_of + timedelta(days=NOW_DAYS)
    rows = coming_rows(forecast)
    for near, cards in ((True, now), (False, later)):
        cards += [_card(group, forecast) for group in alike([r for r in rows if (r.look_on <= soon) == near])]
    return now, later


def _card(group: Sequence[ForecastRow], forecast: GardenForecast) -> TreeCard:
    row = group[0]
    flush = ORDINALS[min(row.flush, len(ORDINALS)) - 1]
    return TreeCard(
        tuple(sorted(group, key=_as_counted)),
        _names([r.tree.label for r in group]),
        f"{row.species_name}, {flush} flush",
        " ".join(_capital(words) for words in advice_words(group, forecast, odds=False)),
        trust_words(group) if row.arrival is not None and row.dated else "",
        _waiting(group, forecast.garden.as_of),
    )


def _as_counted(row: ForecastRow) -> list[tuple[int, str]]:
    """Order of labels in which 2 comes before 10."""
    return [(int(part), "") if part.isdigit() else (0, part) for part in re.split(r"(\d+)", row.tree.label)]


def _names(labels: list[str]) -> str:
    return tree_names(labels) if len(labels) <= MANY else f"{labels[0]} and {len(labels) - 1} alike"


def _waiting(group: Sequence[ForecastRow], today: date) -> tuple[tuple[str, int], ...]:
    odds = [found for row in group if row.trust.seasons > 0 and (found := odds_of(row)) is not None]
    if not odds or min(row.look_on for row in group) > today + timedelta(days=WAITED):
        return ()
    least = [min(99, max(1, round(100 * min(column)))) for column in zip(*odds, strict=True)]
    return tuple(zip(WAITS, least, strict=True))


def notes_of(forecast: GardenForecast) -> list[tuple[str, str]]:
    """Warnings of the whole forecast and of trees, each said once: (whom it concerns or nobody, sentence)."""
    by_warning: dict[str, list[str]] = {}
    for row in coming_rows(forecast):
        for warning in row.warnings:
            if warning == refusal_of(row):
                continue  # its own line says so
            labels = by_warning.setdefault(warning, [])
            if row.tree.label not in labels:
                labels.append(row.tree.label)
    return [
        *(("", _sentence(note)) for note in forecast.warnings),
        *((tree_names(labels), _sentence(warning)) for warning, labels in by_warning.items()),
    ]


def care_of(garden: Garden) -> list[tuple[str, str]]:
    """What work done asks for now: trees, and what to do until when."""
    told = (line.partition(": ") for line in care_lines(garden))
    return [(names, _capital(words)) for names, _, words in told]


def cautions_of(garden: Garden) -> list[tuple[str, tuple[str, ...]]]:
    """What to mind with each species kept, species that need nothing left out."""
    kept: dict[str, Species] = {}
    for tree in garden.trees:
        if tree.retired is None or tree.retired > garden.as_of:
            kept.setdefault(tree.species, garden.species_of(tree))
    return [
        (_capital(species.name), tuple(_sentence(c) for c in species.cautions))
        for species in kept.values()
        if species.cautions
    ]


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _sentence(text: str) -> str:
    return f"{_capital(text).rstrip('.')}."
