"""A garden on one date: what is known of it then, where its trees stand, and what weather they feel."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from phenology.model.records import Aim, Place, Stand
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import Records, day, weather

END = date(2020, 12, 31)


def two_places() -> Records:
    records = Records(places=[Place("bench", "Bench", 45.0, 7.0), Place("shed", "Cold shed", 45.0, 7.0)])
    records.tree("elm")
    return records


def test_up_to_a_day_nothing_later_is_there():
    records = Records.of("elm")
    records.a_season("elm", 2019, 100, 130, 160)
    records.a_season("elm", 2020, 100, 130, 160)
    records.work("elm", 2020, 170, "halving")
    garden = records.garden(END).up_to(day(2020, 103))
    assert max(look.latest for look in garden.looks) == day(2020, 102)
    assert garden.works == []
    assert garden.weather["bench"].last_day == day(2020, 103)
    assert (garden.season, garden.today) == (2020, 103)
    earlier = records.garden(END).up_to(date(2019, 12, 31))
    assert {f.season for f in earlier.flushes} == {2019}


def test_up_to_a_day_a_flush_has_not_ended_yet():
    records = Records.of("elm")
    flush = records.flush("elm", 2020, ended_on=day(2020, 200), ended_why="work")
    records.look(flush, 100, "budbreak")
    before, after = (records.garden(day(2020, n)).flushes[0] for n in (150, 250))
    assert before.ended_on is None and before.ended_why is None
    assert after.ended_on == day(2020, 200)


def test_up_to_a_day_a_flush_that_only_work_tells_of_is_there():
    """A notebook of cutbacks has no looks: were its flushes forgotten, an --as-of would learn nothing."""
    records = Records.of("elm")
    flush = records.flush("elm", 2020, ended_on=day(2020, 170), ended_why="cutback")
    cut = records.work("elm", 2020, 170, "cutback")
    woken = records.flush("elm", 2020, "work", started_on=day(2020, 170), work_id=cut)
    records.flush("elm", 2019)  # nothing was done or seen of it
    assert [f.id for f in records.garden(day(2020, 200)).flushes] == [flush, woken]
    assert records.garden(day(2020, 169)).flushes == []


def test_a_tree_is_refining_unless_something_else_was_said_by_then():
    records = Records.of("elm")
    records.aims += [
        Aim("1", "elm", "building", date(2018, 1, 1)),
        Aim("2", "elm", "resting", date(2020, 6, 1)),
    ]
    aims = [records.garden(d).aim_of(records.trees[0]) for d in (date(2017, 5, 1), date(2019, 5, 1), END)]
    assert aims == ["refining", "building", "resting"]


def test_weather_follows_the_tree():
    records = two_places()
    records.stands.append(Stand("2", "elm", "shed", day(2020, 101)))
    cold = DailyWeather(date(1996, 1, 1), weather().tmin - 50, weather().tmax - 50, "station")
    garden = records.garden(END, weather={"bench": weather(), "shed": cold})
    site = garden.site(records.trees[0], 2020)
    assert site == ((0, "bench"), (100, "shed"))
    record = garden.record_at(site)
    row = record.row(2020)
    assert record.tmin[row, 99] > -40 and record.tmin[row, 100] < -40
    assert garden.site(records.trees[0], 2019) == ((0, "bench"),)
    assert garden.place_of(records.trees[0], date(2020, 12, 1)).name == "Cold shed"
    assert garden.place_of(records.trees[0], date(2019, 12, 1)).name == "Bench"


def test_before_its_first_stand_a_tree_is_where_it_first_stood():
    records = two_places()
    records.stands[:] = [Stand("1", "elm", "shed", date(2019, 5, 1))]
    assert records.garden(END).place_of(records.trees[0], date(2010, 1, 1)).name == "Cold shed"


def test_a_place_without_weather_takes_that_of_the_place_beside_it():
    records = two_places()
    records.stands[:] = [Stand("1", "elm", "shed", None)]
    unknown = DailyWeather(date(2019, 1, 1), np.full(700, np.nan), np.full(700, np.nan), "")
    for series in ({"bench": weather()}, {"bench": weather(), "shed": unknown}):
        garden = records.garden(END, weather=series)
        here, there = (garden.record_at(((0, place),)) for place in ("shed", "bench"))
        assert np.array_equal(here.tmin, there.tmin, equal_nan=True) and here.possible is None
    far = Place("shed", "Cold shed", 46.0, 7.0)
    alone = replace(garden, places=[records.places[0], far]).record_at(((0, "shed"),))
    assert alone.possible is not None and np.isnan(alone.tmin).all()


def test_forecast_days_are_not_measured():
    series = weather().between(date(2019, 1, 1), date(2020, 6, 30))
    source = np.array(["station"] * (len(series.tmin) - 100) + ["forecast"] * 100)
    mixed = DailyWeather(series.first_day, series.tmin, series.tmax, source)
    garden = two_places().garden(date(2020, 6, 30), weather={"bench": mixed})
    assert garden.weather_through() == date(2020, 6, 30) - timedelta(days=100)
