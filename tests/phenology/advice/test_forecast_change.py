"""What is news since an earlier forecast: misses and moved dates are, a day of jitter is not."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from phenology.advice.adviser import stop_days
from phenology.advice.forecast_change import (
    NEWS_DAYS,
    STOP,
    changed_since,
    forecast_changes,
    issued_by,
    misses,
)
from phenology.advice.garden_forecast import forecast_garden
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import MAPLE, Records, day, weather

PAST = (2015, 2016, 2017, 2018, 2019)


def growing() -> Records:
    """Five past seasons of an elm, and a sixth in which its bud break was seen."""
    records = Records.of("elm", past=PAST, late=(0, 4, -3, 6, 1))
    records.seen("elm", 2020, (98, "dormant"), (103, "budbreak"))
    return records


def news(records: Records, n: float, since: float | None = None, **more):
    forecast = forecast_garden(records.garden(day(2020, n), **more))
    found = forecast_changes(forecast, None if since is None else day(2020, since))
    return [change for change in found if change.stage != STOP]


def test_quiet_days_are_no_news():
    assert news(growing(), 108, since=104) == []


def test_the_earlier_forecast_is_the_one_before_the_last_look_or_a_week_old():
    records = growing()
    assert changed_since(records.garden(day(2020, 106))) == day(2020, 99)
    assert changed_since(records.garden(day(2020, 120))) == day(2020, 102)


@pytest.mark.parametrize("seen, sign", [((104, 112), -1), ((158, 166), 1)])
def test_a_miss_says_by_how_much(seen, sign):
    records = growing()
    not_yet, came = seen
    records.look(records.flushes[-1].id, not_yet, "extending")
    records.look(records.flushes[-1].id, came, "extended")
    [miss] = [c for c in news(records, came, since=104) if c.missed]
    assert (miss.label, miss.stage) == ("elm", "extended")
    expected = {r.stage: r for r in forecast_garden(records.garden(day(2020, 104))).rows}["extended"].day(0.5)
    assert miss.expected == day(2020, int(np.ceil(expected)))
    assert miss.now == day(2020, came if sign < 0 else not_yet + 1)
    assert sign * miss.days > 5


def test_what_came_within_its_range_is_no_miss():
    records = growing()
    records.look(records.flushes[-1].id, 128, "extending")
    records.look(records.flushes[-1].id, 134, "extended")
    assert not any(c.missed for c in news(records, 134, since=104))


def test_a_look_that_says_not_yet_moves_the_date_and_is_named():
    records = growing()
    records.look(records.flushes[-1].id, 150, "extending")
    moved = {c.stage: c for c in news(records, 150, since=120)}
    assert set(moved) == {"extended", "hardened"}
    assert all(c.why == "looks" and not c.missed and c.days >= NEWS_DAYS for c in moved.values())


@pytest.mark.parametrize("n, outlived", [(150, True), (130, False)])
def test_a_look_past_the_whole_range_is_a_miss_though_nothing_came(n, outlived):
    records = growing()
    records.look(records.flushes[-1].id, n, "extending")
    moved = {c.stage: c for c in news(records, n, since=120)}
    assert ("extended" in moved and moved["extended"].not_yet == day(2020, n)) is outlived
    assert not any(c.missed for c in moved.values())


def test_a_cold_month_moves_the_date_and_the_weather_is_named():
    series = weather()
    cold = slice(series.index(day(2020, 105)), series.index(day(2020, 136)) + 1)
    tmin, tmax = series.tmin.copy(), series.tmax.copy()
    tmin[cold] -= 11
    tmax[cold] -= 11
    bench = {"bench": DailyWeather(series.first_day, tmin, tmax, "station")}
    moved = {c.stage: c for c in news(growing(), 136, since=104, weather=bench)}
    assert moved["hardened"].why == "weather" and moved["hardened"].days >= NEWS_DAYS


def test_every_stop_date_that_moved_is_news_and_so_is_why():
    """A second flush seen to take its time, in the last season: cuts stop earlier for that species."""
    records = growing()
    records.tree("maple", MAPLE)
    for season in PAST:
        records.work("elm", season, 170, "cutback")
        looks = (190, "budbreak"), (230, "extended"), (240, "hardened")
        records.seen("elm", season, *looks, started_by="work", started_on=day(season, 170))
    records.work("elm", 2020, 140, "cutback", early=True)
    woken = records.flush("elm", 2020, "work", started_on=day(2020, 140), work_id=records.works[-1].id)
    records.look(woken, 178, "dormant")
    forecast = forecast_garden(records.garden(day(2020, 180)))
    found = forecast_changes(forecast, day(2020, 150))
    shown = {row.tree.label for row in forecast.rows if row.advice is not None and row.advice.last_safe}
    stops = [change for change in found if change.stage == STOP]
    then, now = (stop_days(records.garden(day(2020, n))) for n in (150, 180))
    assert [change.label for change in stops] == [t for t in then if then[t] != now[t] and t in shown]
    (elm,) = [change for change in stops if change.label == "elm"]
    assert elm.why == "looks" and elm.days < 0 and elm.now == day(2020, now["elm"])


def test_another_season_is_not_compared():
    records = growing()
    garden = records.garden(day(2020, 106))
    last_year = garden.calendar.start(2020) - timedelta(days=3)
    assert forecast_changes(forecast_garden(garden), last_year) == []


def told_on(records: Records, n: float):
    return issued_by(forecast_garden(records.garden(day(2020, n))))


def test_a_forecast_told_earlier_is_held_against_what_came():
    records = growing()
    then = told_on(records, 104)
    records.look(records.flushes[-1].id, 158, "extending")
    records.look(records.flushes[-1].id, 166, "extended")
    [miss] = misses(then, forecast_garden(records.garden(day(2020, 166))))
    assert (miss.label, miss.stage, miss.missed) == ("elm", "extended", True)
    assert miss.now == day(2020, 159) and miss.days > 5


def test_a_look_that_outlives_what_was_told_is_a_miss_and_jitter_is_none():
    records = growing()
    then = told_on(records, 120)
    assert misses(then, forecast_garden(records.garden(day(2020, 121)))) == []
    records.look(records.flushes[-1].id, 150, "extending")
    late = {c.stage: c for c in misses(then, forecast_garden(records.garden(day(2020, 150))))}
    assert late["extended"].not_yet == day(2020, 150)
    assert late["extended"].now > day(2020, 150)


def test_a_tree_taken_off_the_benches_is_missed_by_nobody():
    records = growing()
    then = told_on(records, 104)
    gone = {("nobody", *key[1:]): told for key, told in then.items()}
    assert misses(gone, forecast_garden(records.garden(day(2020, 121)))) == []
