"""When to stop: the limits, which one rules, the zones, and gardens of other climates."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from data_sources.demo.climate import synthetic_weather
from phenology.advice.adviser import late_seasons
from phenology.learning.garden_fit import GardenFit
from phenology.model.limits import Limits
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.weather.frost import _beyond, late_season
from phenology.weather.traces import draw_traces
from phenology.work.last_safe import (
    SOURCES,
    Late,
    WorkSeason,
    gives_way,
    is_old,
    own_late_flushes,
)
from tests.phenology.gardens import ELM, NORTH, Records, day

SOUTH = SeasonCalendar(7, 1)
FIG = "Ficus microcarpa"


def late_of(
    latitude: float = 45.0,
    on: tuple[int, int] = (6, 20),
    species: str = ELM,
    limits: Limits | None = None,
    records: Records | None = None,
    **climate,
) -> Late:
    """The late season of one species in a garden of some latitude, 25 invented years behind it."""
    calendar = SOUTH if latitude < 0 else NORTH
    r = records or Records(calendar, [Place("bench", "Bench", latitude, 7.0)])
    if not r.trees:
        r.tree("T", species)
    as_of = date(2020, *on)
    weather = synthetic_weather(date(1995, 1, 1), as_of, latitude, seed=3, **climate)
    garden = replace(r.garden(as_of, weather={"bench": weather}), limits=limits or Limits())

    def drawn(site, season, issued):
        traces = draw_traces(garden.record_at(site), season, issued)
        return traces, traces.thermal_time()

    return WorkSeason(garden, GardenFit(garden), drawn).late(
        species, garden.site(garden.trees[0], garden.season)
    )


def test_odds_stand_for_other_records_only_where_these_teach_the_same():
    records = Records.of("elm", "other", past=(2018, 2019))
    for season in (2018, 2019):
        cut = records.work("elm", season, 165, "cutback")
        looks = (180, "dormant"), (184, "budbreak"), (210, "extended"), (222, "hardened")
        records.seen("elm", season, *looks, started_by="work", started_on=day(season, 165), work_id=cut)
    cut = records.work("third", 2019, 230, "cutback")
    shut = dict(started_by="work", started_on=day(2019, 230), work_id=cut)
    records.seen(records.tree("third"), 2019, (330, "dormant"), **shut)
    one = records.garden(date(2020, 6, 20))

    def odds(garden):
        return late_seasons(garden).late(ELM, garden.site(garden.trees[0], 2020)).curve

    kept = odds(one)
    assert odds(one.with_records({"nobody": ([], [])})) is kept
    for tree in ("third", "other"):  # of which one says whether buds rest, one how long growth takes
        assert not np.array_equal(odds(one.with_records({tree: ([], [])})).ripens, kept.ripens)
    colder = odds(replace(one, limits=Limits(frost_c=-4.0)))
    assert_array_equal(colder.ripens, odds(replace(one, limits=Limits(frost_c=-4.0), worked_out={})).ripens)
    assert not np.array_equal(colder.ripens, kept.ripens)


def test_the_earliest_limit_rules_and_is_named():
    plain = late_of()
    assert plain.stop().limit == "frost"
    assert "21 days before the first frost" in plain.reason() and "9 in 10" in plain.reason()
    weeks = late_of(limits=Limits(weeks_before_frost=25))
    assert weeks.stop().limit == "weeks" and "25 weeks before the usual first frost" in weeks.reason()
    light = late_of(limits=Limits(least_daylength=15.3))
    assert light.stop().limit == "daylength" and "15.3 hours" in light.reason()
    assert weeks.last_safe() < plain.last_safe() and light.last_safe() < plain.last_safe()
    assert {limit for limit, _ in plain.calendar_limits} | {"frost", "cool nights", "rest"} == set(SOURCES)


def test_odds_at_the_last_safe_date_are_the_required_ones():
    late = late_of()
    day = late.stop().day
    assert late.curve.odds(day) >= 0.9 > late.curve.odds(day + 2)
    older = late.stop(0.95).day
    assert older < day and late.curve.odds(older) >= 0.95


def test_waiting_costs():
    early, near = late_of(on=(5, 1)), late_of(on=(7, 10))
    assert early.odds()[0] > 0.99
    today, fortnight, three_weeks = near.odds()
    assert today > fortnight > three_weeks


def test_the_three_zones_follow_each_other():
    late = late_of()
    zones = [late.zone(day) for day in range(100, 366)]
    order = [z for k, z in enumerate(zones) if k == 0 or zones[k - 1] != z]
    assert order == ["ripens", "danger", "rests"]


def test_a_late_autumn_rests():
    assert late_of(on=(11, 20)).zone(325) == "rests"


def test_a_cool_short_season_refuses_a_late_cutback_with_the_odds():
    cool = late_of(58.0, on=(7, 15), mean=5.5, amplitude=11.0)
    assert cool.zone(cool.today) == "danger"
    assert cool.odds()[0] < 0.5
    assert cool.last_safe() is None or cool.last_safe() < date(2020, 7, 1)
    assert cool.stop().limit == "frost"


def test_where_it_never_freezes_other_limits_rule():
    warm = late_of(27.0, mean=22.0, amplitude=6.0)
    assert warm.freeze.share == 0 and warm.ender == "cool nights"
    assert [name for name, _ in warm.calendar_limits] == ["daylength"]  # an elm still feels the days shorten
    assert warm.stop().limit == "rest" and "stay shut until spring" in warm.reason()
    fig = late_of(27.0, mean=22.0, amplitude=6.0, species=FIG)
    assert fig.calendar_limits == ()
    assert fig.stop().limit == "cool nights" and "12 °C" in fig.reason()
    assert fig.stop().day > warm.stop().day


def test_where_nothing_ends_growth_nothing_limits_work():
    tropical = late_of(5.0, species=FIG, mean=27.0, amplitude=1.5)
    assert tropical.stop() == type(tropical.stop())(math.inf, "none")
    assert tropical.last_safe() is None and tropical.odds() == (1.0, 1.0, 1.0)
    assert "nothing ends growth" in tropical.reason()
    assert tropical.zone(300) == "ripens"


def test_the_south_mirrors_the_north():
    north, south = late_of(45.0, on=(6, 20)), late_of(-45.0, on=(12, 20))
    assert south.season == 2020 and south.last_safe() > date(2020, 12, 31)
    assert abs(north.stop().day - south.stop().day) <= 12
    assert abs(north.freeze.day(0.5) - south.freeze.day(0.5)) <= 15


def test_a_frost_after_new_year_is_waited_for():
    """A mild coast whose first frost mostly comes in January: the traces run on past the season's end."""
    mild = {"mean": 14.0, "amplitude": 6.0, "diurnal": 8.0}
    r = Records(NORTH, [Place("bench", "Bench", 40.0, 7.0)])
    r.tree("T")
    weather = synthetic_weather(date(1995, 1, 1), date(2020, 6, 20), 40.0, seed=3, **mild)
    garden = r.garden(date(2020, 6, 20), weather={"bench": weather})
    record = garden.record_at(garden.site(garden.trees[0], 2020))
    traces = draw_traces(record, 2020, 172)
    end = late_season(traces, traces.thermal_time(), record, 0.0, 12.0)
    after = np.isfinite(end.frost) & (end.frost > 366)
    assert after.mean() > 0.2
    assert end.thermal_time.days > 366
    assert (np.diff(end.thermal_time.sums, axis=-1) > 0).all()
    assert late_of(40.0, **mild).freeze.share > 0.3


