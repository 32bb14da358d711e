"""The agenda: every living tree once, in one part of the days ahead, and what to look for on it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from phenology.advice.agenda import AgendaRow, Section, make_agenda, plan_round
from phenology.advice.garden_forecast import forecast_garden
from phenology.model.records import Aim, Place
from tests.phenology.gardens import BEECH, ELM, Records, day


def agenda_on(records: Records, season: int, n: float):
    return make_agenda(forecast_garden(records.garden(day(season, n))))


def only(records: Records, season: int, n: float) -> AgendaRow:
    """The one row of a garden of one tree."""
    (row,) = agenda_on(records, season, n).rows
    return row


def elms(*names: str) -> Records:
    """Trees with three past seasons."""
    return Records.of(*names, past=(2017, 2018, 2019), days=(100, 130, 150), last_repot=day(2019, 60))


def never_looked_at() -> Records:
    records = Records.of("elm", species=ELM)
    return records


def test_a_tree_goes_through_the_sections_as_its_day_comes():
    records = elms("Elm")
    seen = {n: only(records, 2020, n).section for n in (20, 60, 85, 100)}
    assert seen == {20: Section.LATER, 60: Section.LATER, 85: Section.WEEK, 100: Section.TODAY}
    assert "worth a look from" in only(records, 2020, 60).reason
    flush = records.flush("Elm", 2020)
    for n, stage in ((100, "budbreak"), (131, "extended")):
        records.look(flush, n, stage)
    row = only(records, 2020, 150)
    assert row.section is Section.TODAY and row.reason.startswith("if hard: cutback")
    assert row.state.stage == "extended" and row.state.on == day(2020, 131)
    assert row.last_safe is not None and row.ahead is not None and row.ahead.stage == "hardened"


def test_what_nobody_would_decide_by_is_left_with_its_reason():
    records = elms("Elm 1", "Elm 2")
    records.aims.append(Aim("a", "Elm 2", "building"))
    for name in ("Elm 1", "Elm 2"):
        records.seen(name, 2020, (100, "budbreak"), (131, "extended"))
    rows = {row.tree.label: row for row in agenda_on(records, 2020, 150).rows}
    assert rows["Elm 1"].section is Section.TODAY
    assert rows["Elm 2"].section is Section.LEAVE and rows["Elm 2"].reason == "not being refined"
    assert rows["Elm 2"].ahead is not None  # and still it has its date


def test_a_hard_flush_that_was_worked_waits_for_the_next_spring():
    records = elms("Elm")
    records.a_season("Elm", 2020, 99, 130, 150)
    records.work("Elm", 2020, 155, "halving")
    row = only(records, 2020, 200)
    assert row.section is Section.LEAVE and not row.steps
    assert row.spring is not None and (row.spring.season, row.spring.stage) == (2021, "budbreak")
    assert day(2020, 366) < row.spring.date_at(0.1) < row.spring.date_at(0.5) < row.spring.date_at(0.9)


def test_today_is_the_round_and_the_round_is_today():
    records = elms("Elm 1", "Elm 2", "Elm 3")
    for n, name in enumerate(("Elm 1", "Elm 2")):
        records.seen(name, 2020, (100 + n, "budbreak"), (131, "extended"))
    records.work("Elm 3", 2020, 120, "wiring", note="this year's shoots")
    for n in range(60, 330, 27):
        agenda = agenda_on(records, 2020, n)
        today = {row.tree.label for row in agenda.of(Section.TODAY)}
        assert today == {visit.tree.label for visit in plan_round(agenda).visits if visit.look}


@pytest.mark.parametrize("n, stage", [(60, "budbreak"), (200, "hardened"), (290, "hardened")])
def test_a_bud_break_that_is_long_past_gives_way_to_hardening(n, stage):
    (step,) = only(never_looked_at(), 2020, n).steps
    assert step.stage == stage


def test_buds_seen_closed_late_are_still_waited_for():
    records = never_looked_at()
    records.look(records.flush("elm", 2020), 150, "dormant")
    (step,) = only(records, 2020, 150).steps
    assert step.stage == "budbreak"


def test_in_november_nobody_is_sent_to_look_at_a_tree_that_was_never_looked_at():
    row = only(never_looked_at(), 2020, 330)
    assert not row.steps and row.spring is not None and not row.presses


def test_two_flushes_side_by_side_share_the_row_of_their_tree():
    records = never_looked_at()
    records.seen("elm", 2020, (95, "budbreak"), (130, "extending"))
    work = records.work("elm", 2020, 150, "partial-defoliation", part="top", early=True)
    records.flush("elm", 2020, "work", started_on=day(2020, 150), work_id=work, part="top")
    assert sorted(step.flush for step in only(records, 2020, 155).steps) == [1, 2]


def lost_on(n: float) -> Records:
    records = Records.of("elm")
    flush = records.flush("elm", 2020, ended_on=day(2020, n), ended_why="lost")
    records.look(flush, n - 10, "budbreak")
    records.look(flush, n, "extending", lost=True)
    return records


@pytest.mark.parametrize("days, section", [(1, Section.WEEK), (9, Section.TODAY)])
def test_a_lost_flush_is_looked_at_weekly_for_the_next_one(days, section):
    row = only(lost_on(115), 2020, 115 + days)
    assert row.section is section and "look weekly for new buds" in row.reason


def test_leaves_lost_in_autumn_wake_nothing():
    row = only(lost_on(280), 2020, 281)
    assert row.section is Section.LEAVE and not row.open_end


@pytest.mark.parametrize("species, said", [(BEECH, True), (ELM, False)])
def test_a_fixed_grower_that_was_cut_is_not_promised_a_flush(species, said):
    records = Records.of("tree", species=species)
    first = records.flush("tree", 2020, ended_on=day(2020, 170), ended_why="cutback")
    records.look(first, 120, "budbreak")
    work = records.work("tree", 2020, 170, "cutback")
    records.flush("tree", 2020, "work", started_on=day(2020, 170), work_id=work)
    row = only(records, 2020, 172)
    assert row.open_end is said and ("not taken for granted" in row.reason) is said
    assert row.state.operation == "cutback"


@pytest.mark.parametrize("n, said", [(5, True), (200, False)])
def test_growth_that_runs_over_the_turn_of_the_season_is_not_forgotten(n, said):
    records = Records(places=[Place("bench", "Bench", 3.0, 102.0)])
    records.tree("elm")
    work = records.work("elm", 2019, 324, "cutback")
    flush = records.flush("elm", 2019, "work", started_on=day(2019, 324), work_id=work)
    records.look(flush, 340, "budbreak")
    assert ("goes on past the season's turn" in only(records, 2020, n).reason) is said


def test_an_ordinary_season_needs_no_such_words():
    records = elms("elm")
    records.a_season("elm", 2020, 100, 130, 160)
    assert not only(records, 2020, 110).open_end and not only(records, 2020, 200).open_end


def test_retired_trees_are_on_no_agenda():
    records = elms("Elm 1", "Elm 2")
    records.trees[1] = replace(records.trees[1], retired=day(2020, 100))
    assert [row.tree.label for row in agenda_on(records, 2020, 150).rows] == ["Elm 1"]
