"""Windows and the round, on invented gardens."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from phenology.advice.adviser import stop_days
from phenology.advice.agenda import make_agenda, plan_round
from phenology.advice.care import CareDue
from phenology.advice.forecast_rows import NEVER
from phenology.advice.garden_forecast import forecast_garden
from phenology.advice.plan import Planner
from phenology.advice.windows import windows
from phenology.model.records import Aim
from phenology.weather.series import DailyWeather
from phenology.work.answer import may_i
from phenology.work.case import Case
from phenology.work.duties import TENDER_C
from reports.views.ahead_text import review_lines
from tests.phenology.gardens import BEECH, Records, day, weather


def garden_of(r: Records, n: int, season: int = 2020):
    """Three past seasons of two trees, and this one as far as `r` tells it."""
    return r.garden(day(season, n))


def walk_of(garden):
    return plan_round(make_agenda(forecast_garden(garden)))


def with_past() -> Records:
    past, repotted = (2017, 2018, 2019), date(2019, 3, 1)
    return Records.of("Elm 1", "Elm 2", past=past, days=(100, 130, 150), last_repot=repotted)


def test_an_open_window_is_the_first_stop_and_says_what_waiting_costs():
    r = with_past()
    r.a_season("Elm 1", 2020, 99, 130, 150)
    forecast = forecast_garden(garden_of(r, 156))
    walk = plan_round(make_agenda(forecast))
    assert walk.visits[0].tree.label == "Elm 1" and walk.visits[0].rank == 0
    assert "still hard: cutback" in walk.visits[0].because and walk.review is None
    (window,) = [w for w in windows(forecast) if w.row.tree.label == "Elm 1"]
    assert window.is_open and window.opens[1] == day(2020, 152)
    assert window.closes is not None and window.odds is not None and "frost" in window.closes_why


def test_a_look_that_changes_nothing_is_left_out():
    r = with_past()
    r.aims.append(Aim("a", "Elm 2", "building"))
    for name in ("Elm 1", "Elm 2"):
        r.seen(name, 2020, (100, "budbreak"), (131, "extended"))
    labels = {v.tree.label for v in walk_of(garden_of(r, 150)).visits}
    assert labels == {"Elm 1"}
    assert not walk_of(garden_of(r, 133)).visits  # far too early to ask


def test_swelling_is_looked_for_where_roots_are_due():
    r = with_past()
    r.trees[0] = replace(r.trees[0], last_repot=date(2017, 3, 1))
    walk = walk_of(garden_of(r, 90))
    # in passing it is pruned too: what may keep its leaves all winter is as buds swell
    looked_at = [(v.tree.label, v.operation) for v in walk.visits if v.operation and v.look]
    assert looked_at == [("Elm 1", "repotting")]
    opening = [w for w in windows(forecast_garden(garden_of(r, 60))) if w.operation == "repotting"]
    assert {w.row.tree.label for w in opening} == {"Elm 1", "Elm 2"}
    assert all(w.opens[0] < w.opens[2] and w.closes > w.opens[1] for w in opening)

    r.work("Elm 1", 2020, 55, "repotting")  # as a notebook brings it in, with nothing on the tree's card
    r.trees[1] = replace(r.trees[1], last_repot=None, vigour="newly collected")
    assert not [v for v in walk_of(garden_of(r, 90)).visits if v.operation and v.look]
    assert "repotting" not in {w.operation for w in windows(forecast_garden(garden_of(r, 60)))}


def test_care_after_work_is_on_the_round_until_a_look_answers():
    r = with_past()
    r.a_season("Elm 1", 2020, 99, 130, 150)
    work = r.work("Elm 1", 2020, 156, "cutback")
    woken = r.flush("Elm 1", 2020, "work", started_on=day(2020, 156), work_id=work)
    week = walk_of(garden_of(r, 164))
    assert any("aphids" in v.look_for for v in week.visits)
    r.look(woken, 163, "dormant")
    assert not any("aphids" in v.look_for for v in walk_of(garden_of(r, 164)).visits)
    third_week = walk_of(garden_of(r, 178))
    assert any("buds moving" in v.look_for and "22 days ago" in v.because for v in third_week.visits)
    r.look(woken, 176, "budbreak")
    assert not any("buds moving" in v.look_for for v in walk_of(garden_of(r, 178)).visits)


def test_wire_presses_when_it_is_due():
    r = with_past()
    r.work("Elm 2", 2020, 140, "wiring", note="this year's shoots")
    walk = walk_of(garden_of(r, 163))
    (wire,) = [v for v in walk.visits if v.operation == "wire-removal"]
    assert wire.rank == 0 and wire.because == "wired 23 days ago"


def test_off_season_there_is_a_review():
    r = with_past()
    walk = walk_of(garden_of(r, 15))
    assert walk.visits and walk.review is not None
    assert all(v.rank == 2 and v.by is None for v in walk.visits)  # the winter list, which can wait
    early, usual = walk.review.first_frost
    middle, late = walk.review.last_frost
    assert date(2020, 8, 15) < early < usual < date(2021, 1, 15)
    assert date(2020, 2, 1) < middle < late < date(2020, 6, 15)
    assert walk.review.share == 1.0
    assert walk.review.repot == ()  # both were repotted last spring
    r.trees[0] = replace(r.trees[0], last_repot=None)
    r.tree("Azalea", "Rhododendron indicum")  # its roots are cut after bloom, not as buds swell
    r.tree("Sick elm", "Ulmus parvifolia", vigour="sick")
    walk = walk_of(garden_of(r, 15))
    assert [t.label for t, _ in walk.review.repot] == ["Elm 1"]
    assert {v.operation for v in walk.visits if v.tree.label == "Sick elm"} == {None}  # nor cut nor wired


def test_the_last_frost_of_a_review_is_still_to_come():
    r = Records.of("Beech", species=BEECH, past=(2018, 2019), days=(145, 165, 185))
    walk = walk_of(garden_of(r, 75))
    assert walk.review is not None and day(2020, 75) < walk.review.last_frost[1] < day(2020, 160)
    frosts = [line.split(":")[0] for line in review_lines(walk.review) if " frost: " in line]
    assert frosts == ["Last frost", "First frost"]  # in the order in which they come


def test_retired_trees_are_not_visited():
    r = with_past()
    r.trees[1] = replace(r.trees[1], retired=day(2020, 100))
    r.work("Elm 2", 2020, 90, "wiring")
    assert "Elm 2" not in {v.tree.label for v in walk_of(garden_of(r, 150)).visits}


def with_ahead(n: int, low: float, high: float) -> DailyWeather:
    """The weather to a day, and a forecast of three more, whose last is as told."""
    known = weather(45.0)
    until = known.index(day(2020, n)) + 4
    tmin, tmax = known.tmin[:until].copy(), known.tmax[:until].copy()
    tmin[-1], tmax[-1] = low, high
    source = np.array(["station"] * (until - 3) + ["forecast"] * 3)
    return DailyWeather(known.first_day, tmin, tmax, source)


@pytest.mark.parametrize("n, low, high, better", [(156, 12.0, 37.0, "better from"),
                                                 (90, -4.0, 8.0, "better once frost is over")])  # fmt: skip
def test_work_of_today_waits_for_heat_or_frost_that_is_ahead_as_it_does_when_asked(n, low, high, better):
    r = with_past()
    r.trees[0] = replace(r.trees[0], last_repot=date(2017, 3, 1))
    if n > 150:
        r.a_season("Elm 1", 2020, 99, 130, 150)
    garden = replace(garden_of(r, n), weather={"bench": with_ahead(n, low, high)})
    agenda = make_agenda(forecast_garden(garden))
    (visit,) = [v for v in plan_round(agenda).visits if v.tree.label == "Elm 1" and v.operation and v.look]
    assert better in visit.because
    asked = may_i(Case(garden, garden.trees[0], visit.operation, garden.as_of))
    assert asked.when in visit.because and asked.answer == "better wait"
    if visit.step is not None:
        assert better in visit.step.advice.does


@pytest.mark.parametrize("n, cut, told", [(90, None, False), (106, None, True), (150, 120, True)])
def test_frost_is_told_of_growth_that_has_probably_broken_though_nobody_looked(n, cut, told):
    r = with_past()
    if cut is not None:
        r.seen("Elm 1", 2020, (90, "budbreak"), (110, "hardened"))
        r.flushes[-1] = replace(r.flushes[-1], ended_on=day(2020, cut), ended_why="cutback")
        work = r.work("Elm 1", 2020, cut, "cutback")
        r.flush("Elm 1", 2020, "work", started_on=day(2020, cut), work_id=work)
    garden = replace(garden_of(r, n), weather={"bench": with_ahead(n, -3.0, 9.0)})
    care = make_agenda(forecast_garden(garden)).care
    assert any(c.care == "frost" and c.tree.label == "Elm 1" for c in care) == told


def test_a_refused_window_says_why_and_is_not_visited():
    r = with_past()
    r.tree("Beech", BEECH, vigour="weak")
    r.a_season("Beech", 2020, 105, 130, 150)
    forecast = forecast_garden(garden_of(r, 156))
    (window,) = [w for w in windows(forecast) if w.row.tree.label == "Beech"]
    assert "Beech is weak" in window.refused
    assert "Beech" not in {v.tree.label for v in plan_round(make_agenda(forecast)).visits}


def test_windows_come_open_ones_first_then_by_date():
    r = with_past()
    r.a_season("Elm 1", 2020, 99, 130, 150)
    found = windows(forecast_garden(garden_of(r, 156)))
    assert [w.is_open for w in found] == sorted((w.is_open for w in found), reverse=True)
    assert found[0].is_open and day(2020, 156) - timedelta(30) < found[0].opens[1]
    assert all(w.closes is None or w.closes >= day(2020, 156) for w in found if w.operation != "cutback")

    r.look(r.flushes[-1].id, 330, "bare")  # nobody knows yet how late the next season will be for a cut
    coming = [w for w in windows(forecast_garden(garden_of(r, 340))) if w.row.season > 2020]
    assert {w.operation for w in coming} == {"repotting"}


@pytest.mark.parametrize("latin, when", [("Rhododendron indicum", "as the flowers fade"),
                                         ("Camellia sasanqua", "as hard frost ends")])  # fmt: skip
def test_a_tree_shaped_by_its_bloom_is_not_sent_to_be_cut_by_its_leaves(latin, when):
    r = with_past()
    r.tree("Flowers", latin)
    r.a_season("Flowers", 2020, 105, 130, 150)
    garden = garden_of(r, 160)
    forecast = forecast_garden(garden)
    (row,) = [row for row in forecast.rows if row.tree.label == "Flowers"]
    assert row.operation is None and row.refused is not None and f"is shaped {when}" in row.refused.sentence
    (window,) = [w for w in windows(forecast) if w.row.tree.label == "Flowers"]
    assert when in window.refused
    plan = Planner(garden).plan(r.trees[-1])
    assert plan.last_safe is None  # its stop is when next year's buds are set, and no frost tells that
    for branch in (branch for flush in plan.flushes for branch in flush.branches):
        assert branch.opens == NEVER and branch.until > garden.as_of and branch.ripens is None


def test_a_second_flush_that_is_left_on_is_not_said_to_be_out_of_refinement():
    r = with_past()
    r.tree("Beech", BEECH)
    r.a_season("Beech", 2020, 105, 130, 150)
    r.flushes[-1] = replace(r.flushes[-1], ended_on=day(2020, 154), ended_why="cutback")
    cut = r.work("Beech", 2020, 154, "cutback")
    r.seen("Beech", 2020, (175, "budbreak"), (190, "extended"), started_by="work", work_id=cut)
    agenda = make_agenda(forecast_garden(garden_of(r, 195)))
    (row,) = [row for row in agenda.rows if row.tree.label == "Beech"]
    assert row.reason == "this flush opens nothing: leave it alone"
    assert not [w for w in windows(agenda.forecast) if w.row.tree.label == "Beech"]


def test_a_tree_grown_for_flower_is_cut_until_its_buds_are_set():
    r = with_past()
    for name, grown_for in (("Flowers", None), ("Leaves", "leaf")):
        r.tree(name, "Prunus mume", grown_for=grown_for)
        r.a_season(name, 2020, 105, 130, 150)
    garden = garden_of(r, 156)
    closes = {w.row.tree.label: (w.closes, w.closes_why) for w in windows(forecast_garden(garden))}
    assert (
        closes["Flowers"][0] < closes["Leaves"][0]
        and closes["Flowers"][1] == "next year's flower buds are set by then"
    )
    stops = stop_days(garden)
    for tree in r.trees[-2:]:  # told alike wherever it is told
        told = closes[tree.label][0]
        assert Planner(garden).plan(tree).last_safe == told == garden.calendar.date(2020, stops[tree.id])
    later = forecast_garden(garden_of(r, garden.calendar.day(closes["Flowers"][0]) + 1))
    assert [w.operation for w in windows(later) if w.row.tree.label == "Flowers"] == ["halving"]


def test_soft_tips_are_pinched_where_that_is_in_time_and_by_no_window_where_roots_were_cut():
    r = with_past()
    for name in ("Maple", "Cut roots"):
        r.tree(name, "Acer palmatum")
    for season in (2018, 2019):
        r.a_season("Maple", season, 125, 150, 190)
    r.work("Cut roots", 2020, 50, "repotting")
    opening = windows(forecast_garden(garden_of(r, 60)))
    assert {w.row.tree.label for w in opening if w.operation == "pinching"} == {"Maple"}

    r.seen("Maple", 2020, (126, "budbreak"))
    mild = weather(45.0)
    cold = replace(mild, tmin=mild.tmin - 6, tmax=mild.tmax - 6)
    forecast = forecast_garden(r.garden(day(2020, 128), weather={"bench": cold}))
    (hard,) = [row for row in forecast.rows if row.tree.label == "Maple" and row.stage == "hardened"]
    assert any(s.startswith("by then too late to wake growth") for s in hard.advice.sentences())
    care = [c.care for c in make_agenda(forecast).care if c.tree.label == "Maple"]
    assert "pinching" in care  # early in the season it is not too late


def test_roots_cut_this_season_are_not_why_a_late_cut_waits():
    r = with_past()
    r.a_season("Elm 1", 2020, 105, 130, 150)
    r.work("Elm 1", 2020, 90, "repotting")
    (row,) = [row for row in forecast_garden(garden_of(r, 315)).rows if row.tree.label == "Elm 1"]
    assert row.refused is not None and row.refused.sentence.startswith("so late a cut rests")


def test_late_growth_is_not_fed_and_a_tree_with_two_flushes_has_its_winter_too():
    r = with_past()
    for name, hard, n in (("Elm 1", 150, 156), ("Elm 2", 205, 212)):
        r.a_season(name, 2020, 99, 130, hard)
        bared = r.work(name, 2020, n, "partial-defoliation")
        r.flush(name, 2020, "work", started_on=day(2020, n), work_id=bared)
    for name, n, fed in (("Elm 1", 175, True), ("Elm 2", 230, False)):
        care = {c.care for c in make_agenda(forecast_garden(garden_of(r, n))).care if c.tree.label == name}
        assert ("feed" in care, "no feed" in care) == (fed, not fed)
        r.look(next(f.id for f in r.flushes if f.tree_id == name and f.work_id), 330, "bare")
    winter = make_agenda(forecast_garden(garden_of(r, 345))).care
    assert {c.tree.label for c in winter if c.care == "winter shelter"} == {"Elm 1", "Elm 2"}
    cold = weather(45.0)
    warm = replace(cold, tmin=cold.tmin + 20, tmax=cold.tmax + 20)
    mild = make_agenda(forecast_garden(r.garden(day(2020, 345), weather={"bench": warm}))).care
    assert mild and "winter shelter" not in {c.care for c in mild}  # where it never freezes


def test_a_tree_at_which_nobody_looked_is_sheltered_once_leaves_are_taken_to_be_down():
    """No look has shown its leaves hard, but they came to be long ago; the winter is told of all the same."""
    r = Records()
    r.tree("Elm", "Ulmus parvifolia")
    told = {n: {c.care for c in make_agenda(forecast_garden(garden_of(r, n))).care} for n in (290, 325)}
    assert ("winter shelter" in told[290], "winter shelter" in told[325]) == (False, True)


def test_a_tropical_tree_outside_is_told_to_come_in_before_the_nights_are_cold():
    """Also where nobody brings a forecast; a greenhouse keeps it, a shade net does not."""
    r = Records()
    r.tree("Fig", "Ficus microcarpa")
    r.tree("Elm", "Ulmus parvifolia")

    def told(n: int, cover: str = "open") -> dict[str, CareDue]:
        garden = r.garden(day(2020, n), weather={"bench": weather(45.0)})
        garden = replace(garden, places=[replace(place, cover=cover) for place in garden.places])
        return {c.tree.label: c for c in make_agenda(forecast_garden(garden)).care if c.care == "indoors"}

    night = weather(45.0)
    cold = night.tmin <= TENDER_C
    first = next(n for n in range(200, 366) if cold[(day(2020, n) - night.first_day).days])
    assert not told(first - 60)["Fig"].due and list(told(first)) == ["Fig"]
    assert told(first)["Fig"].due and told(345)["Fig"].due and not told(180)["Fig"].due
    assert told(first, "shade net") and not told(first, "greenhouse")


LIKELY = 0.25


def test_the_round_asks_wherever_a_look_is_likely_to_change_what_is_advised():
    """From the forecast itself: a tree is visited when the chance is one in four, or it closes today."""
    asked = 0
    for n in range(90, 175, 8):
        r = with_past()
        for k, name in enumerate(("Elm 1", "Elm 2")):
            flush = r.flush(name, 2020)
            for day_seen, stage in ((88, "dormant"), (101 + k, "budbreak"), (128 + k, "extending")):
                if day_seen <= n - 5:  # nobody looked in the last days
                    r.look(flush, day_seen, stage)
        agenda = make_agenda(forecast_garden(garden_of(r, n)))
        visited = {v.tree.id: v.step for v in plan_round(agenda).visits if v.step is not None}
        for row in agenda.rows:
            likely = [step for step in row.steps if step.change_by_look >= LIKELY + 0.02]
            assert not likely or row.tree.id in visited
            step = visited.get(row.tree.id)
            assert (
                step is None or step.change_by_look >= LIKELY - 0.02 or step.last_safe == agenda.garden.as_of
            )
        asked += len(visited)
    assert 2 < asked < 15


def test_what_a_look_decides_nothing_of_does_not_move_when_it_is_made():
    r = with_past()
    r.aims.append(Aim("a", "Elm 1", "building"))
    flush = r.flush("Elm 1", 2020)
    r.look(flush, 100, "budbreak")
    before = forecast_garden(garden_of(r, 150))
    (row,) = [one for one in before.rows if one.tree.id == "Elm 1" and one.stage == "hardened"]
    assert row.change_by_look == 0 and row.operation is None
    r.look(flush, 150, "hardened")
    after = [one for one in forecast_garden(garden_of(r, 150)).rows if one.tree.id == "Elm 1"]
    assert [one.operation for one in after if one.stage == "hardened"] in ([], [None])
