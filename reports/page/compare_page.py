"""Seasons side by side as one HTML page: pictures, tables and the words for both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from phenology.garden import Garden
from phenology.learning.transitions import TARGETS
from phenology.model.units import c_to_f
from phenology.seasons.ahead import heat_course
from phenology.seasons.compare import Comparison, StageDate
from phenology.seasons.tree_stages import TreeStage
from phenology.seasons.trends import FEWEST_SEASONS
from reports.charts.past_chart import describe_past
from reports.output.compare import Compared
from reports.page.compare_drawings import Around, finite, flush_drawing, lead_drawing, lead_reach
from reports.page.drawings import heat_drawing, miss_drawing, month_labels
from reports.page.render import lead_words
from reports.page.template import drawn, filled
from reports.text.compare_more import STAGES, TRUTH_NOTE, trend_name
from reports.text.compare_text import (
    STAGE,
    frost_words,
    latest_first,
    loose_words,
    shown_heat,
    signed,
    warmth_notes,
)
from reports.text.words import short_date, weekday_full_date

TEMPLATE = "compare.html.j2"
SEASONS_WIDE = 5  # seasons across that a phone shows; fewer where dates are written long
SEASONS_WIDE_LONG = 3
SHORT_DATE = 6  # characters
TREES_SHOWN = 60  # more make the page long and slow; they are told by the command
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh")


@dataclass(frozen=True)
class Cell:
    """A date in a table, with what stands under it."""

    day: str
    ahead: str
    heat: str


@dataclass(frozen=True)
class StageTable:
    """Dates of a species or a tree: seasons across, stages down, flush by flush.

    `flushes` holds, for each flush, its name and rows of (stage, what its warmth is counted from, cells).
    """

    seasons: tuple[str, ...]
    flushes: tuple[tuple[str, tuple[tuple[str, str, tuple[Cell | None, ...]], ...]], ...]


def compare_html(compared: Compared, name: str) -> str:
    """The whole page as HTML.

    Parameters
    ----------
    compared : Compared
    name : str
        The garden's.
    """
    comparison = compared.comparison
    garden = comparison.garden
    course = heat_course(garden)
    around = {season: _around(comparison, season) for season in comparison.seasons}
    return filled(
        TEMPLATE,
        name=name,
        day=weekday_full_date(garden.as_of),
        until=short_date(garden.as_of),
        lead=lead_words(course),
        place=comparison.place,
        base=_base(compared.units),
        ever=max(h.ever for h in comparison.heat),
        warmth=_warmth(compared),
        notes=list(warmth_notes(comparison)),
        heat=_heat(compared),
        leads=_leads(comparison, around) if comparison.usual_known else [],
        reach=round(lead_reach(comparison)),
        months=month_labels(garden.calendar, garden.season),
        frosts=_frosts(comparison),
        species=list(_species(compared, around)),
        loose=loose_words(comparison),
        few_trees=len(comparison.trees) > 0 and len({t.tree.id for t in comparison.trees}) <= TREES_SHOWN,
        looked_back=compared.look_back is not None,
        truth=_truth(compared),
        misses=_misses(compared),
        followed=_followed(compared),
        trends=_trends(compared),
        attribution=list(garden.attribution),
    )


def _base(units: str) -> str:
    return f"{c_to_f(5.0):.0f} °F" if units == "F" else "5 °C"


def _around(comparison: Comparison, season: int) -> Around:
    garden = comparison.garden
    place = next((f for f in comparison.frosts if f.season == season and f.place == comparison.place), None)
    start = garden.calendar.start(season)
    return Around(
        [label.at * 366 / 100 for label in month_labels(garden.calendar, season) if label.at > 0],
        finite(place.last) if place else None,
        finite(place.first) if place else None,
        (),
        (garden.as_of - start).days + 0.5 if season == garden.season else None,
    )


def _warmth(compared: Compared) -> list[tuple[str, str, str, str]]:
    garden = compared.comparison.garden
    return [
        (garden.calendar.label(h.season), f"{shown_heat(h.heat, compared.units):,.0f}" if h.told else ".",
         str(h.rank_ever) if h.told else ".", signed(h.ahead))
        for h in compared.comparison.heat
    ]  # fmt: skip


def _heat(compared: Compared) -> dict[str, Any]:
    course = heat_course(compared.comparison.garden)
    words = f"Warmth gathered through the season over past ones. {course.words.capitalize()}."
    svg, labels = heat_drawing(course, words, 1.8 if compared.units == "F" else 1.0)
    return {"svg": drawn(svg), "labels": labels, "past": len(course.past)}


def _leads(comparison: Comparison, around: dict[int, Around]) -> list[tuple[str, Any, str]]:
    reach, out = lead_reach(comparison), []
    for season in comparison.seasons:
        ahead = comparison.courses[season][1]
        label = comparison.garden.calendar.label(season)
        words = _lead_words(ahead)
        out.append((label, drawn(lead_drawing(ahead, reach, around[season], f"{label}: {words}")), words))
    return out


def _lead_words(ahead: np.ndarray) -> str:
    told = ahead[np.isfinite(ahead)]
    if not len(told):
        return "nothing to say yet"
    low, high = round(float(told.min())), round(float(told.max()))
    return f"{low:+d} to {high:+d} days" if low != high else f"{low:+d} days"


def _frosts(comparison: Comparison) -> list[tuple[str, list[tuple[str, str, str, str]]]]:
    by_place: dict[str, list[tuple[str, str, str, str]]] = {}
    for one in comparison.frosts:
        last, first = frost_words(one, comparison.garden)
        free = "." if one.free_days is None else str(one.free_days)
        by_place.setdefault(one.place, []).append(
            (comparison.garden.calendar.label(one.season), last, first, free)
        )
    return list(by_place.items())


def _species(compared: Compared, around: dict[int, Around]) -> Iterator[dict[str, Any]]:
    comparison, garden = compared.comparison, compared.comparison.garden
    for latin in dict.fromkeys(s.species for s in comparison.stages):
        stages = [s for s in comparison.stages if s.species == latin]
        trees = [t for t in comparison.trees if t.tree.species == latin]
        labels = list(dict.fromkeys(t.tree.label for t in trees))
        known = garden.species.get(latin)
        yield {
            "latin": latin,
            "name": known.name if known else "",
            "trees": ", ".join(labels[:8]) + (f" and {len(labels) - 8} more" if len(labels) > 8 else ""),
            "strips": _strips(comparison, latin, stages, around),
            "tables": list(_tables(stages, compared)),
            "by_tree": [
                (label, list(_tables([t for t in trees if t.tree.label == label], compared)))
                for label in labels
            ] if len(labels) > 1 else [],
        }  # fmt: skip


def _strips(
    comparison: Comparison, latin: str, stages: Sequence[StageDate], around: dict[int, Around]
) -> list[tuple[str, Any]]:
    garden, out = comparison.garden, []
    for season in sorted({s.season for s in stages}):
        mine = [s for s in stages if s.season == season]
        label = garden.calendar.label(season)
        told = ", ".join(
            f"{STAGE[s.stage]} {short_date(garden.calendar.date(season, s.day))}"
            + (f" (flush {s.flush})" if s.flush > 1 else "")
            for s in mine
        )
        with_works = Around(
            around[season].months, around[season].last, around[season].first,
            _works(garden, latin, season), around[season].today,
        )  # fmt: skip
        out.append((label, drawn(flush_drawing(mine, with_works, f"{label}: {told}."))))
    return out


def _works(garden: Garden, latin: str, season: int) -> list[float]:
    mine = {tree.id for tree in garden.trees if tree.species == latin}
    days = {
        garden.calendar.day(work.latest)
        for work in garden.works
        if work.tree_id in mine and work.operation.wakes and garden.calendar.season_of(work.latest) == season
    }
    return [float(day) for day in sorted(days)]


def _tables(stages: Sequence[StageDate] | Sequence[TreeStage], compared: Compared) -> Iterator[StageTable]:
    """The dates, as many seasons across as a phone shows."""
    calendar = compared.comparison.garden.calendar
    seen = sorted({s.season for s in stages})
    short = len(short_date(calendar.end(compared.comparison.garden.season))) <= SHORT_DATE
    wide = SEASONS_WIDE if short else SEASONS_WIDE_LONG
    for seasons in latest_first(seen, wide):
        flushes = []
        for flush in sorted({s.flush for s in stages if s.season in seasons}):
            rows = [
                row
                for stage in TARGETS
                if (
                    row := _row(
                        [s for s in stages if (s.flush, s.stage) == (flush, stage)], seasons, compared
                    )
                )
            ]
            named = ORDINALS[flush - 1] if flush <= len(ORDINALS) else f"{flush}th"
            flushes.append((f"{named} flush", tuple(rows)))
        yield StageTable(tuple(calendar.label(s) for s in seasons), tuple(flushes))


def _row(
    stages: Sequence[StageDate | TreeStage], seasons: Sequence[int], compared: Compared
) -> tuple[str, str, tuple[Cell | None, ...]] | None:
    by_season = {s.season: s for s in stages if s.season in seasons}
    if not by_season:
        return None
    garden = compared.comparison.garden
    since = [s.since for s in by_season.values() if s.own_heat is not None]
    counted = max(set(since), key=since.count) if since else ""
    start = short_date(garden.calendar.start(garden.season))
    told = {"start": f"from {start}", "work": "from the work", "budbreak": "from bud break", "": ""}[counted]
    cells: list[Cell | None] = []
    for season in seasons:
        one = by_season.get(season)
        if one is None:
            cells.append(None)
            continue
        heat = one.own_heat if one.since == counted else None
        told_heat = "." if heat is None else f"{shown_heat(heat, compared.units):,.0f}"
        cells.append(Cell(short_date(garden.calendar.date(season, one.day)), signed(one.ahead), told_heat))
    return STAGE[next(iter(by_season.values())).stage], told, tuple(cells)


def _truth(compared: Compared) -> list[tuple[str, int, str, str, str, str]]:
    def days(value: float) -> str:
        return "." if np.isnan(value) else f"{value:.0f}"

    calendar = compared.comparison.garden.calendar
    return [
        (
            calendar.label(t.season),
            t.flushes,
            days(t.missed)
            + (f" ({abs(t.late):.0f} {'late' if t.late > 0 else 'early'})" if round(t.late) else ""),
            days(t.missed_near),
            days(t.usual_missed),
            f"{t.held:.0%}",
        )
        for t in compared.truth
    ]


def _misses(compared: Compared) -> dict[str, Any] | None:
    if not compared.past:
        return None
    words = describe_past(compared.past)
    svg, labels, reach = miss_drawing(compared.past, f"Misses of past forecasts by lead time. {words}")
    return {"words": words, "note": TRUTH_NOTE, "svg": drawn(svg), "labels": labels, "reach": f"{reach:.0f}"}


def _followed(compared: Compared) -> list[tuple[str, list[tuple[str, int, int, list[str]]]]]:
    species = compared.comparison.garden.species
    out: dict[str, list[tuple[str, int, int, list[str]]]] = {}
    for one in compared.followed:
        name = species[one.species].name if one.species in species else one.species
        cells = [_span(one.days.get(stage)) for stage in STAGES]
        silent = one.works - one.flushed
        out.setdefault(name, []).append((one.operation.replace("-", " "), one.works, silent, cells))
    return list(out.items())


def _span(days: tuple[int, float, float, float] | None) -> str:
    if days is None:
        return "."
    count, middle, least, most = days
    return f"{middle:.0f}" if count == 1 else f"{middle:.0f} ({least:.0f}-{most:.0f})"


def _trends(compared: Compared) -> list[tuple[str, str]]:
    garden = compared.comparison.garden
    told = [
        (trend_name(t, garden), t.words) for t in compared.trends if t.per_decade is not None or not t.species
    ]
    few = [t for t in compared.trends if t.species and t.per_decade is None]
    if few:
        most = max(t.seasons for t in few)
        told.append((
            f"stages of {len({t.species for t in few})} species",
            f"too few seasons to say ({most} of {FEWEST_SEASONS} at most)",
        ))  # fmt: skip
    return told