def test_a_winter_that_follows_is_the_one_that_followed():
    r = Records()
    r.tree("T")
    garden = r.garden(date(2020, 6, 20))
    record = garden.record_at(garden.site(garden.trees[0], 2020))
    traces = draw_traces(record, 2020, 172)
    end = late_season(
        traces, traces.thermal_time(), record, -60.0, -60.0
    )  # nothing is ever that cold: all run on
    assert np.isinf(end.frost).all() and np.isinf(end.cool).all() and end.frost_free
    served = [k for k, donor in enumerate(traces.donors) if donor == 2005]
    low, _, _ = record.filled(2006)
    now = low + record.normals.trend * (2021 - 2006)
    more, _ = _beyond(traces, record)
    assert len(served) == 3  # with few years each also serves five days early and late
    assert more[served[1]] == pytest.approx(now[:200], abs=1e-9)
    assert more[served[2]] == pytest.approx(now[5:205], abs=1e-9)


# ------------------------------------------------------------------------------------ own late flushes


def test_calendar_limits_give_way_to_own_late_flushes_that_all_ripened():
    own = [(200.0, 250.0, 310.0), (205.0, 255.0, 300.0), (210.0, 262.0, 305.0)]
    assert gives_way(199, own, 21)
    assert not gives_way(207, own, 21)  # only one was woken that late
    assert not gives_way(199, [*own, (206.0, math.inf, 300.0)], 21)  # one failed
    assert not gives_way(199, [*own[:2], (210.0, 290.0, 305.0)], 21)  # hard, but too near the frost


