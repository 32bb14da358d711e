"""Care of each tree beside its flushes: what work done asks for, the time of year, and the weather ahead.

Made of the forecast's own rows, so that a duty and a date never contradict each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache, partial
from math import inf, isfinite

import numpy as np

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.learning.flush_history import FlushHistory, histories_of
from phenology.model.operations import Operation
from phenology.model.records import Look, Tree, Work
from phenology.weather.frost import FreezeOdds, autumn_frosts, spring_frosts
from phenology.work.aftercare import LONGEST_DAYS, Care, aftercare
from phenology.work.case import FADED, Case
from phenology.work.duties import (
    SWELLING_DAYS,
    TENDER_C,
    RestOfYear,
    bloom_cut,
    indoors,
    is_tender,
    pinching,
    weather_ahead,
    winter_list,
)
from phenology.work.last_safe import is_old
from phenology.work.wire_watch import wire_check
from phenology.work.zones import names, read_vigour

WIRE = "wire"
LEAVES_COLD = ("net", "shade", "frame")  # covers that nights are cold under all the same
GROWTH_CLOCK = "heat above 5"  # that thickens a shoot into its wire (ours)
DAYS_AHEAD = 10  # weather further ahead warns of nothing yet (ours)
WORKED_LATELY = 14  # days for which a worked tree is the first to be shaded (ours)
BARE_BEFORE_MIDWINTER = 40  # days; leaves are taken to be down so early where nobody looked (ours)
REPOT_YEARS = 2  # a root ball this old is worth a look; common practice, no source


@dataclass(frozen=True, eq=False, repr=False)
class CareDue:
    """One thing to do or to look for on one tree, because of work done, the weather or the time of year."""

    tree: Tree
    care: str  # a word for it: that of `Care`, or "wire"
    first: date
    last: date  # the same for one day
    what: str  # what to do, as a sentence without its end
    # what asks for it; None for what the time of year or the weather asks
    work: Work | None
    due: bool  # whether today lies between the two days, or past a look at wire
    look: bool  # whether it is a look, rather than a way of keeping the tree


def all_care(forecast: GardenForecast) -> list[CareDue]:
    """Everything there is to do or look for beside the flushes themselves, soonest first."""
    garden = forecast.garden
    by_tree: dict[str, list[ForecastRow]] = {}
    for row in (*forecast.rows, *forecast.springs):
        by_tree.setdefault(row.tree.id, []).append(row)
    found: list[CareDue] = []
    freezes = cache(partial(_freezes, garden))
    for tree in garden.standing_trees:
        mine = by_tree.get(tree.id, [])
        asked = [
            *_after_work(forecast, tree, mine),
            *((None, care) for care in _of_season(forecast, tree, mine)),
            *((None, care) for care in _indoors(garden, tree)),
        ]
        for work, care in asked:
            told = care.name != "winter shelter" or freezes(garden.place_of(tree, garden.as_of).id)
            if told and care.last >= garden.as_of:
                due = care.first <= garden.as_of
                found.append(
                    CareDue(tree, care.name, care.first, care.last, care.sentence, work, due, care.look)
                )
        found += _wire(garden, tree)
    return sorted(found, key=lambda c: (c.first, c.tree.label, c.care))


def _freezes(garden: Garden, place: str) -> bool:
    """Whether any winter on record, or any that may come, has frost at a place."""
    record = garden.record_at(((0, place),))
    return any(map(isfinite, autumn_frosts(record, garden.limits.frost_c, garden.season)))


def _indoors(garden: Garden, tree: Tree) -> Iterator[Care]:
    """The winters in which a tender tree that stands outside comes in."""
    place = garden.place_of(tree, garden.as_of)
    outside = place.cover in ("open", "") or names(place.cover.casefold(), LEAVES_COLD)
    if not outside or not is_tender(garden.species_of(tree)):
        return
    record = garden.record_at(((0, place.id),))
    for season in (garden.season - 1, garden.season):
        autumn = autumn_frosts(record, TENDER_C, season)
        spring = spring_frosts(record, TENDER_C, season + 1)
        first = FreezeOdds.of(autumn).day(0.5) if autumn else None
        last = FreezeOdds.of([-day for day in spring]).day(0.5) if spring else None
        if first is None or last is None:  # such nights are rare here: the weather ahead tells of them
            continue
        cold = garden.calendar.date(season, first), garden.calendar.date(season + 1, -last)
        yield indoors(cold)


def _after_work(
    forecast: GardenForecast, tree: Tree, rows: Sequence[ForecastRow]
) -> Iterator[tuple[Work, Care]]:
    """Care that work done asks for; shelter where woken growth may well meet frost before it is hard."""
    garden = forecast.garden
    unripe = any(
        row.stage == "hardened"
        and row.flush > 1
        and row.arrival is not None
        and row.arrival.p_not > 1 - garden.limits.required(False)
        for row in rows
    )
    since = garden.as_of - timedelta(days=LONGEST_DAYS)
    for work in garden.works_by_tree.get(tree.id, []):
        if work.latest < since:
            continue
        woken = bool(rows) and work.operation.wakes
        late = unripe or (woken and _grade(forecast, tree, work.latest) not in (None, "safe"))
        for care in aftercare(work, tree, garden.species_of(tree), garden.aim_of(tree), late=late):
            yield work, care


def _grade(forecast: GardenForecast, tree: Tree, day: date) -> str | None:
    """How late it is for growth woken on a day; None where nobody knows, or it is a guess of early summer."""
    garden, seasons = forecast.garden, forecast.seasons
    if seasons is None or garden.calendar.season_of(day) != garden.season:
        return None
    late, t = seasons.late(tree.species, garden.site(tree, garden.season)), garden.calendar.day(day)
    required = garden.limits.required(is_old(tree.vigour, tree.note))
    return None if late.guess and t <= late.summer else late.grade(t, required)


def _wire(garden: Garden, tree: Tree) -> Iterator[CareDue]:
    """The next look at the wire that a tree wears."""
    works, looks = garden.works_by_tree.get(tree.id, []), garden.looks_by_tree.get(tree.id, [])
    growth = partial(_growing_days, garden, tree)
    check = wire_check(works, looks, garden.as_of, garden.calendar, vigour=tree.vigour, growth=growth)
    if check is not None:
        due = check.due <= garden.as_of
        yield CareDue(tree, WIRE, check.due, check.due, check.sentence, check.wired, due, look=True)


def _growing_days(garden: Garden, tree: Tree, first: date, last: date) -> float | None:
    """Days at a constant 18 degC that the weather between two dates is worth; None when unknown."""
    series = garden.weather.get(garden.place_of(tree, last).id)
    if series is None or first < series.first_day or last > series.last_day:
        return None
    part = series.between(first, last)
    clock = next(c for c in CLOCKS if c.name == GROWTH_CLOCK)
    rates = clock.rates(part.tmin, part.tmax)
    return float(np.nansum(rates)) if np.isfinite(rates).mean() > 0.8 else None


def last_repotted(garden: Garden, tree: Tree) -> date | None:
    """When a tree's roots were last cut, by its own card or the work written down."""
    works = garden.works_by_tree.get(tree.id, [])
    known = [tree.last_repot, *(w.middle for w in works if w.operation == Operation.REPOTTING)]
    return max((day for day in known if day is not None), default=None)


