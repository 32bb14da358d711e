"""Lessons from elsewhere: a lesson is about a stage, and what it becomes here stays within the craft."""

from __future__ import annotations

from datetime import date
from functools import cache

import pytest

from data_sources.demo.climate import synthetic_weather
from phenology.advice.lesson import Lesson, state_there
from phenology.advice.lesson_here import translate
from phenology.advice.lesson_place import CarriedFit, LessonPlace, hemisphere
from phenology.model.errors import InputError, WeatherError
from phenology.model.operations import Operation
from phenology.model.records import Place
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather

KINDS = load_species()
TODAY = date(2026, 4, 1)
MAPLE, BEECH, HORNBEAM = "Acer palmatum", "Fagus sylvatica", "Carpinus turczaninowii"
AZALEA, APRICOT, FIG = "Rhododendron indicum", "Prunus mume", "Ficus microcarpa"


@cache
def town(name, latitude, species=MAPLE, *, seed=1, weather=True, today=TODAY, home=None, **climate):
    series = None
    if weather:
        series = synthetic_weather(date(2004, 1, 1), date(2026, 3, 31), latitude, seed=seed, **climate)
    return LessonPlace.elsewhere(Place(name, name, latitude, 0.0), series, today, KINDS, species, home)


def tokai(species=MAPLE, **more):
    """Mild winters and hot summers, such as where many lessons come from."""
    return town("Tokai", 36, species, seed=3, mean=15.5, amplitude=11.0, **more)


def upland(species=MAPLE, **more):
    """A temperate garden inland."""
    return town("Upland", 48, species, seed=1, mean=10.3, amplitude=9.8, **more)


def told(there, here, work, day, last=None, **said):
    lesson = Lesson(KINDS[there.tree.species], work, day, last or day, **said)
    (row,) = translate(there, here, lesson)
    return row


def test_a_lesson_is_about_the_leaves_not_about_the_date():
    row = told(tokai(), upland(), "cutback", date(2025, 5, 25))
    assert (row.state.stage, row.state.flush) == ("hardened", 1) and row.state.fits
    assert row.due == upland().under_way.plan.flushes[0].stages["hardened"][1]  # the forecast's own date
    assert row.due_low < row.due < row.due_high and row.due.month == 6
    assert "cut shoots back to one pair of leaves" in row.does


def test_what_is_said_of_the_tree_counts_before_what_is_worked_out():
    day = date(2025, 5, 25)
    second = told(tokai(), upland(), "cutback", day, flush=2)
    assert second.state.flush == 2 and second.state.odds is None
    soft = told(tokai(), upland(), "cutback", day, stage="extended")
    assert soft.answer == "better wait" and soft.does.startswith("cut nothing yet; when the leaves are hard")
    buds = told(tokai(), upland(), "", day, stage="swelling")
    assert buds.state.cue == "bud-swell" and buds.state.fits


def test_a_state_that_comes_too_late_here_is_said_with_what_to_do_instead():
    """A July lesson from a long summer: the third flush does not come in a short one."""
    south = town("South", 30, HORNBEAM, seed=2, mean=20.0, amplitude=8.0)
    row = told(south, upland(HORNBEAM), "cutback", date(2025, 7, 20), flush=3)
    assert not row.in_time and row.due is None and row.answer == "no"
    assert "after the last safe day" in row.why[0]
    assert row.does.startswith("no more cutting until bare; halve the outer leaves")
    second = told(south, upland(HORNBEAM), "cutback", date(2025, 7, 5), flush=2)
    assert not second.in_time and second.does.startswith("no more cutting")


def test_beech_is_not_given_a_second_flush():
    row = told(tokai(BEECH), upland(BEECH), "cutback", date(2025, 7, 10), flush=2)
    assert row.due is None and "one flush a year" in row.why[0]


@pytest.mark.parametrize("work", ["cutback", "halving", "partial-defoliation", "pinching", "feeding", ""])
@pytest.mark.parametrize("species", [MAPLE, BEECH])
def test_nothing_falls_outside_the_season_of_growth_nor_after_the_stop_date_unsaid(species, work):
    """Every month of the year at either place, as a lesson for the other and over the equator."""
    places = [
        tokai(species),
        upland(species),
        town("Far south", -42, species),
        town("Zone", 57, species, weather=False),
    ]
    for month in range(1, 13):
        for there, here in zip(places, places[1:] + places[:1], strict=True):
            row = told(there, here, work, date(2025, month, 10))
            if row.state.cue != "flush" or row.due is None:
                continue
            season = here.under_way if row.due <= here.under_way.growth_ends else here.after
            assert season.first_budbreak(season.tree)[0] <= row.due <= season.growth_ends
            wakes = bool(work) and Operation(work).wakes
            if wakes and row.until is not None and row.due > row.until:
                assert not row.in_time and row.answer == "no"


def test_roots_go_by_swelling_buds_not_by_the_date():
    """20 February in mild winters becomes the weeks before bud break here, not weeks after it."""
    row = told(tokai(), upland(), "repotting", date(2025, 2, 20))
    spring = upland().under_way
    breaks = spring.first_budbreak(spring.tree)[1]
    assert row.state.cue == "bud-swell" and row.due < row.until <= breaks
    assert row.does.startswith("repot as buds swell")


def test_winter_work_goes_by_leaf_fall_and_the_next_one_is_told():
    row = told(tokai(), upland(), "pruning", date(2025, 12, 5))
    assert row.state.cue == "leaf-fall" and TODAY < row.due < row.until
    assert (row.due.month, row.until.month) == (11, 1)
    wire = told(tokai(), upland(), "wiring", date(2025, 12, 5))
    assert wire.state.cue == "bare" and "at rest" in wire.does


