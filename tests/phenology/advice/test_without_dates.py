"""Trees without dates ahead: what their grower is told to look for."""

from __future__ import annotations

import pytest

from phenology.advice.without_dates import without_dates
from phenology.model.records import Place
from tests.phenology.gardens import BEECH, ELM, Records, day


def told(records: Records, season: int, n: float) -> str:
    return without_dates(records.garden(day(season, n)), records.trees[0])


def lost_on(n: float) -> Records:
    records = Records()
    records.tree("elm")
    flush = records.flush("elm", 2020, ended_on=day(2020, n), ended_why="lost")
    records.look(flush, n - 10, "budbreak")
    records.look(flush, n, "extending", lost=True)
    return records


def test_a_lost_flush_is_looked_at_for_the_next_one():
    assert "look weekly for new buds" in told(lost_on(115), 2020, 116)


def test_leaves_lost_in_autumn_wake_nothing():
    assert told(lost_on(280), 2020, 281) == ""


@pytest.mark.parametrize("species, said", [(BEECH, True), (ELM, False)])
def test_a_fixed_grower_that_was_cut_is_not_promised_a_flush(species, said):
    records = Records()
    records.tree("tree", species)
    first = records.flush("tree", 2020, ended_on=day(2020, 170), ended_why="cutback")
    records.look(first, 120, "budbreak")
    work = records.work("tree", 2020, 170, "cutback")
    records.flush("tree", 2020, "work", started_on=day(2020, 170), work_id=work)
    assert ("not taken for granted" in told(records, 2020, 172)) is said


@pytest.mark.parametrize("n, said", [(5, True), (200, False)])
def test_growth_that_runs_over_the_turn_of_the_season_is_not_forgotten(n, said):
    records = Records(places=[Place("bench", "Bench", 3.0, 102.0)])
    records.tree("elm")
    work = records.work("elm", 2019, 324, "cutback")
    flush = records.flush("elm", 2019, "work", started_on=day(2019, 324), work_id=work)
    records.look(flush, 340, "budbreak")
    assert ("goes on past the season's turn" in told(records, 2020, n)) is said


def test_an_ordinary_season_needs_no_such_words():
    records = Records()
    records.tree("elm")
    records.a_season("elm", 2020, 100, 130, 160)
    assert told(records, 2020, 110) == told(records, 2020, 200) == ""
