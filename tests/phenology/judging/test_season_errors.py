"""Past forecasts summed up season by season."""

from __future__ import annotations

import math

import pytest

from phenology.judging.season_errors import NEAR_DAYS, season_errors
from phenology.model.track_record import PastForecast


def forecast(season, issued, q50, at, tree="t", species="s", half=5.0, **more):
    """A forecast of something that came at `at`, its range `half` days to either side of its median."""
    usual = {"flush": 1, "stage": "hardened", "from_start": False, "by_calendar": False, "p_not": 0.0}
    ends = {"q10": q50 - half, "q25": q50 - half / 2, "q50": q50, "q75": q50 + half / 2, "q90": q50 + half}
    fields = {**usual, **ends, "after": at - 1, "by": at + 1, "chance": 0.5, **more}
    return PastForecast(species=species, tree=tree, season=season, issued=issued, **fields)


def test_the_first_forecast_of_each_flush_counts_and_the_last_weeks_apart():
    past = [
        forecast(2020, 100, 164, 150), forecast(2020, 110, 160, 150), forecast(2020, 140, 152, 150),
        forecast(2020, 100, 146, 150, tree="u"),
    ]  # fmt: skip
    (one,) = season_errors(past)
    assert (one.season, one.flushes, one.forecasts) == (2020, 2, 4)
    assert one.missed == (14 + 4) / 2 and one.late == (14 - 4) / 2
    assert one.missed_near == 2 and one.held == 0.5
    assert math.isnan(one.usual_missed)  # there is no other season


def test_near_means_within_three_weeks_of_the_event():
    kept = [forecast(2020, 150 - NEAR_DAYS, 153, 150), forecast(2020, 149 - NEAR_DAYS, 160, 150)]
    assert season_errors(kept)[0].missed_near == 3


def test_the_yardstick_is_the_species_mean_of_the_other_seasons():
    past = [forecast(s, 100, at, at) for s, at in ((2019, 140), (2020, 150), (2021, 166))]
    past += [forecast(2021, 100, 90, 90, species="other")]  # one season only: no yardstick of its own
    assert [t.usual_missed for t in season_errors(past)] == pytest.approx([18, 3, 21])
    assert [t.missed for t in season_errors(past)] == [0, 0, 0]


def test_nothing_to_look_back_on():
    assert season_errors([]) == []
