"""Looks to intervals: what two looks bracket, vague dates, open ends, and looks that go backward."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.model.errors import StageOrderError
from phenology.model.season import NEVER
from phenology.model.stages import Stage
from phenology.records.intervals import (
    FIRST_LOOK_REACH,
    LONGEST_REACH,
    Sight,
    anchored,
    check_order,
    likely_times,
    stage_interval,
)


def on(day: float, stage: str) -> Sight:
    return Sight(day, day, stage)


LOOKS = [on(120, "dormant"), on(126, "budbreak"), on(140, "extending"), on(150, "hardened")]


@pytest.mark.parametrize(
    "stage, interval",
    [
        ("swelling", (120, 126)),
        ("budbreak", (120, 126)),
        ("extending", (126, 140)),
        ("extended", (140, 150)),
        ("hardened", (140, 150)),
        ("turning", (150, NEVER)),
        ("dormant", (-math.inf, 120)),
    ],
)
def test_two_looks_bracket_each_stage(stage, interval):
    assert stage_interval(LOOKS, stage) == interval


def test_the_order_of_the_looks_does_not_matter():
    assert stage_interval(LOOKS[::-1], "extended") == (140, 150)


def test_without_looks_nothing_is_said():
    assert stage_interval([], "budbreak") is None


@pytest.mark.parametrize(
    "sights, interval",
    [
        # seen hard somewhere in days 180-190: it was by 190
        ([on(170, "extended"), Sight(180, 190, "hardened")], (170, 190)),
        # seen not yet hard somewhere in days 170-176: at 170 at least
        ([Sight(170, 176, "extended"), on(190, "hardened")], (170, 190)),
        # it came about 180-184: the first of these days included
        ([Sight(180, 184, "hardened", "happened")], (179, 184)),
        # it came on day 180
        ([Sight(180, 180, "hardened", "happened")], (179, 180)),
        # a look that shows it earlier than the end of "about then" wins
        ([Sight(180, 190, "hardened", "happened"), on(186, "hardened")], (179, 186)),
    ],
)
def test_vague_dates_and_dates_of_the_event_itself(sights, interval):
    assert stage_interval(sights, "hardened") == interval


def test_an_earlier_stage_that_happened_bounds_the_later_one_from_below():
    assert stage_interval([Sight(118, 122, "budbreak", "happened")], "extended") == (118, NEVER)


def test_backward_looks_are_refused_naming_both_days():
    sights = [on(126, "extended"), on(130, "budbreak")]
    with pytest.raises(StageOrderError, match=r"extended by day 126.*on day 130.*new flush"):
        stage_interval(sights, "extended")
    with pytest.raises(StageOrderError):
        check_order(sights)
    check_order(LOOKS)


@given(
    days=st.lists(st.integers(1, 365), min_size=1, max_size=12, unique=True),
    ranks=st.lists(st.integers(0, len(Stage) - 1), min_size=12, max_size=12),
)
def test_forward_looks_always_give_ordered_intervals(days, ranks):
    sights = [on(d, list(Stage)[r]) for d, r in zip(sorted(days), sorted(ranks), strict=False)]
    check_order(sights)
    ends = [stage_interval(sights, stage) for stage in Stage]
    assert all(after < by for after, by in ends)
    assert [e[0] for e in ends] == sorted(e[0] for e in ends)
    assert [e[1] for e in ends] == sorted(e[1] for e in ends)


def test_a_first_look_that_shows_the_stage_reaches_back_a_fortnight():
    assert anchored((-math.inf, 126)) == (126 - FIRST_LOOK_REACH, 126)
    assert anchored((-40, 100)) == (100 - LONGEST_REACH, 100)  # closed in autumn, broken in spring
    assert anchored((95, 100)) == (95, 100)
    assert anchored((120, 126)) == (120, 126)


def test_likely_times_stand_in_the_middles_of_the_thirds():
    assert likely_times((10.0, 16.0)) == (11.0, 13.0, 15.0)
    assert likely_times((10.0, 10.0)) == (10.0, 10.0, 10.0)


def test_looks_before_day_one_bound_an_event_as_any_other():
    """Buds seen closed in late autumn are the spring's to come: their day of its season is below 1."""
    autumn = Sight(-35.0, -35.0, "dormant")
    assert stage_interval([autumn], "budbreak") == (-35.0, NEVER)
    assert stage_interval([autumn, Sight(-3.0, -3.0, "budbreak")], "budbreak") == (-35.0, -3.0)
    assert anchored((-math.inf, -3.0)) == (-17.0, -3.0)
    assert likely_times((-6.0, 6.0)) == (-4.0, 0.0, 4.0)
