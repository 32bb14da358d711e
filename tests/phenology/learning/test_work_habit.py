"""Work that keeps to the grower's week says so; a look that found leaves soft silences it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from phenology.learning.flush_history import WORK_REACH, histories
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from phenology.learning.work_habit import mean_delay, work_habits
from reports.views.calibration_text import habit_words
from tests.phenology.gardens import ELM, Records

END = date(2020, 12, 31)


def cut_on(*days: date, tree: str = "elm", records: Records | None = None) -> Records:
    """A tree of which nothing is known but when it was cut back."""
    records = records or Records()
    records.tree(tree)
    for day in days:
        records.flush(tree, day.year, ended_on=day, ended_why="cutback")
        records.work(tree, day.year, day.timetuple().tm_yday, "cutback")
    return records


def habits(records: Records):
    garden = records.garden(END)
    return list(work_habits(histories(garden), garden.calendar))


LAST_OF_JUNE = [date(2017, 6, 24), date(2018, 6, 24), date(2019, 6, 29), date(2020, 6, 27)]


def test_the_same_weekend_every_year_may_be_a_habit():
    (habit,) = habits(cut_on(*LAST_OF_JUNE))
    assert (habit.species, habit.flush, habit.seasons) == (ELM, 1, 4)
    assert habit.weekday == "weekend" and habit.same_week
    assert habit_words(habit) == (
        "Flush 1: only work tells when its leaves were hard, and in all 4 seasons it fell on the same "
        "weekend of the year (24 Jun to 29 Jun). The habit may be showing, not the tree; one look that finds "
        'leaves "still soft" before you cut puts it right.'
    )


def test_two_seasons_on_one_weekend_are_enough_but_two_saturdays_far_apart_are_not():
    assert habits(cut_on(date(2019, 6, 29), date(2020, 6, 27)))
    assert not habits(cut_on(date(2019, 6, 29), date(2020, 7, 18)))


def test_one_weekday_through_the_years_may_be_a_habit():
    days = [date(2018, 6, 9), date(2019, 6, 29), date(2020, 7, 18)]
    (habit,) = habits(cut_on(*days))
    assert habit.weekday == "Saturday" and not habit.same_week
    assert "in all 3 seasons it fell on a Saturday." in habit_words(habit)


@pytest.mark.parametrize("off", [2, 3])
def test_one_day_in_the_week_and_the_tree_speaks(off):
    days = [*LAST_OF_JUNE[:-1], LAST_OF_JUNE[-1] + timedelta(days=off)]
    assert not habits(cut_on(*days))


def test_trees_of_a_species_are_taken_together():
    records = cut_on(*LAST_OF_JUNE)
    cut_on(date(2020, 6, 24), tree="other", records=records)  # a Wednesday
    assert not habits(records)


def test_one_look_in_one_season_lets_the_tree_speak():
    """Hard leaves seen: the work tells nothing. Soft ones seen shortly before: they bound it too."""
    records = cut_on(*LAST_OF_JUNE)
    records.look(records.flushes[0].id, 160, "hardened")
    assert not habits(records)
    records = cut_on(*LAST_OF_JUNE)
    records.look(records.flushes[2].id, 168, "extending")
    assert not habits(records)


def test_soft_leaves_long_before_tell_little():
    records = cut_on(*LAST_OF_JUNE)
    for flush in records.flushes:
        records.look(flush.id, 110, "extending")
    assert habits(records)


def test_work_done_early_is_no_evidence_at_all():
    records = cut_on(*LAST_OF_JUNE)
    records.works[:] = [replace(work, early=True) for work in records.works]
    assert not habits(records)


def test_work_alone_tells_of_hard_leaves_as_far_back_as_the_grower_lets_pass():
    records = cut_on(date(2016, 6, 20))
    for season in range(2017, 2021):
        records.a_season("elm", season, 100, 130, 160)
        records.work("elm", season, 164 if season < 2020 else 172, "cutback")
    records.looks = records.looks[:-2]  # nobody looked after day 132 of the last season
    fit = GardenFit(records.garden(END))
    delay = mean_delay(fit.histories)
    assert 4 < delay < 12  # two to six days in three seasons, under forty in one, and half of 35 believed
    ended = {w.season: w.target for w in fit.waits(Transition("budbreak", "hardened"))}
    assert ended[2019] == (158, 162)  # looks tell
    assert ended[2020] == pytest.approx((172 - 2 * delay, 172))
    (alone,) = (w.target for w in fit.waits(Transition("start", "hardened")) if w.season == 2016)
    assert alone == pytest.approx((172 - 2 * delay, 172))


def test_without_looks_the_delay_is_the_one_believed():
    assert mean_delay(histories(cut_on(*LAST_OF_JUNE).garden(END))) == WORK_REACH / 2