def test_own_late_flushes_are_read_from_the_records():
    r = Records()
    r.tree("T")
    for season, ripe in ((2017, True), (2018, True), (2019, True)):
        r.a_season("T", season, 100, 130, 150)
        work = r.work("T", season, 200, "cutback")
        flush = r.flush("T", season, "work", started_on=date(season, 7, 19), work_id=work)
        r.look(flush, 215, "budbreak")
        if ripe:
            r.look(flush, 255, "hardened")
    garden = r.garden(date(2020, 6, 20))
    histories = GardenFit(garden).histories
    own = own_late_flushes(histories, ELM, {2017: 300.0, 2018: 300.0, 2019: 300.0})
    assert own == [(200.0, 255.0, 300.0)] * 3
    strict = late_of(limits=Limits(weeks_before_frost=20), records=r)
    assert strict.freeze.day(0.5) - 140 < 200
    assert "weeks" not in dict(strict.calendar_limits)  # three late flushes ripened all the same


def test_old_trees_are_told_by_the_growers_own_words():
    assert is_old("Old") and is_old(None, "Very old trunk, be gentle.")
    assert not is_old("strong", "sold to me as a cutting")
    assert Limits().required(True) == 0.95 and Limits(odds=0.97).required(True) == 0.97


def test_odds_are_a_guess_where_no_flush_of_the_species_was_seen_from_its_beginning_until_hard():
    records = Records()
    for label, species in (("T", "Acer palmatum"), ("other", "Acer palmatum"), ("beech", "Fagus crenata")):
        records.tree(label, species)
    records.a_season("other", 2019, 100, 130, 160)
    records.look(records.flush("beech", 2019), 160, "hardened")
    guess = {
        name: late_of(species=name, records=records).guess for name in ("Acer palmatum", "Fagus crenata")
    }
    assert guess == {"Acer palmatum": False, "Fagus crenata": True}


def test_a_guess_tells_no_last_safe_date_that_is_over_when_the_work_opens():
    guess = late_of(limits=Limits(weeks_before_frost=20))
    known = replace(guess, guess=False)
    stop = known.last_safe()
    assert guess.guess and stop is not None and guess.stop().day >= guess.today
    assert (
        known.stated(None, math.inf) == known.stated(None, -math.inf) == guess.stated(None, -math.inf) == stop
    )
    assert guess.stated(None, guess.stop().day + 1) is None
    assert replace(guess, today=math.floor(guess.stop().day) + 1).stated(None, -math.inf) is None