def test_work_of_the_bloom_goes_by_the_bloom():
    row = told(tokai(AZALEA), upland(AZALEA), "cutback", date(2025, 5, 28))
    assert row.state.cue == "after-bloom" and date(2026, 6, 1) < row.due < date(2026, 7, 10)
    assert "right after bloom" in row.does
    late = told(tokai(AZALEA), upland(AZALEA), "cutback", date(2025, 10, 1))
    assert late.due is None and not late.in_time and "do not fade there at that time" in late.why[0]


def test_dry_summer_or_bloom_whichever_the_date_belongs_to():
    assert told(tokai(APRICOT), upland(APRICOT), "pruning", date(2025, 7, 15)).state.cue == "summer"
    assert told(tokai(APRICOT), upland(APRICOT), "pruning", date(2025, 3, 10)).state.cue == "after-bloom"


def test_trees_of_warm_nights_get_no_date_where_nights_stay_cool():
    row = told(tokai(FIG), town("Cool", 57, FIG), "repotting", date(2025, 7, 5))
    assert row.due is None and "while nights stay warm" in row.does
    bared = told(tokai(FIG), upland(FIG), "full-defoliation", date(2025, 7, 10))
    assert "only when strong, and it is not marked so" in bared.why[0]


def test_near_the_equator_no_date_is_told():
    """No spring begins the year there, so that neither buds nor flushes can be counted from it."""
    equator = town("Equator", 1, weather=False)
    for work in ("cutback", "repotting"):
        row = told(upland(), equator, work, date(2025, 6, 20 if work == "cutback" else 1))
        assert row.due is None and not row.in_time


def test_late_feed_is_refused_and_wire_is_not():
    """Growth of the second flush here comes after the last safe day."""
    row = told(tokai(), upland(), "feeding", date(2025, 8, 1), flush=2)
    assert not row.in_time and "no feed" in row.does
    assert "look after three weeks" in told(tokai(), upland(), "wiring", date(2025, 5, 25)).does


def test_baring_asks_for_a_strong_tree():
    row = told(tokai(), upland(), "partial-defoliation", date(2025, 5, 25))
    assert row.answer == "better wait" and "strong" in row.why[0] and "halve" in row.does
    never = told(tokai(BEECH), upland(BEECH), "full-defoliation", date(2025, 5, 25))
    assert never.answer == "no"


def test_the_same_climate_over_the_equator_is_half_a_year_away():
    mirror = {"mean": 12.0, "amplitude": 9.0}
    north, south = town("N", 45, seed=4, **mirror), town("S", -45, seed=5, **mirror)
    row = told(north, south, "cutback", date(2025, 6, 12))
    assert abs((row.due - date(2026, 12, 12)).days) <= 14  # this season's passed in December: the next one
    assert (row.due - row.passed).days in range(335, 396)
    back = told(south, north, "cutback", date(2025, 12, 12))
    assert abs((back.due - date(2026, 6, 12)).days) <= 14
    assert row.same_day_length.month == 12 and back.same_day_length.month == 6


def test_a_known_year_is_that_year():
    one = told(tokai(), upland(), "cutback", date(2025, 5, 25), year=2018)
    usual = told(tokai(), upland(), "cutback", date(2025, 5, 25))
    assert one.state.usual[2] - one.state.usual[0] <= usual.state.usual[2] - usual.state.usual[0]
    with pytest.raises(WeatherError, match="no whole season 1999 of weather for Tokai"):
        told(tokai(), upland(), "cutback", date(2025, 5, 25), year=1999)


def test_a_leap_day_is_the_last_of_february():
    leap, plain = (Lesson(KINDS[MAPLE], "", day, day) for day in (date(2024, 2, 29), date(2025, 2, 28)))
    assert leap.days(upland().usual) == plain.days(upland().usual) == [59]


def test_a_date_before_any_leaf_is_hard_is_doubted():
    state = state_there(upland(), Lesson(KINDS[MAPLE], "cutback", date(2025, 3, 1), date(2025, 3, 1)))
    assert (state.stage, state.flush, state.fits) == ("hardened", 1, False)


def test_without_weather_the_usual_warmth_of_the_latitude_stands_in_and_is_named():
    row = told(town("Zone", 36, weather=False), upland(), "cutback", date(2025, 5, 25))
    assert row.zonal == (("Zone", 36, 0),) and row.due is not None


def test_what_a_garden_has_learned_is_taken_along_but_not_its_dates():
    home = upland()
    far = tokai(home=home)
    assert isinstance(far.fit, CarriedFit)
    step = next(iter(far.fit.chain_of(MAPLE, "start"))).wait
    assert far.fit.requirement(step).columns.centre == {}


def test_a_passed_state_is_told_for_the_next_season():
    row = told(tokai(today=date(2026, 9, 1)), upland(today=date(2026, 9, 1)), "cutback", date(2025, 5, 25))
    assert row.due.year == 2027 and row.passed.year == 2026


def test_the_hemisphere_is_read_from_the_weather_and_contradictions_are_refused():
    weather = synthetic_weather(date(2010, 1, 1), date(2012, 12, 31), -38, seed=1)
    assert hemisphere(weather) < 0
    with pytest.raises(InputError, match="north of the equator, but its weather"):
        LessonPlace.elsewhere(Place("x", "Oddtown", 38, 0.0), weather, TODAY, KINDS, MAPLE)
    flat = DailyWeather(date(2020, 1, 1), [25.0] * 731, [30.0] * 731, "station")
    assert hemisphere(flat) is None