def due_for_repotting(garden: Garden, tree: Tree) -> bool:
    """Whether roots are worth a look: two years since they were cut, or unknown; a weak tree keeps them."""
    last = last_repotted(garden, tree)
    long_ago = last is None or (garden.as_of - last).days > 365 * REPOT_YEARS - 60
    return long_ago and read_vigour(tree.vigour).whole != "weak"


def _of_season(forecast: GardenForecast, tree: Tree, rows: list[ForecastRow]) -> Iterator[Care]:
    garden = forecast.garden
    histories = histories_of(garden, tree)
    case = Case(garden, tree, Operation.PINCHING, garden.as_of)
    if garden.aim_of(tree) == "refining":
        yield from _tips(forecast, case, rows, histories)
        yield from _flowers(case)
    lately = any((garden.as_of - w.latest).days <= WORKED_LATELY for w in case.done(*_OPENS_THE_CANOPY))
    ahead = [day for day in case.ahead(DAYS_AHEAD) if day[0] > garden.as_of]
    soft = "budbreak" if _may_be_soft(case, rows) else case.stage
    yield from weather_ahead(ahead, case.species, garden.limits, stage=soft, worked=lately)
    yield from _winter(case, rows, histories)


def _may_be_soft(case: Case, rows: list[ForecastRow]) -> bool:
    """Whether the newest flush, which nobody saw in leaf, has probably broken and is not hard yet."""
    today, flush = case.garden.as_of, case.history.number if case.history is not None else 1
    if case.shown("budbreak"):
        return False
    mine = {row.stage: row for row in rows if row.season == case.season and row.flush == flush}
    broken, hard = (mine[stage].date_at(0.5) if stage in mine else None for stage in ("budbreak", "hardened"))
    return broken is not None and broken <= today and (hard is None or hard > today)


