"""The season of work as a story: a garden walked day by day, and gardens of other climates beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import pairwise

import pytest

from data_sources.demo.climate import synthetic_weather
from data_sources.demo.garden import DemoGarden, demo_garden
from phenology.advice.agenda import make_agenda, plan_round
from phenology.advice.forecast_rows import ForecastRow
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species
from tests.phenology.gardens import ELM, NORTH, Records

TREE = "Hornbeam 1"


def garden_of(demo: DemoGarden, only: str | None = None) -> Garden:
    """The demo garden's records as a garden; `only` one species of it, to walk faster."""
    trees = [t for t in demo.trees if only is None or t.species == only]
    ids = {t.id for t in trees}
    return Garden(
        demo.as_of,
        SeasonCalendar.for_latitude(demo.place.latitude),
        [demo.place],
        trees,
        [s for s in demo.stands if s.tree_id in ids],
        [a for a in demo.aims if a.tree_id in ids],
        [f for f in demo.flushes.values() if f.tree_id in ids],
        [k for k in demo.looks.values() if k.tree_id in ids],
        [w for w in demo.works if w.tree_id in ids],
        load_species(),
        {demo.place.id: demo.weather},
    )


@dataclass(frozen=True)
class Day:
    """What was known and advised of one tree at the end of a day."""

    date: date
    rows: dict[str, ForecastRow]
    visits: tuple[str, ...]

    @property
    def hard(self) -> ForecastRow | None:
        return self.rows.get("hardened")


@cache
def walked() -> tuple[Day, ...]:
    """A season week by week, and on the days of work: weather, looks and work arriving as they came."""
    whole = garden_of(demo_garden(date(2026, 12, 31)), "Carpinus turczaninowii")
    days = []
    started = date(2026, 3, 1)
    weekly = {started + timedelta(days=n) for n in range(0, 276, 7)}
    done = {w.latest for w in whole.works if w.latest > started and w.tree_id == tree_id(whole)}
    for day in sorted(weekly | done | {d - timedelta(days=1) for d in done}):
        forecast = forecast_garden(whole.up_to(day))
        rows = {r.stage: r for r in forecast.rows if r.tree.label == TREE}
        visits = tuple(v.because for v in plan_round(make_agenda(forecast)).visits if v.tree.label == TREE)
        days.append(Day(day, rows, visits))
    return tuple(days)


def tree_id(garden: Garden) -> str:
    return next(t.id for t in garden.trees if t.label == TREE)


def first(holds) -> Day:
    return next(day for day in walked() if holds(day))


def test_in_spring_buds_are_waited_for_and_roots_come_first():
    start = walked()[0]
    assert start.rows["budbreak"].flush == 1 and start.rows["budbreak"].arrival is not None
    assert any("repotting" in v for day in walked()[:15] for v in day.visits)


def test_the_spring_window_opens_on_a_hard_first_flush_and_waiting_costs_nothing_yet():
    told = [
        d for d in walked() if d.date < date(2026, 6, 1) and d.hard and d.hard.flush == 1 and d.hard.operation
    ]
    assert told
    day = told[-1]
    advice = day.hard.advice
    assert advice.operation == "cutback" and advice.zone == "ripens"
    assert min(advice.odds) > 0.97
    assert date(2026, 6, 25) < advice.last_safe < date(2026, 8, 31)


def test_the_cut_wakes_a_second_flush():
    day = first(lambda d: "budbreak" in d.rows and d.rows["budbreak"].flush == 2)
    works = [w for w in demo_garden(date(2026, 12, 31)).works if w.latest.year == 2026]
    cut = next(w for w in works if w.operation == "cutback" and w.latest <= day.date)
    assert timedelta(0) <= day.date - cut.latest <= timedelta(days=4)
    assert day.rows["hardened"].flush == 2 and day.rows["hardened"].arrival is not None


def test_in_summer_waiting_costs_more_from_week_to_week():
    summer = [
        d for d in walked() if date(2026, 6, 20) < d.date < date(2026, 8, 10) and d.hard and d.hard.advice
    ]
    today = [d.hard.advice.odds[0] for d in summer]
    assert today[0] > 0.97 and today[-1] < 0.9
    for d in summer:
        now, fortnight, three_weeks = d.hard.advice.odds
        assert now >= fortnight >= three_weeks
    assert max(a - b for a, b in pairwise(today)) < 0.5  # no cliff within a week
    dates = [d.hard.advice.last_safe for d in summer]
    assert max(dates) - min(dates) < timedelta(days=21)  # the stop does not wander with the weather


