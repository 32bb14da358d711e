"""Seasons side by side as text at 80 columns: warmth, frosts, and when each stage came."""

from __future__ import annotations

import math
import textwrap
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from phenology.garden import Garden
from phenology.learning.flush_history import WIDEST_DAYS
from phenology.model.units import c_to_f, degree_days_c_to_f
from phenology.seasons.compare import BASE_C, Comparison
from phenology.seasons.season_frosts import SeasonFrost
from reports.text.words import MONTHS, listed, short_date

WIDTH = 80
STAGE_WIDE = 20
PLACES_SHOWN = 3
STAGE = {"budbreak": "bud break", "extended": "extended", "hardened": "hardened"}
FEW_SEASONS = "too few seasons on record to say what is usual"
TOO_COOL = "too cool a time of year to count days ahead"

POINT = "A point: too cool a time of year to say, or warmer already than a usual season."


@dataclass(frozen=True)
class StageCell:
    """One stage of one season, of a species or of a tree."""

    day: date
    ahead: float | None
    since: str
    own_heat: float | None


Rows = dict[tuple[int, str], dict[int, StageCell]]


def compare_text(comparison: Comparison, units: str, *, every_stage: bool = False) -> str:
    """Warmth first, then frosts, then the dates by species.

    Parameters
    ----------
    comparison : Comparison
    units : {"C", "F"}
    every_stage : bool
        Every stage of later flushes too, and the warmth that each took.
    """
    parts = [
        warmth_lines(comparison, units),
        frost_lines(comparison),
        _species(comparison, units, every_stage),
    ]
    return "\n\n".join("\n".join(lines) for lines in map(list, parts) if lines)


def tree_text(comparison: Comparison, units: str, trees: Sequence[str]) -> str:
    """Every stage of the trees with these ids, tree by tree, with the warmth that each took."""
    garden = comparison.garden
    groups: dict[str, Rows] = {}
    names = {t.id: f"{t.label} ({garden.species_of(t).name})" for t in garden.trees if t.id in trees}
    for one in comparison.trees:
        if one.tree.id in names:
            rows = groups.setdefault(names[one.tree.id], defaultdict(dict))
            rows[one.flush, one.stage][one.season] = StageCell(
                garden.calendar.date(one.season, one.day), one.ahead, one.since, one.own_heat
            )
    bare = [name for tree, name in names.items() if name not in groups]
    lines = list(_table(groups, comparison, units, True))
    for name in bare:
        lines += textwrap.wrap(f"{name}: no stage was seen to come between two looks in these seasons", WIDTH)
    lines += textwrap.wrap(loose_words(comparison, trees), WIDTH)
    return "\n".join([*lines, *_legend(groups, units, True)])


def loose_words(comparison: Comparison, trees: Collection[str] | None = None) -> str:
    """How many stages lie between looks too far apart to date them, of the trees with these ids or all."""
    of = Counter(tree.label for tree, _ in comparison.loose if trees is None or tree.id in trees)
    if not of:
        return ""
    most = [label for label, _ in of.most_common(3)]
    named = listed([*most, *([f"{len(of) - 3} more trees"] if len(of) > 3 else [])])
    told = "1 stage" if of.total() == 1 else f"{of.total()} stages"
    return f"Not dated: {told} of {named}, between looks more than {WIDEST_DAYS / 7:.0f} weeks apart."


