"""The forecast of a garden: which rows there are, in what order, and what moves them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from phenology.advice.garden_forecast import forecast_garden
from phenology.forecasting.arrival import LEVELS
from phenology.model.records import Aim, Place
from phenology.model.track_record import TrackRecord
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import BEECH, ELM, MAPLE, NORTH, Records, day, weather
from tests.phenology.judging.test_season_errors import forecast

PAST = (2015, 2016, 2017, 2018, 2019)


def a_nursery(seasons=PAST, **tree) -> Records:
    return Records.of("elm", past=seasons, late=(0, 4, -3, 6, 1), **tree)


def rows_of(records: Records, n: float, season: int = 2020, **more):
    return {row.stage: row for row in forecast_garden(records.garden(day(season, n), **more)).rows}


def growing(records: Records, *looks, season=2020) -> Records:
    records.seen("elm", season, *looks)
    return records


def test_before_anything_is_seen_all_three_stages_are_forecast_in_order():
    rows = rows_of(a_nursery(), 60)
    assert set(rows) == {"budbreak", "extended", "hardened"}
    medians = [rows[s].day(0.5) for s in ("budbreak", "extended", "hardened")]
    assert medians == sorted(medians)
    assert medians == pytest.approx([101.6, 131.6, 161.6], abs=9)
    assert rows["hardened"].operation == "cutback" and rows["budbreak"].operation is None


def test_stages_keep_their_order_at_every_level():
    for looks in ([], [(98, "dormant")], [(98, "dormant"), (103, "budbreak")]):
        records = growing(a_nursery(), *looks) if looks else a_nursery()
        rows = list(rows_of(records, 105).values())
        rows.sort(key=lambda r: ("budbreak", "extended", "hardened").index(r.stage))
        for level in np.linspace(0.02, 0.98, 13):
            days = [r.arrival.quantile(level) for r in rows]
            assert days == sorted(days)


def test_stages_keep_their_order_when_only_hardening_dates_are_known():
    records = Records.of("elm")
    for season in PAST:  # hard much sooner than the catalogue expects even the shoots to stop
        records.look(records.flush("elm", season), 100, "hardened", kind="happened", until=103)
    rows = rows_of(records, 40)
    assert rows["hardened"].day(0.5) < 110
    for level in (0.1, 0.25, 0.5, 0.75, 0.9):
        days = [rows[s].arrival.quantile(level) for s in ("budbreak", "extended", "hardened")]
        assert days == sorted(days)


def hardening_dates() -> Records:
    """Seven seasons of "hardened about 10 June", vague by a week, and nothing else."""
    records = Records.of("elm")
    for season, n in zip(range(2013, 2020), (161, 163, 160, 162, 164, 161, 163), strict=True):
        records.look(records.flush("elm", season), n - 3, "hardened", kind="happened", until=n + 3)
    return records


def test_a_first_bud_break_sharpens_what_hardening_dates_told():
    """It used to push the leaves to a guess of the catalogue, later than they were ever hard."""
    before = rows_of(hardening_dates(), 110)
    seen = growing(hardening_dates())
    seen.look(seen.flushes[-1].id, 120, "budbreak", kind="happened", until=126)
    after = rows_of(seen, 127)
    assert 150 < before["hardened"].day(0.5) < 170
    assert after["hardened"].day(0.5) == pytest.approx(before["hardened"].day(0.5), abs=6)
    width = [rows["hardened"].day(0.9) - rows["hardened"].day(0.1) for rows in (before, after)]
    assert width[1] <= width[0]
    assert after["hardened"].trust.seasons == 7
    assert before["budbreak"].day(0.5) < before["extended"].day(0.5) < before["hardened"].day(0.5)


def test_a_first_season_is_guessed_in_the_order_of_species_and_nothing_is_refused():
    """Three trees in leaf on 12 May, nothing known of their species: look, and nobody is told not to cut."""
    records = Records()
    for name in (ELM, BEECH, MAPLE):
        records.tree(name, name)
        records.look(records.flush(name, 2020), 128, "extending")
    rows = {
        row.tree.species: row
        for row in forecast_garden(records.garden(day(2020, 133))).rows
        if row.stage == "hardened"
    }
    assert all(row.guess and row.refused is None for row in rows.values())
    assert all(row.day(0.9) - row.day(0.1) > 25 for row in rows.values())
    stops = {name: row.advice.last_safe for name, row in rows.items()}
    assert stops[BEECH] < stops[ELM]  # beech is the slower to push again


def test_what_was_seen_is_no_longer_forecast():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"), (128, "extending"))
    assert set(rows_of(records, 105)) == {"extended", "hardened"}
    records.look(records.flushes[-1].id, 136, "extended")
    rows = rows_of(records, 140)
    assert set(rows) == {"hardened"}
    assert rows["hardened"].seen == (day(2020, 136), None)


def test_not_yet_moves_a_stage_later_and_leaves_nothing_before_the_look():
    looks = (98, "dormant"), (103, "budbreak"), (128, "extending"), (133, "extended")
    few, more = growing(a_nursery(), *looks), growing(a_nursery(), *looks, (165, "extended"))
    before, after = (rows_of(r, 166)["hardened"].arrival for r in (few, more))
    assert before.chance_by(165) > 0.3
    assert after.chance_by(165) == 0
    assert after.quantile(0.5) > before.quantile(0.5)


def test_a_hardened_flush_opens_its_work_once():
    looks = (98, "dormant"), (103, "budbreak"), (128, "extending"), (133, "extended"), (160, "hardened")
    records = growing(a_nursery(), *looks)
    row = rows_of(records, 161)["hardened"]
    assert row.arrival is None and row.operation == "cutback" and row.seen[1] == day(2020, 160)
    assert [row.date_at(level) for level in LEVELS] == [None] * len(LEVELS)
    records.work("elm", 2020, 163, "halving")
    assert rows_of(records, 164) == {}


def test_work_wakes_a_flush_dated_from_its_day():
    records = a_nursery()
    records.a_season("elm", 2020, 100, 130, 160)
    work = records.work("elm", 2020, 165, "cutback")
    records.flush("elm", 2020, "work", started_on=day(2020, 165), work_id=work)
    rows = rows_of(records, 166)
    assert set(rows) == {"budbreak", "extended", "hardened"}
    assert {r.flush for r in rows.values()} == {2}
    assert rows["budbreak"].day(0.05) > 165
    assert 168 < rows["budbreak"].day(0.5) < 195


def test_a_second_flush_of_a_fixed_grower_is_seen_not_assumed():
    records = a_nursery(species=BEECH)
    records.a_season("elm", 2020, 100, 130, 160)
    work = records.work("elm", 2020, 165, "cutback")
    flush = records.flush("elm", 2020, "work", started_on=day(2020, 165), work_id=work)
    assert rows_of(records, 166) == {}
    records.look(flush, 185, "budbreak")
    assert set(rows_of(records, 186)) == {"extended", "hardened"}


@pytest.mark.parametrize(
    "species, vigour, aim, operation",
    [
        (MAPLE, "strong", "refining", "partial-defoliation"),
        (MAPLE, None, "refining", "cutback"),  # nobody says that it is strong
        (ELM, None, "refining", "cutback"),
        (MAPLE, "strong", "building", None),
        (ELM, None, "resting", None),
    ],
)
def test_the_work_that_opens_depends_on_species_strength_and_aim(species, vigour, aim, operation):
    records = a_nursery(species=species, vigour=vigour)
    records.aims.append(Aim("a", "elm", aim))
    assert rows_of(records, 60)["hardened"].operation == operation


def test_lost_ended_and_retired_have_no_rows():
    lost = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    lost.look(lost.flushes[-1].id, 110, "extending", lost=True)
    assert rows_of(lost, 112) == {}
    retired = a_nursery(retired=date(2020, 2, 1))
    assert rows_of(retired, 60) == {}
    ended = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    ended.flushes[-1] = type(ended.flushes[-1])(
        "x", "elm", 2020, "season", ended_on=day(2020, 110), ended_why="work"
    )
    ended.looks = [look if look.flush_id in {f.id for f in ended.flushes} else
                   type(look)(look.id, "elm", "x", look.stage, "", look.earliest, look.latest)
                   for look in ended.looks]  # fmt: skip
    assert rows_of(ended, 112) == {}


def test_when_the_leaves_turn_next_season_is_forecast():
    records = a_nursery()
    flush = records.a_season("elm", 2020, 100, 130, 160)
    records.look(flush, 300, "turning")
    rows = rows_of(records, 305)
    assert {r.season for r in rows.values()} == {2021}
    assert rows["budbreak"].day(0.5) == pytest.approx(101, abs=9)


def test_trust_says_what_it_rests_on():
    assert rows_of(a_nursery(()), 60)["hardened"].trust.words == "species guess"
    assert rows_of(a_nursery(PAST[:1]), 60)["hardened"].trust.words == "1 season here"
    many = rows_of(a_nursery(), 60)["hardened"].trust
    assert many.seasons == 5
    assert many.words.startswith("5 seasons here, usually within ")
    shares = [rows_of(a_nursery(PAST[:k]), 60)["hardened"].trust.prior_share for k in (0, 1, 3, 5)]
    assert shares == sorted(shares, reverse=True)


def test_usually_within_is_told_from_past_forecasts_of_that_stage_and_lead():
    """Five seasons missed hardening by 2 days when asked at bud break, two months ahead."""
    past = [forecast(season, 104, 162, 160, species=ELM) for season in PAST]
    garden = growing(a_nursery(), (98, "dormant"), (103, "budbreak")).garden(day(2020, 104))
    rows = {r.stage: r for r in forecast_garden(replace(garden, skills=TrackRecord.of(past))).rows}
    plain = {r.stage: r for r in forecast_garden(garden).rows}
    half = {s: (r.arrival.quantile(0.9) - r.arrival.quantile(0.1)) / 2 for s, r in rows.items()}
    # as if the range of today had been kept for two seasons more
    assert rows["hardened"].trust.within == pytest.approx((5 * 2.0 + 2 * half["hardened"]) / 7)
    for stage in ("extended", "hardened"):
        assert plain[stage].trust.within == pytest.approx(half[stage])
    assert rows["extended"].trust.within == pytest.approx(half["extended"])  # never forecast before


def test_own_records_narrow_the_range():
    guess, known = (rows_of(a_nursery(seasons), 60)["hardened"] for seasons in ((), PAST))
    width = [r.arrival.quantile(0.9) - r.arrival.quantile(0.1) for r in (guess, known)]
    assert width[1] < 0.7 * width[0]


def test_weather_after_the_issue_changes_nothing():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    series = weather()
    upset = DailyWeather(
        series.first_day,
        np.where(np.arange(len(series.tmin)) > series.index(day(2020, 104)), series.tmin + 15, series.tmin),
        np.where(np.arange(len(series.tmax)) > series.index(day(2020, 104)), series.tmax + 20, series.tmax),
        "station",
    )
    one, other = (rows_of(records, 104, weather={"bench": w}) for w in (series, upset))
    for stage in ("extended", "hardened"):
        np.testing.assert_array_equal(one[stage].arrival.curve, other[stage].arrival.curve)


def test_as_of_forgets_later_looks():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    before = rows_of(records, 104)
    records.look(records.flushes[-1].id, 150, "hardened")
    after = rows_of(records, 104)
    np.testing.assert_array_equal(before["hardened"].arrival.curve, after["hardened"].arrival.curve)


def test_a_warm_spring_brings_it_nearer():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    series = weather()
    medians = []
    for by in (-4.0, 0.0, 4.0):
        tmin, tmax = series.tmin.copy(), series.tmax.copy()
        spell = slice(series.index(day(2020, 104)), series.index(day(2020, 120)) + 1)
        tmin[spell] += by
        tmax[spell] += by
        shifted = DailyWeather(series.first_day, tmin, tmax, "station")
        medians.append(rows_of(records, 120, weather={"bench": shifted})["extended"].day(0.5))
    assert medians == sorted(medians, reverse=True)
    assert medians[0] - medians[2] > 1


def test_the_neighbours_of_this_season_move_a_tree():
    def nursery(late: float) -> Records:
        records = a_nursery()
        for name in ("n1", "n2", "n3"):
            records.tree(name)
            flush = records.flush(name, 2020)
            for n, stage in ((98, "dormant"), (102, "budbreak"), (118 + late, "budbreak"),
                             (122 + late, "extended")):  # fmt: skip
                records.look(flush, n, stage)
        return growing(records, (98, "dormant"), (102, "budbreak"))

    def median(records):
        rows = forecast_garden(records.garden(day(2020, 150))).rows
        return next(r for r in rows if r.tree.label == "elm" and r.stage == "extended").day(0.5)

    assert median(nursery(20)) > median(nursery(0)) + 3


def test_rows_come_soonest_first():
    records = a_nursery()
    records.tree("maple", MAPLE)
    records.tree("beech", BEECH)
    growing(records, (98, "dormant"), (103, "budbreak"))
    rows = forecast_garden(records.garden(day(2020, 104))).rows
    assert [r.order for r in rows] == sorted(r.order for r in rows)
    assert len(rows) == 2 + 3 + 3


def test_the_next_look_is_never_in_the_past_nor_right_after_the_last():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"), (128, "extending"))
    for row in rows_of(records, 129).values():
        assert row.look_on >= day(2020, 132)
    overdue = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    assert rows_of(overdue, 200)["extended"].look_on == day(2020, 200)


def test_few_past_years_and_old_weather_are_said():
    series = weather().between(date(2015, 1, 1), day(2020, 90))
    forecast = forecast_garden(a_nursery().garden(day(2020, 104), weather={"bench": series}))
    assert forecast.donors == 5
    assert any("weather ends 14 days ago" in w for w in forecast.warnings)
    assert any("only 5 past years of weather" in w for w in forecast.warnings)
    plenty = forecast_garden(a_nursery().garden(day(2020, 104)))
    assert plenty.donors == 24 and plenty.warnings == ()


def test_weather_missing_for_weeks_widens_but_does_not_move():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    series = weather().between(date(1996, 1, 1), day(2020, 130))
    tmin, tmax = series.tmin.copy(), series.tmax.copy()
    gap = slice(series.index(day(2020, 105)), series.index(day(2020, 125)))
    tmin[gap] = tmax[gap] = np.nan
    holed = DailyWeather(series.first_day, tmin, tmax, "station")
    low, high, _ = SeasonWeather.cut(holed, NORTH).filled(2020)
    tmin[gap], tmax[gap] = low[104:124], high[104:124]  # the same days, as if they had been measured
    known = DailyWeather(series.first_day, tmin, tmax, "station")
    sure, unsure = (rows_of(records, 130, weather={"bench": w})["extended"].arrival for w in (known, holed))
    assert unsure.quantile(0.9) - unsure.quantile(0.1) > 1.03 * (sure.quantile(0.9) - sure.quantile(0.1))
    assert unsure.quantile(0.5) == pytest.approx(sure.quantile(0.5), abs=0.7)


@pytest.mark.parametrize(
    "series, says",
    [
        (
            {},
            "No weather yet: dates rest on the usual warmth of latitude 45 north and are wide; sharpen them",
        ),
        ({"bench": weather().between(day(2020, 1), day(2020, 104))}, "Only 104 days of weather, to 13 Apr: "),
        ({"bench": weather().between(date(2018, 1, 1), date(2019, 12, 31))}, "Only 2 years of weather"),
    ],
)
def test_without_enough_weather_the_latitude_stands_in_and_it_says_what_to_do(series, says):
    forecast = forecast_garden(a_nursery(()).garden(day(2020, 104), weather=series))
    assert says in forecast.usual_warmth and "`flushcast weather add FILE`" in forecast.usual_warmth
    row = next(row for row in forecast.rows if row.stage == "budbreak")
    assert day(2020, 70) < row.date_at(0.5) < day(2020, 150)
    assert forecast_garden(a_nursery().garden(day(2020, 104))).usual_warmth == ""


def test_the_more_is_measured_the_narrower_the_dates():
    def width(series):
        records = growing(a_nursery(()), (98, "dormant"), (103, "budbreak"))
        row = rows_of(records, 150, weather=series)["hardened"]
        return row.arrival.quantile(0.9) - row.arrival.quantile(0.1)

    last = day(2020, 150)
    own = {"bench": weather().between(day(2020, 105), last)}
    year = {"bench": weather().between(date(2019, 1, 1), last)}
    assert width({}) > 1.1 * width(own) > 1.1 * width(year)


def test_the_weather_of_a_place_beside_is_taken_and_said():
    records = a_nursery()
    records.places.append(Place("shed", "Shed", 45.0, 7.0))
    records.tree("oak", place="shed")
    forecast = forecast_garden(records.garden(day(2020, 104), weather={"bench": weather()}))
    assert forecast.warnings == ("Shed has no weather of its own; that of Bench is taken",)
    assert forecast.usual_warmth == "" and any(row.tree.id == "oak" for row in forecast.rows)


def test_weather_that_ended_long_ago_is_said_and_serves_all_the_same():
    series = weather().between(date(1996, 1, 1), date(2020, 1, 15))
    forecast = forecast_garden(a_nursery().garden(day(2020, 104), weather={"bench": series}))
    assert "bring them with `flushcast weather add FILE`" in forecast.warnings[0] and forecast.rows


def test_under_cover_a_bud_break_is_asked_for():
    records = a_nursery()
    records.places[0] = Place("bench", "Glasshouse", 45.0, 7.0, cover="glass")
    rows = rows_of(records, 60)
    assert set(rows) == {"budbreak"}  # no date for work, and none for bud break: only when to look
    assert any("under glass without readings: no dates" in w for w in rows["budbreak"].warnings)
    assert not any(rows["budbreak"].date_at(level) for level in LEVELS)
    assert day(2020, 60) <= rows["budbreak"].look_on < day(2020, 85)
    growing(records, (98, "dormant"))
    assert set(rows_of(records, 98)) == {"budbreak"}
    records.look(records.flushes[-1].id, 103, "budbreak")
    rows = rows_of(records, 105)
    assert set(rows) == {"extended", "hardened"} and rows["hardened"].day(0.5) > 130
    assert any("dates start from its bud break" in w for w in rows["extended"].warnings)


def test_under_cover_with_a_thermometer_dates_are_given():
    records = a_nursery()
    records.places[0] = Place("bench", "Glasshouse", 45.0, 7.0, cover="glass")
    whole = weather()
    source = whole.source.copy()
    source[-700:-300] = "bench"
    own = DailyWeather(whole.first_day, whole.tmin, whole.tmax, source)
    rows = rows_of(records, 60, weather={"bench": own})
    assert set(rows) == {"budbreak", "extended", "hardened"} and rows["budbreak"].day(0.5)
    assert not any("under glass" in w for w in rows["budbreak"].warnings)


def test_checked_growth_is_said():
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    records.look(records.flushes[-1].id, 125, "extending", checked=True)
    assert any("growth was checked" in w for w in rows_of(records, 126)["hardened"].warnings)


def test_the_29_february_and_a_leap_season_are_days_like_others():
    forecast = forecast_garden(a_nursery().garden(date(2020, 2, 29)))
    assert forecast.rows[0].day(0.5) > 60
    dates = [forecast.rows[0].date_at(level) for level in LEVELS]
    assert dates == sorted(dates)
    assert forecast.rows[0].date_at(0.5) - date(2020, 1, 1) + timedelta(days=1) == timedelta(
        days=int(np.ceil(forecast.rows[0].day(0.5)))
    )


@pytest.mark.parametrize("stage", ["dormant", "swelling"])
def test_buds_seen_at_rest_in_autumn_bring_the_next_season(stage):
    """A look on 11 December 2019 belongs to 2020's flush and lies before its day 1 (t = -20)."""
    records = growing(a_nursery(), (-20, stage))
    rows = rows_of(records, 354, season=2019)
    assert {r.season for r in rows.values()} == {2020}
    assert rows["budbreak"].seen == (date(2019, 12, 11), None)
    before = rows_of(a_nursery(), 10)
    after = rows_of(records, 10)
    for name in before:  # closed buds three weeks before the season say nothing that was not known
        assert after[name].day(0.5) == pytest.approx(before[name].day(0.5), abs=0.01)


def test_a_bud_break_before_the_season_begins_still_starts_the_wait():
    """Indoors or after a warm autumn: green tips on 28 December belong to the season to come."""
    rows = rows_of(growing(a_nursery(), (-15, "dormant"), (-3, "budbreak")), 20)
    assert set(rows) == {"extended", "hardened"}
    assert rows["extended"].day(0.5) < rows_of(a_nursery(), 20)["extended"].day(0.5)
    late = growing(a_nursery(), (-15, "dormant"), (-3, "budbreak"), (60, "extended"), (90, "hardened"))
    assert rows_of(late, 100)["hardened"].arrival is None


def test_a_flush_that_hardens_after_the_turn_of_the_season_is_learned_from():
    records = a_nursery()
    cut = records.work("elm", 2019, 320, "cutback")
    late = records.flush("elm", 2019, "work", started_on=day(2019, 320), work_id=cut)
    for n, stage in ((340, "budbreak"), (390, "extended"), (420, "hardened")):
        records.look(late, n, stage)
    rows = rows_of(records, 70)
    assert {r.season for r in rows.values()} == {2020} and set(rows) == {"budbreak", "extended", "hardened"}