def test_then_it_says_stop_and_leaves_the_tree_until_bare():
    late = [
        d for d in walked() if date(2026, 8, 25) < d.date < date(2026, 10, 1) and d.hard and d.hard.advice
    ]
    stops = ("too late to wake growth", "so late a cut rests until spring")
    assert len(late) > 3 and all(any(w.startswith(stops) for w in d.hard.warnings) for d in late)
    for d in late:  # halving wakes nothing and lets light in: it stays until the tree goes to rest
        assert d.hard.operation in (None, "halving") and not d.hard.advice.wakes
        assert d.hard.operation is None or d.hard.advice.does.startswith("no more cutting until bare; ")
        assert any("leave it until bare" in w for w in d.hard.warnings)
        assert not any("hard: cutback" in v for v in d.visits)


def test_no_cut_is_advised_that_could_only_come_after_the_last_safe_date():
    mine = [d for d in walked() if d.hard and d.hard.advice and d.hard.season == 2026]
    advised = [d for d in mine if d.hard.advice.wakes]
    assert len(advised) > 10
    for d in advised:
        early = d.hard.day(0.1)
        opens = d.date if early is None else max(d.date, NORTH.date(2026, early))
        assert opens <= d.hard.advice.last_safe


def test_at_last_the_next_spring_is_waited_for():
    last = walked()[-1]
    assert (
        all(row.season == 2027 for row in last.rows.values())
        or last.hard is None
        or last.hard.operation is None
    )
    assert not any("hard: cutback" in v for v in last.visits)


# ------------------------------------------------------------------------------------- other climates


def woken_twice(latitude: float, as_of: date, dates: tuple[int, ...], calendar=NORTH, **climate) -> Garden:
    """An elm cut once this season whose second flush is hard, and three past seasons like it."""
    r = Records(calendar, [Place("bench", "Bench", latitude, 7.0)])
    r.tree("Elm", ELM)
    bud, extended, hard, cut, bud2, extended2, hard2 = dates
    season = calendar.season_of(as_of)
    for past in range(season - 3, season + 1):
        r.a_season("Elm", past, bud, extended, hard)
        work = r.work("Elm", past, cut, "cutback")
        woken = r.flush("Elm", past, "work", started_on=calendar.date(past, cut), work_id=work)
        steps = zip(("dormant", "extending", "extended"), ("budbreak", "extended", "hardened"), strict=True)
        seen = [(*pair, at) for pair, at in zip(steps, (bud2, extended2, hard2), strict=True)]
        for before, after, at in seen:
            r.look(woken, at - 2, before)
            r.look(woken, at + 2, after)
    weather = synthetic_weather(date(as_of.year - 25, 1, 1), as_of, latitude, seed=4, **climate)
    return r.garden(as_of, weather={"bench": weather})


def the_row(garden: Garden) -> ForecastRow:
    (row,) = [r for r in forecast_garden(garden).rows if r.stage == "hardened"]
    return row


def test_a_subtropical_garden_offers_a_third_flush():
    garden = woken_twice(27.0, date(2020, 6, 20), (40, 72, 90, 92, 108, 140, 160), mean=21.0, amplitude=6.5)
    row = the_row(garden)
    assert row.flush == 2 and row.arrival is None and row.operation == "cutback"
    assert row.advice.odds[2] > 0.95
    assert row.advice.last_safe > date(2020, 8, 1) and row.advice.limit == "rest"


def test_a_cool_short_season_garden_refuses_a_late_cutback_with_the_odds():
    garden = woken_twice(
        58.0, date(2020, 8, 26), (135, 165, 185, 187, 202, 222, 236), mean=6.5, amplitude=10.5
    )
    row = the_row(garden)
    assert row.flush == 2 and row.arrival is None and not row.advice.wakes
    assert row.advice.does.startswith("no more cutting until late winter; ")
    assert row.advice.odds[0] < 0.5
    (said,) = [w for w in row.warnings if "too late" in w]
    assert said.startswith("too late to wake growth: hardly a chance that it ripens before frost")


@pytest.mark.parametrize("tree", ["Maple 1", "Crab apple", "Hornbeam 1", "Beech"])
def test_a_southern_garden_mirrors_a_northern_one(tree):
    north, south = _mirrored()
    a, b = north[tree], south[tree]
    assert (a.flush, a.operation) == (b.flush, b.operation)
    days = [g.calendar.day(r.advice.last_safe) for g, r in ((_north(), a), (_south(), b))]
    assert abs(days[0] - days[1]) <= 14
    assert 6 <= a.advice.last_safe.month <= 9 and b.advice.last_safe.month in (12, 1, 2, 3)


@cache
def _north() -> Garden:
    return garden_of(demo_garden(date(2026, 6, 4)))


@cache
def _south() -> Garden:
    return garden_of(demo_garden(date(2026, 12, 4), south=True))


@cache
def _mirrored() -> tuple[dict[str, ForecastRow], dict[str, ForecastRow]]:
    found = []
    for garden in (_north(), _south()):
        rows = forecast_garden(garden).rows
        found.append({r.tree.label: r for r in rows if r.stage == "hardened" and r.advice is not None})
    return found[0], found[1]
