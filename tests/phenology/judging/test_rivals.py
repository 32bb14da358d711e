"""The plain forecasters: usual date, and usual days after a stage regressed on its date."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.judging.rivals import LEAST_SD, usual_date, usual_days_regressed
from phenology.model.season import NEVER
from tests.phenology.worlds import a_wait

MEDIAN, SPREAD = 2, np.array([-1.2815516, -0.6744898, 0, 0.6744898, 1.2815516])
NOW = a_wait(2010, 0, NEVER, anchor=(124, 126))


def test_the_usual_date_is_the_mean_over_seasons_not_over_trees():
    crowd = [a_wait(2001, 149, 151, tree=f"t{k}") for k in range(9)]
    got = usual_date([*crowd, a_wait(2002, 159, 161)], NOW)
    assert_allclose(got[MEDIAN], 155)


def test_its_spread_is_that_of_a_tree_in_a_new_season_by_hand():
    training = [a_wait(2000 + i, d - 1, d + 1) for i, d in enumerate((140, 150, 160))]
    sd = np.sqrt(200 / 3 * 4 / 3)
    assert_allclose(usual_date(training, NOW), 150 + sd * SPREAD, rtol=1e-6)


def test_only_its_own_species_kind_and_finished_waits_count():
    training = [
        a_wait(2001, 149, 151),
        a_wait(2002, 149, 151),
        a_wait(2001, 99, 101, species="B"),
        a_wait(2001, 239, 241, later=True),
        a_wait(2002, 180, NEVER),
    ]
    assert_allclose(usual_date(training, NOW)[MEDIAN], 150)
    assert_allclose(np.diff(usual_date(training, NOW))[0], LEAST_SD * np.diff(SPREAD)[0], rtol=1e-6)


def test_one_season_alone_is_trusted_little():
    got = usual_date([a_wait(2001, 149, 151)], NOW)
    assert_allclose(got, 150 + 3 * LEAST_SD * SPREAD, rtol=1e-6)


@pytest.mark.parametrize("rival", [usual_date, usual_days_regressed])
def test_without_training_there_is_nothing_usual(rival):
    assert np.isnan(rival([], NOW)).all()


def test_days_after_are_regressed_on_the_beginning():
    # every two days later, one day less: 120 -> 150, 130 -> 155
    training = [
        a_wait(2000 + i, 150 + d / 2 - 1, 150 + d / 2 + 1, anchor=(120 + d, 120 + d))
        for i, d in enumerate((0, 4, 10, 6))
    ]
    assert_allclose(usual_days_regressed(training, NOW)[MEDIAN], 152.5)
    later = a_wait(2010, 0, NEVER, anchor=(130, 130))
    assert_allclose(usual_days_regressed(training, later)[MEDIAN], 155)


def test_with_two_seasons_the_usual_days_are_added():
    training = [a_wait(2000 + i, b + 29, b + 31 + 2 * i, anchor=(b, b)) for i, b in enumerate((110.0, 130.0))]
    assert_allclose(usual_days_regressed(training, NOW)[MEDIAN], 125 + 30.5)
