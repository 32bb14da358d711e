"""What looks and work say of each flush, and the waits that can be learned from."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest

from phenology.learning.flush_history import WORK_REACH, histories
from phenology.learning.transitions import Transition
from phenology.model.records import Place, Stand
from phenology.model.season import NEVER
from tests.phenology.gardens import NORTH, Records, day

END = date(2020, 12, 31)
STEP = Transition("extended", "hardened")


def one(records: Records, as_of=END):
    (history,) = histories(records.garden(as_of))
    return history


def a_tree() -> Records:
    records = Records()
    records.tree("elm")
    return records


def test_looks_bracket_every_stage():
    records = a_tree()
    records.a_season("elm", 2020, 100, 130, 160)
    history = one(records)
    assert history.came == {"budbreak": (98, 102), "extended": (128, 132), "hardened": (158, 162)}
    assert (history.number, history.stage, history.last_look) == (1, "hardened", 162)
    assert history.begun("start") == (0, 0) and history.begun("work") is None
    assert history.begun("budbreak") == (98, 102)


def test_waits_run_between_the_intervals():
    records = a_tree()
    records.a_season("elm", 2020, 100, 130, 160)
    wait = one(records).wait(STEP)
    assert (wait.anchor, wait.target, wait.season, wait.later) == ((128, 132), (158, 162), 2020, False)
    whole = one(records).wait(Transition("start", "hardened"))
    assert (whole.anchor, whole.target) == ((0, 0), (158, 162))
    assert one(records).wait(Transition("work", "budbreak")) is None


def test_a_stage_not_yet_seen_is_an_open_wait():
    records = a_tree()
    flush = records.flush("elm", 2020)
    for n, stage in ((98, "dormant"), (102, "budbreak"), (120, "extending")):
        records.look(flush, n, stage)
    wait = one(records).wait(Transition("budbreak", "extended"))
    assert wait.target == (120, NEVER)
    assert one(records).wait(STEP) is None


def test_no_look_since_a_wait_began_says_nothing_of_it():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 98, "dormant")
    records.look(flush, 102, "budbreak")
    assert one(records).wait(Transition("budbreak", "extended")) is None


def test_one_first_look_for_both_ends_teaches_nothing():
    records = a_tree()
    records.look(records.flush("elm", 2020), 160, "hardened")
    assert one(records).wait(STEP) is None
    assert one(records).wait(Transition("start", "hardened")).target == (146, 160)


def test_a_first_look_is_fresh_for_the_stage_it_finds_and_says_little_of_those_before():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 120, "extending")
    assert one(records).wait(Transition("start", "budbreak")).target == (0, 120)
    records.look(flush, 110, "budbreak")
    assert one(records).wait(Transition("start", "budbreak")).target == (96, 110)


def test_a_stage_first_found_past_begins_no_wait():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 140, "extended")
    records.look(flush, 158, "extended")
    records.look(flush, 163, "hardened")
    history = one(records)
    assert history.wait(Transition("budbreak", "hardened")) is None  # bud break: some time before day 140
    assert history.wait(STEP).target == (158, 163)  # but the shoots had stopped not long before


def test_leaves_that_only_work_shows_hard_became_so_in_the_weeks_before():
    records = a_tree()
    records.flush("elm", 2020)
    records.work("elm", 2020, 170, "halving")
    wait = one(records).wait(Transition("start", "hardened"))
    assert wait.target == (170 - WORK_REACH, 170)


def test_a_date_of_hardening_alone_is_a_wait_from_the_seasons_start():
    records = a_tree()
    records.look(records.flush("elm", 2020), 158, "hardened", kind="happened", until=162)
    assert one(records).wait(Transition("start", "hardened")).target == (157, 162)


def test_a_date_of_hardening_alone_says_nothing_of_the_steps_before():
    records = a_tree()
    records.look(records.flush("elm", 2020), 158, "hardened", kind="happened", until=162)
    history = one(records)
    assert history.wait(STEP) is None
    assert history.wait(Transition("budbreak", "extended")) is None
    assert history.wait(Transition("budbreak", "hardened")) is None


def test_a_lost_flush_teaches_what_came_before_the_loss_and_how_long_it_was_watched():
    records = a_tree()
    flush = growing(records)
    records.look(flush, 140, "extended")
    records.look(flush, 146, "hardened", lost=True)
    history = one(records)
    assert history.lost
    assert history.wait(Transition("budbreak", "extended")).target == (125, 132)
    assert history.wait(Transition("extended", "hardened")).target == (140, NEVER)


def growing(records: Records) -> str:
    flush = records.flush("elm", 2020)
    for n, stage in ((98, "dormant"), (102, "budbreak"), (125, "extending"), (132, "extended")):
        records.look(flush, n, stage)
    return flush


@pytest.mark.parametrize("operation", ["cutback", "halving", "partial-defoliation"])
def test_shaping_without_a_look_shows_it_hard_by_then(operation):
    records = a_tree()
    growing(records)
    records.work("elm", 2020, 170, operation)
    assert one(records).came["hardened"] == (132, 170)


@pytest.mark.parametrize("operation", ["wiring", "pinching"])
def test_work_of_another_kind_shows_nothing(operation):
    records = a_tree()
    growing(records)
    records.work("elm", 2020, 170, operation)
    assert one(records).came["hardened"] == (132, NEVER)


def test_work_marked_early_shows_the_leaves_were_not_hard_yet():
    records = a_tree()
    growing(records)
    records.work("elm", 2020, 170, "cutback", early=True)
    assert one(records).came["hardened"] == (170, NEVER)
    assert one(records).came["extended"] == (125, 132)


def test_work_marked_early_after_a_look_that_said_hard_takes_nothing_back():
    records = a_tree()
    flush = growing(records)
    records.look(flush, 160, "hardened")
    records.work("elm", 2020, 170, "cutback", early=True)
    assert one(records).came["hardened"] == (132, 160)


def test_a_look_after_the_work_has_the_last_word():
    records = a_tree()
    flush = growing(records)
    records.work("elm", 2020, 150, "halving")
    records.look(flush, 155, "extended")
    assert one(records).came["hardened"] == (155, NEVER)


@pytest.mark.parametrize("seen", [True, False])
def test_a_cut_before_bud_break_prunes_and_shows_nothing_hard(seen):
    records = a_tree()
    flush = records.flush("elm", 2020)
    if seen:
        records.look(flush, 32, "dormant")
    else:
        records.look(flush, 120, "extending")
    records.work("elm", 2020, 41, "cutback")
    assert one(records).came.get("hardened", (0, NEVER))[1] == NEVER


def test_after_winter_pruning_the_summers_cut_still_counts():
    records = a_tree()
    records.work("elm", 2020, 41, "cutback")
    growing(records)
    records.work("elm", 2020, 170, "cutback")
    assert one(records).came["hardened"] == (132, 170)


def test_work_wakes_a_later_flush_that_starts_on_its_day():
    records = a_tree()
    records.a_season("elm", 2020, 100, 130, 160)
    work = records.work("elm", 2020, 170, "cutback")
    second = records.flush("elm", 2020, "work", started_on=day(2020, 170), work_id=work)
    records.look(second, 180, "dormant")
    records.look(second, 186, "budbreak")
    first, later = histories(records.garden(END))
    assert (first.number, later.number) == (1, 2)
    assert later.woken == (169, 170) and later.begun("start") is None
    wait = later.wait(Transition("work", "budbreak"))
    assert wait.later and wait.target == (180, 186)
    assert first.came["hardened"] == (158, 162)


def test_as_of_an_earlier_day_later_looks_are_not_there():
    records = a_tree()
    records.a_season("elm", 2020, 100, 130, 160)
    history = one(records, day(2020, 140))
    assert history.stage == "extended" and history.came["hardened"] == (132, math.inf)


def test_a_tree_that_moved_has_a_site_of_its_own():
    records = a_tree()
    records.tree("other")
    records.stands.append(type(records.stands[0])("m", "elm", "bench", day(2020, 61)))
    records.flush("elm", 2020)
    records.flush("other", 2020)
    garden = records.garden(END)
    sites = {t.id: garden.site(t, 2020) for t in garden.trees}
    assert sites["elm"] == ((0, "bench"), (60, "bench")) and sites["other"] == ((0, "bench"),)
    assert garden.calendar == NORTH


def test_of_two_stages_on_one_day_the_later_stands():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 100, "extending")
    records.look(flush, 130, "extending")
    records.look(flush, 130, "extended")
    assert one(records).came["extended"] == (100, 130)


def test_a_look_at_the_inside_does_not_speak_for_the_flush():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 120, "extending")
    records.look(flush, 130, "hardened", part="inside")
    assert one(records).came["hardened"] == (120, NEVER)


def test_a_look_at_a_part_counts_where_none_speaks_for_the_whole():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 130, "extending", part="top")
    assert one(records).came["extended"] == (130, NEVER)


def test_growth_that_was_checked_is_neither_extended_nor_hardened():
    records = a_tree()
    flush = records.flush("elm", 2020)
    records.look(flush, 130, "extended", checked=True)
    assert one(records).came["extended"] == (130, NEVER)


@pytest.mark.parametrize("stage", ["extended", "hardened"])
def test_what_had_come_before_growth_was_checked_has_come(stage):
    records = a_tree()
    flush = records.flush("elm", 2020)
    for n, seen, checked in ((100, "budbreak", False), (140, stage, False), (150, stage, True)):
        records.look(flush, n, seen, checked=checked)
    history = one(records)
    assert history.came[stage] == (100, 140) and not history.contradiction


def test_looks_that_go_backward_leave_the_rest_standing_and_are_told():
    records = a_tree()
    flush = records.flush("elm", 2020)
    for n, stage in ((90, "dormant"), (100, "budbreak"), (140, "hardened"), (150, "extending")):
        records.look(flush, n, stage)
    history = one(records)
    assert history.came == {"budbreak": (90, 100)}
    assert "day 150" in history.contradiction


def test_halving_the_day_after_a_cut_belongs_to_the_cut():
    """It neither closes the flush that the cut woke nor says that it is hard."""
    records = Records()
    records.tree("T")
    first = records.flush("T", 2020)
    records.look(first, 155, "hardened")
    cut = records.work("T", 2020, 158, "cutback")
    records.flush("T", 2020, "work", started_on=day(2020, 158), work_id=cut)
    records.work("T", 2020, 159, "halving")
    whole, woken = histories(records.garden(day(2020, 170)))
    assert whole.worked and not woken.worked and woken.came == {}
    records.work("T", 2020, 215, "halving")
    assert histories(records.garden(day(2020, 220)))[1].worked


def test_a_season_is_read_once_for_gardens_that_hold_the_very_same_records_of_it():
    records = Records.of("elm", past=(2018, 2019))
    records.places.append(Place("roof", "Roof", 45.0, 7.0))
    one = records.garden(date(2020, 1, 1))
    known = {h.flush.season: h for h in histories(one)}
    *others, last = one.looks
    later = replace(last, earliest=day(2019, 170), latest=day(2019, 170))
    for looks in ([*others, later], others):
        found = {h.flush.season: h for h in histories(one.with_records({"elm": (one.flushes, looks)}))}
        assert found[2018] is known[2018]
        assert found[2019].came["hardened"] != known[2019].came["hardened"]
    moved = replace(one, stands=[Stand("s", "elm", "roof")])
    assert [h.site for h in histories(moved)] == [((0, "roof"),)] * 2
    assert [h.site for h in histories(one)] == [((0, "bench"),)] * 2