_OPENS_THE_CANOPY = [o for o in Operation if o.wakes or o is Operation.HALVING]


def _tips(
    forecast: GardenForecast, case: Case, rows: list[ForecastRow], histories: list[FlushHistory]
) -> Iterator[Care]:
    """Pinching of the flush whose tips are soft, or that breaks next."""
    garden = case.garden
    flush = case.history.number if case.history is not None else 1
    mine = {row.stage: row for row in rows if row.season == garden.season and row.flush == flush}
    hard = mine.get("hardened")
    if hard is None or hard.arrival is None:
        return
    if (breaking := mine.get("budbreak")) is not None:
        if (dates := _range(breaking)) is None:
            return
    else:
        known = [h for h in histories if h.flush.season == garden.season and h.number == hard.flush]
        seen = known[-1].begun("budbreak") if known else None
        if seen is None or "extended" not in mine:
            return
        dates = (garden.calendar.date(garden.season, seen[1]),) * 2
    stops = mine["extended"].date_at(0.5) if "extended" in mine else None
    grade = _grade(forecast, case.tree, max(garden.as_of, dates[0]))
    situation = replace(case.situation(), stage="budbreak", flush=hard.flush, grade=grade)
    if (care := pinching(situation, dates, stops)) is not None:
        yield care


def _flowers(case: Case) -> Iterator[Care]:
    """Shaping at bloom's end, from bud break until next year's buds are set."""
    garden = case.garden
    if not case.shown("budbreak") and case.flowers is None:
        return
    faded = [
        look.latest
        for look in garden.noted_looks.get(case.tree.id, [])
        if look.note and garden.calendar.season_of(look.latest) == garden.season and names(look.note, FADED)
    ]
    set_on = garden.calendar.date(garden.season, case.late_summer)
    if (care := bloom_cut(case.situation(), min(faded, default=None), set_on, garden.as_of)) is not None:
        yield care


def _winter(case: Case, rows: list[ForecastRow], histories: list[FlushHistory]) -> Iterator[Care]:
    """The list of the winter before the next bud break of a season."""
    garden, tree = case.garden, case.tree
    springs = (row for row in rows if row.stage == "budbreak" and row.flush == 1)
    spring = max(springs, key=lambda row: row.season, default=None)
    breaks = _range(spring) if spring is not None else None
    if garden.longest_day is None or breaks is None:
        return
    rest = rest_before(breaks, garden, garden.looks_by_tree.get(tree.id, ()))
    before = [h for h in histories if h.flush.season == garden.calendar.season_of(rest.bare)]
    yield from winter_list(
        case.species,
        rest,
        aim=garden.aim_of(tree),
        put_off=bool(before) and before[-1].is_hard and not before[-1].worked,
        repotting_due="autumn" in case.species.repot and due_for_repotting(garden, tree),
        weak=case.weak,
        wired=_wears_wire(garden, tree),
    )


def _wears_wire(garden: Garden, tree: Tree) -> bool:
    works = garden.works_by_tree.get(tree.id, [])
    last = max(
        (w for w in works if w.operation in ("wiring", "wire-removal")), key=lambda w: w.latest, default=None
    )
    return last is not None and last.operation == "wiring"


def leaves_down(garden: Garden) -> float:
    """Day of the season on which leaves are taken to be down; infinite near the equator."""
    return inf if garden.longest_day is None else garden.longest_day + 183.0 - BARE_BEFORE_MIDWINTER


def rest_before(breaks: tuple[date, date], garden: Garden, looks: Iterable[Look] = ()) -> RestOfYear:
    """The rest of the year before buds break; the garden must not lie near the equator.

    Leaves are down when `looks` say so, else `BARE_BEFORE_MIDWINTER` days before the shortest day.
    """
    assert garden.longest_day is not None
    season = garden.calendar.season_of(breaks[0])
    found = [
        garden.calendar.date(year, garden.longest_day) + timedelta(days=183)
        for year in (season - 2, season - 1, season)
    ]
    midwinter = max(day for day in found if day < breaks[0])
    autumn = midwinter - timedelta(days=120)
    down = [look.latest for look in looks if look.stage == "bare" and autumn < look.latest < breaks[0]]
    bare = min(down, default=midwinter - timedelta(days=BARE_BEFORE_MIDWINTER))
    swelling = breaks[0] - timedelta(days=SWELLING_DAYS), breaks[1]
    return RestOfYear(bare, midwinter, swelling, bool(down))


def _range(row: ForecastRow) -> tuple[date, date] | None:
    early, late = row.date_at(0.1), row.date_at(0.9) or row.date_at(0.5)
    return (early, late) if early is not None and late is not None else None
