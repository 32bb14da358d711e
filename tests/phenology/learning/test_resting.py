"""Buds that stay shut after late cuts: believed of late cuts only, learned where they were seen."""

from __future__ import annotations

from phenology.forecasting.flush_forecast import forecast_stages
from phenology.learning.garden_fit import GardenFit
from phenology.learning.resting import Resting
from phenology.learning.transitions import Transition
from tests.phenology.gardens import ELM, Records, day

FIG = "Ficus microcarpa"
LONGEST, CUT = 172.0, 232


def late_cuts(shut: int, grew: int, species: str = ELM, cut_now: bool = False):
    """A tree cut on day 232 of past years: after some cuts its buds stayed shut, after others they grew."""
    r = Records()
    r.tree("T", species)
    seasons = [2019 - k for k in range(shut + grew)]
    for k, season in enumerate([*seasons, *([2020] if cut_now else [])]):
        r.a_season("T", season, 110, 140, 160)
        cut = r.work("T", season, CUT, "cutback")
        woken = r.flush("T", season, "work", started_on=day(season, CUT), work_id=cut)
        if season < 2020:
            r.look(woken, *((CUT + 70, "dormant") if k < shut else (CUT + 20, "budbreak")))
    return r.garden(day(2020, CUT + 15))


def test_only_late_cuts_may_rest():
    usual = Resting.learned(LONGEST, [])
    chances = [usual.chance(LONGEST + days) for days in range(-60, 150, 10)]
    assert chances == sorted(chances)
    assert usual.chance(LONGEST + 30) < 0.01 and usual.chance(LONGEST + 130) > 0.9


def test_what_was_seen_moves_it_either_way():
    day = LONGEST + 60
    usual = Resting.learned(LONGEST, []).chance(day)
    assert Resting.learned(LONGEST, [(day, True)] * 3).chance(day) > 2 * usual
    assert Resting.learned(LONGEST, [(day, False)] * 5).chance(day) < usual


def test_where_days_hardly_differ_nothing_rests():
    assert Resting.learned(None, [(230.0, True)]).chance(300.0) == 0.0


def test_cuts_on_record_teach_it_and_their_buds_at_rest_are_no_long_wait():
    shut, grew = GardenFit(late_cuts(3, 0)), GardenFit(late_cuts(0, 3))
    assert shut.rests(ELM, CUT) > 0.2 > 0.08 > grew.rests(ELM, CUT)
    assert not shut.waits(Transition("work", "budbreak"))
    assert len(grew.waits(Transition("work", "budbreak"))) == 3


def test_a_tree_of_warm_winters_does_not_rest():
    assert GardenFit(late_cuts(3, 0, FIG)).rests(FIG, 300.0) == 0.0


def test_the_forecast_of_a_late_cut_leaves_room_for_buds_that_stay_shut():
    never = {}
    for shut in (0, 3):
        ahead = {one.stage: one.arrival for one in forecast_stages(late_cuts(shut, 3 - shut, cut_now=True))}
        never[shut] = ahead["budbreak"].p_not
        assert ahead["hardened"].p_not >= never[shut]
    assert never[3] > 0.25 > 0.1 > never[0]


def test_buds_still_shut_weeks_after_a_late_cut_are_likelier_to_stay_so():
    r = Records()
    r.tree("T")
    r.a_season("T", 2020, 110, 140, 160)
    cut = r.work("T", 2020, 235, "cutback")
    woken = r.flush("T", 2020, "work", started_on=day(2020, 235), work_id=cut)
    r.look(woken, 236, "dormant")
    never = []
    for looked in (240, 260, 280):
        r.look(woken, looked, "dormant")
        ahead = {one.stage: one.arrival for one in forecast_stages(r.garden(day(2020, looked)))}
        never.append(ahead["budbreak"].p_not)
    assert never[0] < never[1] < never[2]
