"""Hindcasts: which rows there are, and that nothing from later than the issue leaks into them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

from data_sources.demo.climate import synthetic_weather
from phenology.heat.clocks import Clock
from phenology.judging.hindcast import DatedSight, Question, hindcast, observed, quantile_table
from phenology.learning.requirement import RequirementModel
from phenology.model.errors import LookError, StageOrderError, WeatherError
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather

NORTH = SeasonCalendar()
WEATHER = synthetic_weather(date(2000, 1, 1), date(2007, 12, 31), 45.0, seed=3)
ASK = Question("budbreak", "extended")
SEASONS = range(2000, 2008)


def sight(day: date, tree: str, stage: str, **more) -> DatedSight:
    return DatedSight(tree, more.pop("species", "A"), more.pop("flush", 1), stage, day, day, **more)


def a_notebook(calendar=NORTH, weather=WEATHER, seasons=SEASONS, trees=("a1", "a2")) -> list[DatedSight]:
    """Trees that break bud about day 110 and need 30 days at 18 degC, looked at every five days."""
    record, clock = SeasonWeather.cut(weather, calendar), Clock("truth", "sine", 5.0)
    out = []
    for season in seasons:
        sums = record.thermal_time([season], (clock,))[season].thermal_time.sums[0]
        for k, tree in enumerate(trees):
            bud = 108 + (season * 7 + k * 3) % 9
            full = float(np.interp(sums[bud] + 30 + k, sums, np.arange(len(sums))))
            for t in range(85, 220, 5):
                stage = "dormant" if t < bud else "budbreak" if t < full else "extended"
                out.append(sight(calendar.start(season) + timedelta(days=t - 1), tree, stage))
    return out


LOOKS = a_notebook()


def run(looks=LOOKS, question=ASK, weather=WEATHER, calendar=NORTH, **more):
    return hindcast(looks, weather, question, calendar=calendar, prior_of=lambda species: (30.0, 0.3), **more)


def by_name(result):
    return {(row.wait.tree, row.wait.season): row for row in result.rows}


def assert_same_rows(one, other):
    assert [r.issued for r in one.rows] == [r.issued for r in other.rows]
    assert_allclose(quantile_table(one.rows), quantile_table(other.rows), atol=1e-9)
    assert_allclose([r.p_not for r in one.rows], [r.p_not for r in other.rows], atol=1e-12)
    assert_allclose([r.usual_days for r in one.rows], [r.usual_days for r in other.rows], atol=1e-9)


@pytest.fixture(scope="module")
def plain():
    return run()


def test_every_tree_season_has_one_row(plain):
    assert len(plain.rows) == 2 * len(SEASONS)
    assert set(by_name(plain)) == {(t, s) for t in ("a1", "a2") for s in SEASONS}
    assert plain.already == 0 and plain.filled_days == 0 and plain.skipped == ()


def test_a_row_is_issued_on_the_first_day_that_shows_the_given_stage(plain):
    for (tree, season), row in by_name(plain).items():
        shown = [v for v in LOOKS if v.tree == tree and v.latest.year == season and v.stage != "dormant"]
        assert row.issued == min(v.latest for v in shown)
        assert row.quantiles[0] >= NORTH.day(row.issued)


def test_quantiles_rise_and_land_near_what_was_seen(plain):
    table, seen = quantile_table(plain.rows), observed(plain.rows)
    assert (np.diff(table, axis=1) > 0).all()
    assert np.abs(table[:, 2] - seen.mean(1)).mean() < 6
    inside = (table[:, 0] <= seen[:, 1]) & (table[:, 4] >= seen[:, 0])
    assert inside.mean() > 0.8
    assert all(0 <= row.p_not < 0.05 for row in plain.rows)


def test_a_look_that_shows_both_stages_at_once_is_counted_and_has_no_row():
    looks = [v for v in LOOKS if not (v.tree == "a1" and v.latest.year == 2003 and v.stage == "budbreak")]
    result = run(looks)
    assert result.already == 1
    assert ("a1", 2003) not in by_name(result)
    assert len(result.rows) == 2 * len(SEASONS) - 1


def test_what_the_first_look_of_all_shows_twice_teaches_nothing(monkeypatch):
    first_seen_grown = sight(date(2003, 8, 30), "a3", "extended")
    learned = []
    fit = RequirementModel.fit
    monkeypatch.setattr(RequirementModel, "fit", lambda self, w, s: learned.extend(w) or fit(self, w, s))
    result = run([*LOOKS, first_seen_grown])
    assert result.already == 1
    assert "a3" not in {w.tree for w in learned}


def test_a_target_not_yet_seen_when_the_looks_end_still_has_a_row():
    cut = [v for v in LOOKS if not (v.tree == "a1" and v.latest.year == 2003 and v.stage == "extended")]
    result = run(cut)
    row = by_name(result)["a1", 2003]
    assert len(result.rows) == 2 * len(SEASONS)
    assert np.isinf(observed([row])[0, 1]) and np.isfinite(row.quantiles).all()


def test_a_given_stage_never_seen_makes_no_row():
    closed = [v for v in LOOKS if not (v.tree == "a1" and v.latest.year == 2003 and v.stage != "dormant")]
    assert ("a1", 2003) not in by_name(run(closed))


def test_of_several_looks_on_one_day_the_latest_stage_stands(plain):
    extra = [sight(v.latest, v.tree, "dormant") for v in LOOKS if v.stage == "extended"]
    assert_same_rows(run([*extra, *LOOKS]), plain)
    assert_same_rows(run([*LOOKS, *extra]), plain)


def disturbed(looks, season):
    """The season's looks after each tree's issue, moved ten days later."""
    out = []
    for v in looks:
        mine = [w for w in looks if w.tree == v.tree and w.latest.year == season and w.stage != "dormant"]
        if v.latest.year == season and v.latest > min(w.latest for w in mine):
            out.append(
                replace(v, earliest=v.earliest + timedelta(days=10), latest=v.latest + timedelta(days=10))
            )
        else:
            out.append(v)
    return out


def heated(weather, first: date, by=15.0):
    """The same weather, much warmer from a day on to the end of its year."""
    tmin, tmax = weather.tmin.copy(), weather.tmax.copy()
    days = slice(weather.index(first), weather.index(date(first.year, 12, 31)) + 1)
    tmin[days] += by
    tmax[days] += by
    return DailyWeather(weather.first_day, tmin, tmax, "station")


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("split", [{}, {"train": (2000, 2004), "test": (2005, 2007)}])
def test_later_looks_of_a_season_change_none_of_its_rows(known, split):
    question = replace(ASK, known_weather=known, **split)
    before, after = (by_name(run(looks, question)) for looks in (LOOKS, disturbed(LOOKS, 2006)))
    for tree in ("a1", "a2"):
        assert before[tree, 2006].quantiles == pytest.approx(after[tree, 2006].quantiles, abs=1e-9)
        assert before[tree, 2006].wait.target != after[tree, 2006].wait.target


@pytest.mark.parametrize("split", [{}, {"train": (2000, 2004), "test": (2005, 2007)}])
def test_later_weather_changes_a_row_only_when_it_is_taken_as_known(split, plain):
    issued = max(row.issued for row in plain.rows if row.wait.season == 2006)
    warm = heated(WEATHER, issued + timedelta(days=1))
    for known in (False, True):
        question = replace(ASK, known_weather=known, **split)
        before, after = (by_name(run(LOOKS, question, w))["a1", 2006] for w in (WEATHER, warm))
        same = before.quantiles == pytest.approx(after.quantiles, abs=1e-9)
        assert same != known


def test_earlier_weather_of_the_season_does_matter(plain):
    issued = min(row.issued for row in plain.rows if row.wait.season == 2006)
    tmin, tmax = WEATHER.tmin.copy(), WEATHER.tmax.copy()
    days = slice(WEATHER.index(issued - timedelta(days=3)), WEATHER.index(issued) + 1)
    tmin[days], tmax[days] = 25.0, 35.0
    warm = DailyWeather(WEATHER.first_day, tmin, tmax, "station")
    assert by_name(run(weather=warm))["a1", 2006].quantiles[2] < by_name(plain)["a1", 2006].quantiles[2]


def test_a_forward_split_fits_once_and_learns_nothing_from_its_test_seasons(monkeypatch):
    fits = []
    fit = RequirementModel.fit
    monkeypatch.setattr(RequirementModel, "fit", lambda self, w, s: fits.append(w) or fit(self, w, s))
    result = run(question=replace(ASK, train=(2000, 2003), test=(2004, 2007)))
    assert {r.wait.season for r in result.rows} == {2004, 2005, 2006, 2007}
    assert len(fits) == 1
    assert {w.season for w in fits[0]} == {2000, 2001, 2002, 2003}


def test_a_forward_row_does_not_know_later_years_of_weather():
    question = replace(ASK, train=(2000, 2003), test=(2004, 2006))
    future = DailyWeather(
        WEATHER.first_day,
        np.where(np.arange(len(WEATHER.tmin)) > WEATHER.index(date(2004, 12, 31)), 15.0, WEATHER.tmin),
        np.where(np.arange(len(WEATHER.tmin)) > WEATHER.index(date(2004, 12, 31)), 30.0, WEATHER.tmax),
        "station",
    )
    one, other = (by_name(run(LOOKS, question, w)) for w in (WEATHER, future))
    assert one["a1", 2004].quantiles == pytest.approx(other["a1", 2004].quantiles, abs=1e-9)
    assert one["a1", 2006].quantiles != pytest.approx(other["a1", 2006].quantiles, abs=1e-3)


def test_leaving_a_season_out_learns_from_all_others_and_not_from_it(monkeypatch):
    fits = []
    fit = RequirementModel.fit
    monkeypatch.setattr(RequirementModel, "fit", lambda self, w, s: fits.append(w) or fit(self, w, s))
    run()
    assert [set(SEASONS) - {w.season for w in waits} for waits in fits] == [{s} for s in SEASONS]


def test_training_seasons_without_any_looks_fall_back_on_the_prior():
    result = run(question=replace(ASK, train=(1990, 1995), test=(2004, 2005)))
    assert len(result.rows) == 4
    assert np.isnan(result.rows[0].usual).all()
    wide, narrow = (
        np.ptp(quantile_table(r.rows), axis=1).mean()
        for r in (result, run(question=replace(ASK, train=(2000, 2003), test=(2004, 2005))))
    )
    assert wide > 1.5 * narrow


def test_backward_looks_are_refused_all_at_once_or_left_out():
    bad = [*LOOKS, sight(date(2003, 8, 30), "a1", "dormant"), sight(date(2004, 8, 30), "a2", "dormant")]
    with pytest.raises(StageOrderError, match=r"--skip-bad(.|\n)*a1, season 2003(.|\n)*a2, season 2004"):
        run(bad)
    result = run(bad, skip_bad=True)
    assert len(result.skipped) == 2 and "a1, season 2003, flush 1" in result.skipped[0]
    assert len(result.rows) == 2 * len(SEASONS) - 2
    assert not {("a1", 2003), ("a2", 2004)} & set(by_name(result))


def test_only_given_and_target_are_read(plain):
    """Finer stages say no more than reached or not."""
    finer = [replace(v, stage="extending") if v.stage == "budbreak" else v for v in LOOKS]
    assert_same_rows(
        run([replace(v, stage="hardened") if v.stage == "extended" else v for v in finer]), plain
    )


def test_a_vague_look_that_ends_after_the_issue_is_not_known_yet(plain):
    row = by_name(plain)["a1", 2003]
    start = date(2003, 1, 1)
    before = start + timedelta(days=int(row.wait.anchor[0]))  # the day after the last closed bud seen
    vague = DatedSight("a1", "A", 1, "dormant", before, row.issued + timedelta(days=5))
    assert by_name(run([*LOOKS, vague]))["a1", 2003].quantiles == pytest.approx(row.quantiles, abs=1e-6)


def test_flushes_of_one_season_are_asked_separately():
    second = [sight(v.latest + timedelta(days=100), v.tree, v.stage, flush=2) for v in LOOKS]
    result = run([*LOOKS, *second])
    assert len(result.rows) == 4 * len(SEASONS)
    assert {row.flush for row in result.rows} == {1, 2}
    assert all(row.wait.later == (row.flush == 2) for row in result.rows)


def test_gaps_in_the_weather_are_filled_counted_and_widen():
    tmin, tmax = WEATHER.tmin.copy(), WEATHER.tmax.copy()
    days = slice(WEATHER.index(date(2006, 5, 1)), WEATHER.index(date(2006, 5, 25)))
    tmin[days] = tmax[days] = np.nan
    holed = DailyWeather(WEATHER.first_day, tmin, tmax, "station")
    question = replace(ASK, known_weather=True)
    whole, part = (run(question=question, weather=w) for w in (WEATHER, holed))
    assert part.filled_days == 24 and len(part.rows) == len(whole.rows)
    assert np.ptp(by_name(part)["a1", 2006].quantiles) > np.ptp(by_name(whole)["a1", 2006].quantiles)


def test_seasons_that_the_weather_does_not_reach_are_named():
    result = run(weather=WEATHER.between(date(2002, 1, 1), date(2007, 12, 31)))
    assert result.no_weather == (2000, 2001)
    assert len(result.rows) == 12


def test_a_quantile_past_the_season_is_its_last_day_and_one():
    slow = hindcast(LOOKS, WEATHER, replace(ASK, train=(1990, 1995), test=(2004, 2005)),
                    calendar=NORTH, prior_of=lambda species: (900.0, 0.3))  # fmt: skip
    by_year = {row.wait.season: row for row in slow.rows}
    assert by_year[2004].quantiles[-1] == 367  # a leap year
    assert by_year[2005].quantiles[-1] == 366
    assert by_year[2005].p_not > 0.5


def test_a_southern_season_runs_over_new_year():
    south = SeasonCalendar.for_latitude(-37.8)
    weather = synthetic_weather(date(2000, 7, 1), date(2008, 6, 30), -37.8, seed=3)
    looks = a_notebook(south, weather)
    result = run(looks, calendar=south, weather=weather)
    assert len(result.rows) == 16
    table, seen = quantile_table(result.rows), observed(result.rows)
    assert np.abs(table[:, 2] - seen.mean(1)).mean() < 6
    assert {row.issued.month for row in result.rows} <= {10, 11}


def test_progress_counts_seasons():
    steps = []
    run(question=replace(ASK, train=(2000, 2003), test=(2004, 2007)), progress=lambda *at: steps.append(at))
    assert steps == [(0, 4), (1, 4), (2, 4), (3, 4), (4, 4)]


def test_nothing_to_forecast_says_why():
    with pytest.raises(LookError, match="no tree-season can be forecast"):
        run([v for v in LOOKS if v.stage == "dormant"])


def test_one_year_of_weather_is_not_enough_to_draw_from():
    with pytest.raises(WeatherError, match="no past season"):
        run([v for v in LOOKS if v.latest.year == 2003],
            weather=WEATHER.between(date(2003, 1, 1), date(2003, 12, 31)))  # fmt: skip


@pytest.mark.parametrize("given, target", [("extended", "budbreak"), ("budbreak", "budbreak")])
def test_the_target_must_follow(given, target):
    with pytest.raises(LookError, match=f"{target} does not follow {given}"):
        Question(given, target)


def test_buds_at_rest_after_leaf_fall_are_no_step_backward():
    """A notebook goes on through winter: bare on 1 December, buds closed on 20 December and on 5 January."""
    winter = [
        sight(date(season, month, day), tree, stage)
        for season in (2003, 2004)
        for tree in ("a1", "a2")
        for month, day, stage in ((12, 1, "bare"), (12, 20, "dormant"))
    ]
    early = [sight(date(2004, 1, 5), tree, "dormant") for tree in ("a1", "a2")]
    assert_same_rows(run([*LOOKS, *winter, *early]), run())


def test_closed_buds_in_summer_still_are_a_step_backward():
    with pytest.raises(StageOrderError, match="go backward"):
        run([*LOOKS, sight(date(2003, 7, 25), "a1", "dormant")])
    with pytest.raises(StageOrderError, match="go backward"):
        run([*LOOKS, sight(date(2003, 12, 20), "a1", "dormant")])  # leaf fall was never seen


MARCH = Question("start", "budbreak", issued=((3, 15),))


def test_forecasts_of_bud_break_are_issued_on_the_day_asked_for_in_every_season():
    both = run(question=replace(MARCH, issued=((3, 15), (4, 10))))
    assert {(r.issued.month, r.issued.day) for r in both.rows} == {(3, 15), (4, 10)}
    assert len(both.rows) == 2 * len(run(question=MARCH).rows) == 4 * len(SEASONS)
    assert {r.wait.anchor for r in both.rows} == {(0.0, 0.0)}


def test_what_was_seen_after_the_day_of_issue_changes_nothing_but_the_truth():
    at_issue = [look for look in LOOKS if (look.latest.month, look.latest.day) <= (4, 10)]
    asked = replace(MARCH, issued=((4, 10),), train=(2000, 2004), test=(2006, 2006))
    late = [replace(k, stage="budbreak") if k.latest == date(2006, 4, 25) else k for k in LOOKS]
    assert len(at_issue) < len(LOOKS)
    assert_same_rows(run(question=asked), run(looks=late, question=asked))


def test_a_forecast_is_not_issued_of_what_was_seen_by_then():
    rows = run(question=replace(MARCH, issued=((4, 20),))).rows
    assert 0 < len(rows) < len(run(question=MARCH).rows)
    assert all(NORTH.date(row.wait.season, row.wait.target[1]) > row.issued for row in rows)
    with pytest.raises(LookError, match="no tree-season can be forecast"):
        run(question=replace(MARCH, issued=((7, 30),)))


def test_days_of_issue_may_follow_a_look_at_the_given_stage():
    rows = run(question=replace(ASK, issued=((5, 10),))).rows
    assert rows and all(row.wait.anchor[1] <= row.issued.timetuple().tm_yday for row in rows)


def test_a_wait_from_the_season_s_start_needs_a_day_of_issue():
    with pytest.raises(LookError, match="needs the day on which it is issued"):
        Question("start", "budbreak")


def test_where_the_trees_stand_lets_the_length_of_the_day_speak():
    assert run(question=MARCH).rows != run(question=MARCH, latitude=45.0).rows
