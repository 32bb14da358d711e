"""Arrival distributions: quantiles and chances of a curve."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from phenology.forecasting.arrival import LEVELS, Arrival
from phenology.judging import verification


def test_levels_are_those_of_the_scores():
    assert LEVELS == verification.LEVELS == (0.10, 0.25, 0.50, 0.75, 0.90)


def test_quantiles_of_a_curve_by_hand():
    assert_allclose(Arrival(np.array([0.2, 0.6, 1.0])).quantiles((0.1, 0.2, 0.4, 0.8)), [0, 0, 0.5, 1.5])


def test_what_may_not_come_has_no_late_quantiles():
    arrival = Arrival(np.array([0.0, 0.2, 0.6]))
    assert arrival.quantile(0.7) == np.inf
    assert_allclose([arrival.p_not, arrival.chance_by(1.5)], [0.4, 0.4])


def test_traces_are_mixed():
    assert_allclose(Arrival.over(np.array([[0.0, 1.0, 1.0], [0.0, 0.0, 1.0]])).curve, [0.0, 0.5, 1.0])
