"""Seasons side by side as one HTML page: pictures, tables and the words for both."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from phenology.garden import Garden
from phenology.language.degrees import degrees
from phenology.seasons.compare import Comparison
from phenology.seasons.season_heat import BASE_C, heat_course
from phenology.seasons.tree_stages import StageDate
from reports.charts.learned_charts import describe_past
from reports.page.drawings import (
    Around,
    drawn,
    filled,
    finite,
    flush_drawing,
    heat_drawing,
    lead_drawing,
    lead_reach,
    miss_drawing,
    month_labels,
)
from reports.page.render import lead_words
from reports.views import compare_tables as tables
from reports.views.compare import Compared
from reports.views.words import short_date, weekday_full_date

TEMPLATE = "compare.html.j2"
SEASONS_WIDE = 5  # seasons across that a phone shows; fewer where dates are written long
SEASONS_WIDE_LONG = 3
SHORT_DATE = 6  # characters
TREES_SHOWN = 60  # more make the page long and slow; the command shows them


@dataclass(frozen=True)
class StageTable:
    """Dates of a species or a tree: seasons across, stages down, flush by flush."""

    seasons: tuple[str, ...]
    flushes: dict[int, list[tables.StageRow]]


def compare_html(compared: Compared, name: str) -> str:
    """The whole page as HTML."""
    comparison, units = compared.comparison, compared.units
    garden = comparison.garden
    course = heat_course(garden)
    around = {season: _around(comparison, season) for season in comparison.seasons}
    words = f"Warmth gathered through the season over past ones. {course.words.capitalize()}."
    heat, heat_labels = heat_drawing(course, words, 1.8 if units == "F" else 1.0)
    today = [("days ahead", garden.today)]
    return filled(
        TEMPLATE,
        name=name,
        day=weekday_full_date(garden.as_of),
        until=short_date(garden.as_of),
        lead=lead_words(course),
        contents=list(_contents(compared)),
        place=comparison.place,
        base=degrees(BASE_C, units),
        of_all=max(h.of_all for h in comparison.warmth),
        warmth=tables.warmth_table(comparison, units, today).texts(),
        notes=list(tables.warmth_notes(comparison)),
        heat={"svg": drawn(heat), "labels": heat_labels, "past": len(course.past)},
        leads=list(_leads(comparison, around)) if comparison.usual_known else [],
        reach=round(lead_reach(comparison)),
        months=month_labels(garden.calendar, garden.season),
        frosts={
            place: table.texts() for place, table in tables.frost_tables(comparison.frosts, garden).items()
        },
        species=list(_species(comparison, around)),
        shown_heat=lambda heat: tables.shown_heat(heat, units),
        date_of=lambda one: short_date(one.date),
        signed=tables.signed,
        stages=tables.STAGES,
        loose=tables.loose_words(comparison),
        few_trees=(trees := len({t.tree_id for t in comparison.trees})) <= TREES_SHOWN,
        many_trees=trees > TREES_SHOWN,
        looked_back=compared.look_back is not None,
        truth=tables.errors_table(compared.errors, garden).texts(),
        misses=_misses(compared),
        followed=tables.followed_groups(compared.followed, garden),
        trends=list(tables.trend_rows(compared.trends, garden)),
        attribution=list(garden.attribution),
    )


def _contents(compared: Compared) -> Iterator[tuple[str, str]]:
    yield from (("warmth", "Warmth"), ("frosts", "Frosts"), ("stages", "Stages"))
    if compared.look_back is not None:
        yield "truth", "Forecasts against what came"
    if compared.followed:
        yield "followed", "Work, and what followed"
    if compared.trends:
        yield "trends", "Trends"
    yield "method", "Where the numbers come from"


def _around(comparison: Comparison, season: int) -> Around:
    garden = comparison.garden
    place = next((f for f in comparison.frosts if f.season == season and f.place == comparison.place), None)
    return Around(
        [label.at * 366 / 100 for label in month_labels(garden.calendar, season) if label.at > 0],
        finite(place.last) if place else None,
        finite(place.first) if place else None,
        (),
        garden.today - 0.5 if season == garden.season else None,
    )


def _leads(comparison: Comparison, around: dict[int, Around]) -> Iterator[tuple[str, Any, str]]:
    reach = lead_reach(comparison)
    for season in comparison.seasons:
        ahead = comparison.courses[season].ahead
        label, words = comparison.garden.calendar.label(season), _lead_words(ahead)
        yield label, drawn(lead_drawing(ahead, reach, around[season], f"{label}: {words}")), words


def _lead_words(ahead: np.ndarray) -> str:
    known = ahead[np.isfinite(ahead)]
    if not len(known):
        return "nothing to say yet"
    low, high = round(float(known.min())), round(float(known.max()))
    return f"{low:+d} to {high:+d} days" if low != high else f"{low:+d} days"


def _species(comparison: Comparison, around: dict[int, Around]) -> Iterator[dict[str, Any]]:
    garden = comparison.garden
    for latin in dict.fromkeys(s.species for s in comparison.stages):
        stages = [s for s in comparison.stages if s.species == latin]
        trees = [t for t in comparison.trees if t.species == latin]
        labels = list(dict.fromkeys(t.tree for t in trees))
        by_tree = {label: list(_tables([t for t in trees if t.tree == label], garden)) for label in labels}
        yield {
            "latin": latin,
            "name": garden.species[latin].name if latin in garden.species else "",
            "trees": ", ".join(labels[:8]) + (f" and {len(labels) - 8} more" if len(labels) > 8 else ""),
            "strips": list(_strips(garden, stages, around)),
            "tables": list(_tables(stages, garden)),
            "by_tree": by_tree if len(labels) > 1 else {},
        }


def _strips(
    garden: Garden, stages: Sequence[StageDate], around: dict[int, Around]
) -> Iterator[tuple[str, Any]]:
    for season in sorted({s.season for s in stages}):
        mine = [s for s in stages if s.season == season]
        label = garden.calendar.label(season)
        dates = ", ".join(
            f"{tables.STAGES[s.stage]} {short_date(s.date)}" + (f" (flush {s.flush})" if s.flush > 1 else "")
            for s in mine
        )
        with_works = replace(around[season], works=_works(garden, mine[0].species, season))
        yield label, drawn(flush_drawing(mine, with_works, f"{label}: {dates}."))


def _works(garden: Garden, latin: str, season: int) -> list[float]:
    mine = {tree.id for tree in garden.trees if tree.species == latin}
    return sorted({
        float(garden.calendar.day(work.latest))
        for work in garden.works
        if work.tree_id in mine and work.operation.wakes and garden.calendar.season_of(work.latest) == season
    })  # fmt: skip


def _tables(stages: Sequence[StageDate], garden: Garden) -> Iterator[StageTable]:
    """The dates, as many seasons across as a phone shows."""
    short = len(short_date(garden.calendar.end(garden.season))) <= SHORT_DATE
    for seasons in tables.latest_first(
        (s.season for s in stages), SEASONS_WIDE if short else SEASONS_WIDE_LONG
    ):
        yield StageTable(
            tuple(map(garden.calendar.label, seasons)), _by_flush(tables.stage_rows(stages, seasons, garden))
        )


def _by_flush(rows: Iterable[tables.StageRow]) -> dict[int, list[tables.StageRow]]:
    flushes: dict[int, list[tables.StageRow]] = {}
    for row in rows:
        flushes.setdefault(row.flush, []).append(row)
    return flushes


def _misses(compared: Compared) -> dict[str, Any] | None:
    if not compared.past:
        return None
    words = describe_past(compared.past)
    svg, labels, reach = miss_drawing(compared.past, f"Misses of past forecasts by lead time. {words}")
    return {
        "words": words,
        "note": tables.ERRORS_NOTE,
        "svg": drawn(svg),
        "labels": labels,
        "reach": f"{reach:.0f}",
    }
