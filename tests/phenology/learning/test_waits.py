"""Waits read on clocks: logs, widths, open ends and what gaps in the weather cost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.clocks import DATE_CLOCK, DAYS_CLOCK, Clock
from phenology.learning.waits import LEAST_WAIT, tabulate
from phenology.model.season import NEVER
from tests.phenology.worlds import a_wait, hands_for

DAYS = (DAYS_CLOCK,)
FIVE = Clock("five", "sine", 5.0)


def table(wait, clocks=DAYS):
    return tabulate([wait], hands_for([wait], clocks), clocks, {("A", False): 120.0})


def test_an_interval_on_plain_days_by_hand():
    got = table(a_wait(2003, 150, 156, anchor=(119, 121)))
    assert not got.censored[0]
    assert_allclose(np.exp(got.middle), 33)
    assert_allclose(got.ends[0, 0], [-1, 1, 30, 36])
    assert_allclose(got.width, 6 / 33)
    assert_allclose(got.noise, 2**2 / 12 / 33**2)


def test_the_width_is_near_the_distance_of_the_logs():
    got = table(a_wait(2003, 150, 156), (FIVE, DAYS_CLOCK))
    assert_allclose(got.width, np.log(got.ends[..., 3] / got.ends[..., 2]), rtol=0.03)


def test_not_yet_at_the_last_look():
    got = table(a_wait(2003, 150, NEVER))
    assert got.censored[0]
    assert np.isnan(got.middle[0, 0])
    assert_allclose(got.ends[0, 0, 2:], [30, np.inf])


@pytest.mark.parametrize("after", [-np.inf, 115.0, 120.0])
def test_already_at_the_first_look(after):
    got = table(a_wait(2003, after, 140))
    assert got.censored[0]
    assert_allclose(got.ends[0, 0, 2:], [0, 20])


def test_a_very_wide_interval_is_a_bound_not_a_middle():
    assert table(a_wait(2003, 125, 160)).censored[0]
    assert not table(a_wait(2003, 142, 160)).censored[0]


def test_a_beginning_left_open_for_long_is_an_interval_not_its_middle():
    assert table(a_wait(2003, 150, 153, anchor=(105, 135))).censored[0]
    assert not table(a_wait(2003, 150, 153, anchor=(115, 125))).censored[0]


def test_a_wait_is_never_nought():
    got = table(a_wait(2003, 119.9, 120.05))
    assert got.ends[0, 0, 3] > LEAST_WAIT


def test_filled_days_within_the_wait_add_variance_and_others_do_not():
    wait = a_wait(2003, 150, 156)
    thermal_time = hands_for([wait], (FIVE,))
    before, within = np.zeros(366), np.zeros(366)
    before[100:] = 40.0  # a gap that ended before the wait began
    within[130:] = 40.0
    noise = []
    for gap in (before, within):
        season = replace(thermal_time["", 2003], gap_variance=gap)
        noise.append(tabulate([wait], {("", 2003): season}, (FIVE,), {("A", False): 120.0}).noise[0, 0])
    read = np.exp(tabulate([wait], thermal_time, (FIVE,), {("A", False): 120.0}).middle[0, 0])
    assert noise[0] == 0
    assert_allclose(noise[1], 40 * (0.98 / 13) ** 2 / read**2)


def test_the_date_clock_reads_from_the_usual_beginning_whenever_the_wait_began():
    clocks = (DAYS_CLOCK, DATE_CLOCK)
    for anchor in (105.0, 135.0):
        got = table(a_wait(2003, 150, 156, anchor=(anchor - 2, anchor + 2)), clocks)
        assert_allclose(np.exp(got.middle[:, 0]), [153 - anchor, 33])
        assert_allclose(got.noise[:, 0], [16 / 12 / (153 - anchor) ** 2, 0])