def warmth_lines(comparison: Comparison, units: str) -> Iterator[str]:
    """Warmth to date with its rank, and days ahead of usual through each season."""
    garden, columns = comparison.garden, day_columns(comparison)
    place, until = comparison.place, short_date(garden.as_of)
    ever = max(h.ever for h in comparison.heat)
    told = f"Warmth to {until}, {place}: degree-days above {base_words(units)}, rank of {ever} seasons"
    if columns:
        also = f" and on {until}" if any(label == until for label, _ in columns) else ""
        told += f", and days ahead (+) of or behind (-) usual at the end of each month{also}"
    yield from textwrap.wrap(told, WIDTH)
    wide = min(6, (WIDTH - 23 - len(until)) // max(1, len(columns) - 1))
    widths = [wide if label in MONTHS else len(label) + 2 for label, _ in columns]
    heads = (f"{label:>{width}}" for (label, _), width in zip(columns, widths, strict=True))
    yield f"{'season':9}{'heat':>6}{'rank':>6}" + "".join(heads)
    for h in comparison.heat:
        leads = (signed(comparison.ahead_on(h.season, day)) for _, day in columns)
        cells = "".join(f"{lead:>{width}}" for lead, width in zip(leads, widths, strict=True))
        heat, rank = (f"{shown_heat(h.heat, units):.0f}", str(h.rank_ever)) if h.told else (".", ".")
        yield f"{garden.calendar.label(h.season):9}{heat:>6}{rank:>6}{cells}"
    yield from warmth_notes(comparison)
    if any(
        comparison.ahead_on(s, day) is None for s in past_of(comparison) for _, day in day_columns(comparison)
    ):
        yield POINT


def warmth_notes(comparison: Comparison) -> Iterator[str]:
    """What the table of warmth leaves out, and why."""
    garden = comparison.garden
    if not comparison.usual_known:
        yield f"{FEW_SEASONS[:1].upper()}{FEW_SEASONS[1:]}."
    elif all(h.ahead is None for h in comparison.heat):
        yield f"{short_date(garden.as_of)} is {TOO_COOL}."
    lacking = [garden.calendar.label(h.season) for h in comparison.heat if not h.told]
    if lacking:
        yield from textwrap.wrap(
            f"Too little weather was measured to tell the warmth of {listed(lacking)}.", WIDTH
        )
    filled = [
        f"{h.filled} {'day' if h.filled == 1 else 'days'} of {garden.calendar.label(h.season)}"
        for h in comparison.heat
        if h.filled and h.told
    ]
    if filled:
        yield from textwrap.wrap(f"Not measured, and filled from the usual year: {', '.join(filled)}.", WIDTH)


def past_of(comparison: Comparison) -> list[int]:
    """The finished seasons among those shown."""
    return [s for s in comparison.seasons if s < comparison.garden.season]


def day_columns(comparison: Comparison) -> list[tuple[str, int]]:
    """Days of the season on which a lead is worth telling: month ends and today, with their names.

    Month ends on which no season shown has a lead, as in winter, are left out.
    """
    garden = comparison.garden
    season = garden.season
    days: dict[int, str] = {}
    start = garden.calendar.start(season)
    for k in range(12):
        month = (start.month - 1 + k) % 12
        turn = start.year + (start.month + k) // 12, (start.month + k) % 12 + 1
        end = garden.calendar.day(date.fromordinal(date(*turn, 1).toordinal() - 1)) if k < 11 else None
        if end is not None and abs(end - garden.today) > 2:
            days[end] = MONTHS[month]
    days[garden.today] = short_date(garden.as_of)
    told = [(label, day) for day, label in sorted(days.items())]
    return [
        (label, day)
        for label, day in told
        if any(comparison.ahead_on(s, day) is not None for s in comparison.seasons)
    ]


def frost_lines(comparison: Comparison) -> Iterator[str]:
    """The last and first frosts of each season, place by place."""
    by_place: dict[str, list[SeasonFrost]] = defaultdict(list)
    for one in comparison.frosts:
        by_place[one.place].append(one)
    for n, (place, frosts) in enumerate(by_place.items()):
        if n == PLACES_SHOWN:
            yield f"Frosts of {len(by_place) - n} more places: --csv --table frosts"
            return
        yield f"Frosts, {place}"
        yield f"{'season':9}{'last in spring':>18}{'first in autumn':>18}{'days between':>15}"
        for one in frosts:
            label = comparison.garden.calendar.label(one.season)
            free = "." if one.free_days is None else str(one.free_days)
            last, first = frost_words(one, comparison.garden)
            yield f"{label:9}{last:>18}{first:>18}{free:>15}"


def frost_words(one: SeasonFrost, garden: Garden) -> tuple[str, str]:
    """Both frosts of a season in a word or two."""

    def told(day: float | None, when: date | None) -> str:
        if day is None:
            return "."
        return "none" if when is None or math.isinf(day) else short_date(when)

    last = told(one.last, one.date_of(one.last, garden))
    if one.last_open:
        last = "none yet" if last == "none" else f"{last} so far"
    return last, told(one.first, one.date_of(one.first, garden))


def _species(comparison: Comparison, units: str, every_stage: bool) -> Iterator[str]:
    garden = comparison.garden
    groups: dict[str, Rows] = {}
    left_out = False
    for one in comparison.stages:
        if not every_stage and one.flush > 1 and one.stage != "hardened":
            left_out = True
            continue
        known = garden.species.get(one.species)
        name = f"{one.species}{f' ({known.name})' if known else ''}"
        cell = StageCell(garden.calendar.date(one.season, one.day), one.ahead, one.since, one.own_heat)
        groups.setdefault(name, defaultdict(dict))[one.flush, one.stage][one.season] = cell
    if not comparison.stages:
        yield "No stage was seen to come between two looks in these seasons."
        yield from textwrap.wrap(loose_words(comparison), WIDTH)
        return
    yield from _table(groups, comparison, units, every_stage)
    yield from _legend(groups, units, every_stage)
    yield from textwrap.wrap(loose_words(comparison), WIDTH)
    if left_out or not every_stage:
        yield "Every stage and the warmth it took: --stages; tree by tree: --tree NAME."


def _table(groups: dict[str, Rows], comparison: Comparison, units: str, with_heat: bool) -> Iterator[str]:
    garden = comparison.garden
    seen = sorted({s for rows in groups.values() for cells in rows.values() for s in cells})
    dates = [_dated(cell) for rows in groups.values() for cells in rows.values() for cell in cells.values()]
    wide = max([12, *(len(text) + 1 for text in dates)])
    at_once = (WIDTH - STAGE_WIDE) // wide
    for n, seasons in enumerate(latest_first(seen, at_once)):
        if n:
            yield ""
        yield " " * STAGE_WIDE + "".join(f"{garden.calendar.label(s):>{wide}}" for s in seasons)
        for name, rows in groups.items():
            yield name
            for (flush, stage), cells in rows.items():
                if any(s in cells for s in seasons):
                    row = f"  {STAGE[stage]}" + (f", flush {flush}" if flush > 1 else "")
                    yield f"{row:{STAGE_WIDE}}{_across(cells, seasons, _dated, wide)}"
                    told = _counted_from(cells, garden)
                    if with_heat and told:
                        yield f"{'    ' + told:{STAGE_WIDE}}{_across(cells, seasons, _heat_of(units), wide)}"


def latest_first(seasons: Sequence[int], at_once: int) -> Iterator[Sequence[int]]:
    """Seasons in stretches that fit beside each other, the latest stretch first.

    Examples
    --------
    >>> list(latest_first([2021, 2022, 2023, 2024, 2025], 2))
    [[2024, 2025], [2022, 2023], [2021]]
    """
    for stop in range(len(seasons), 0, -at_once):
        yield seasons[max(0, stop - at_once) : stop]


def _across(
    cells: dict[int, StageCell], seasons: Sequence[int], told: Callable[[StageCell], str], wide: int
) -> str:
    return "".join(f"{told(cells[s]) if s in cells else '.':>{wide}}" for s in seasons)


def _dated(cell: StageCell) -> str:
    return short_date(cell.day) + ("" if cell.ahead is None else f" {signed(cell.ahead)}")


def _heat_of(units: str) -> Callable[[StageCell], str]:
    def told(cell: StageCell) -> str:
        return "." if cell.own_heat is None else f"{shown_heat(cell.own_heat, units):.0f}"

    return told


def _counted_from(cells: dict[int, StageCell], garden: Garden) -> str:
    """Where the warmth of a row begins; empty where no season knows."""
    known = [cell.since for cell in cells.values() if cell.own_heat is not None]
    if not known:
        return ""
    since = max(set(known), key=known.count)
    start = garden.calendar.start(garden.season)
    return {"start": f"from {short_date(start)}", "work": "from the work", "budbreak": "from bud break"}[
        since
    ]


def _legend(groups: dict[str, Rows], units: str, with_heat: bool) -> Iterator[str]:
    cells = [cell for rows in groups.values() for row in rows.values() for cell in row.values()]
    told = []
    if any(cell.ahead is not None for cell in cells):
        told.append("Beside each date: days ahead (+) of or behind (-) the same trees' other seasons.")
    if with_heat and any(cell.own_heat is not None for cell in cells):
        told.append(f"Below it: degree-days above {base_words(units)}.")
    if told:
        yield from textwrap.wrap(" ".join(told), WIDTH)


def base_words(units: str) -> str:
    """The base of the degree-days in the garden's units."""
    return f"{c_to_f(BASE_C):.0f} degF" if units == "F" else f"{BASE_C:.0f} degC"


def shown_heat(heat: float, units: str) -> float:
    """Degree-days in the garden's units."""
    return float(degree_days_c_to_f(heat)) if units == "F" else heat


def signed(days: float | None) -> str:
    """Days ahead with their sign; a point where they cannot be said.

    Examples
    --------
    >>> signed(3.6), signed(-0.2), signed(None)
    ('+4', '0', '.')
    """
    if days is None:
        return "."
    return f"{round(days):+d}" if round(days) else "0"
