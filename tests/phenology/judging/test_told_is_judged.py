"""What is told is what is judged: rows of a hindcast are the forecasts of that day, quantile by quantile."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import pytest
from numpy.testing import assert_allclose

from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.judging.past_forecasts import past_forecasts
from phenology.model.track_record import PastForecast
from tests.phenology.gardens import Records, day
from tests.reports.demo import DAY, demo_folder, demo_past
from tests.reports.opened import read_garden

FIELDS = ("q10", "q25", "q50", "q75", "q90", "p_not")


@cache
def demo() -> Garden:
    return read_garden(demo_folder(), DAY)[0]


def told_on(garden: Garden) -> dict[tuple[str, int, str], list[float]]:
    """Quantiles and the chance of never that the forecast of a garden tells, by tree, flush and stage."""
    rows = forecast_garden(garden).rows
    return {
        (r.tree.id, r.flush, r.stage): [*r.arrival.quantiles(), r.arrival.p_not]
        for r in rows
        if r.arrival is not None and r.season == garden.season and r.dated
    }


def judged_on(past: list[PastForecast], season: int, issued: int) -> dict[tuple[str, int, str], list[float]]:
    return {
        (p.tree, p.flush, p.stage): [getattr(p, field) for field in FIELDS]
        for p in past
        if (p.season, p.issued) == (season, issued)
    }


def assert_same(judged, told, end: float) -> None:
    assert judged and set(judged) <= set(told)
    for key, values in judged.items():
        assert_allclose(values, [*(min(q, end) for q in told[key][:5]), told[key][5]], atol=1e-9)


@pytest.mark.parametrize("season", [2022, 2024, 2025])
def test_a_judged_forecast_is_the_one_told_with_the_same_knowledge(season):
    """Every other season is known, this one up to the day."""
    issued = sorted({p.issued for p in demo_past() if p.season == season})
    for n in (issued[1], issued[len(issued) // 2]):
        known = demo().finished_seasons.known_on(demo().calendar.date(season, n))
        assert_same(judged_on(demo_past(), season, n), told_on(known), 366)


def test_of_the_last_season_it_is_what_forecast_as_of_that_day_says():
    """Nothing that came later is known to either: the garden is read again as of the day."""
    season = demo().season - 1
    for n in sorted({p.issued for p in demo_past() if p.season == season})[1:4]:
        as_of = demo().calendar.date(season, n)
        garden, _ = read_garden(demo_folder(), as_of, past=True)
        assert_same(judged_on(demo_past(), season, n), told_on(garden), 366)


def test_later_records_of_the_season_change_none_of_its_forecasts():
    season = 2024
    n = sorted({p.issued for p in demo_past() if p.season == season})[3]
    day_of_issue = demo().calendar.date(season, n)
    later = [look for look in demo().looks if day_of_issue < look.latest <= date(season, 11, 30)]
    moved = {look.id: replace(look, earliest=look.earliest + timedelta(9), latest=look.latest + timedelta(9))
             for look in later}  # fmt: skip
    upset = replace(demo(), looks=[moved.get(look.id, look) for look in demo().looks])
    assert later and told_on(upset.known_on(day_of_issue)) == told_on(demo().known_on(day_of_issue))


def test_where_the_calendar_serves_better_its_forecasts_are_told_and_judged():
    """Leaves that are hard on the same day every year, whatever bud break and weather do."""
    records = Records()
    records.tree("elm")
    for i, season in enumerate(range(2012, 2020)):
        shift = (0, 14, -12, 6, -9, 11, -5, 16)[i]
        records.a_season("elm", season, 100 + shift, 130 + shift // 2, 165)
    garden = records.garden(day(2020, 60))
    past = past_forecasts(garden, every=40)
    rows = [p for p in past if p.stage == "hardened" and not p.from_start]
    assert rows and all(p.by_calendar for p in past)
    for p in rows[::3]:
        known = garden.finished_seasons.known_on(garden.calendar.date(p.season, p.issued))
        skills = {p.species: replace(track_record(past), by_calendar=p.by_calendar)}
        told = told_on(replace(known, skills=skills))
        assert told[p.tree, 1, "hardened"][2] == pytest.approx(p.q50)


def track_record(past):
    from phenology.model.track_record import TrackRecord

    (record,) = TrackRecord.of(past).values()
    return record
