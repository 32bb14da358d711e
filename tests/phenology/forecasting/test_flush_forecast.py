"""Where a flush's chain begins, and what its stages rest on."""

from __future__ import annotations

import pytest

from phenology.forecasting.flush_forecast import FlushForecasts
from phenology.learning.garden_fit import GardenFit
from phenology.model.records import Place
from tests.phenology.advice.test_garden_forecast import a_nursery
from tests.phenology.gardens import Records, day

TODAY = 118


def chain(records: Records, looks, **flush):
    name = records.flush("elm", 2020, **flush)
    for n, stage in looks:
        records.look(name, n, stage)
    garden = records.garden(day(2020, TODAY))
    fit = GardenFit(garden)
    mine = next(h for h in fit.histories if h.flush.id == name)
    return FlushForecasts(garden, fit).ahead(mine, TODAY)


def test_a_stage_seen_to_come_within_days_begins_the_chain():
    ahead = chain(a_nursery(), [(99, "dormant"), (104, "budbreak"), (112, "extending")])
    assert [one.stage for one in ahead] == ["extended", "hardened"]
    assert [[s.words for s in one.steps] for one in ahead] == [
        ["bud break to extended"],
        ["bud break to extended", "extended to hardened"],
    ]


def test_looks_that_leave_it_wide_open_ask_the_wait_before():
    ahead = chain(a_nursery(), [(80, "dormant"), (112, "extending")])
    assert [one.stage for one in ahead] == ["extended", "hardened"]  # bud break itself is past
    assert ahead[0].steps[0].words == "bud break to extended"  # what follows rests on the look


def test_the_wait_before_narrows_what_looks_leave_open():
    open_looks = [(80, "dormant"), (112, "extending")]
    wide = chain(a_nursery(), open_looks)
    records = a_nursery()
    records.places[0] = Place("bench", "Bench", 45.0, 7.0, cover="cold frame")  # there nothing is asked of it
    alone = chain(records, open_looks)

    def spread(ahead):
        return ahead[0].arrival.quantile(0.9) - ahead[0].arrival.quantile(0.1)

    assert spread(wide) < spread(alone)


@pytest.mark.parametrize("looks", [[(80, "dormant"), (112, "extending")], [(104, "budbreak")]])
def test_stages_ahead_never_cross(looks):
    extended, hardened = chain(a_nursery(), looks)
    for level in (0.05, 0.5, 0.95):
        assert extended.arrival.quantile(level) <= hardened.arrival.quantile(level)
