"""Daylength: what must hold for any day and place."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.daylength import daylength
from phenology.model.errors import InputError

YEAR = np.arange(1, 366)


def test_a_day_and_its_antipode_share_24_hours_when_the_centre_marks_sunrise() -> None:
    latitude = np.array([0.0, 20.0, 47.0, 66.0, 80.0])[:, None]
    assert_allclose(daylength(YEAR, latitude, sun_angle=0) + daylength(YEAR, -latitude, sun_angle=0), 24)


def test_always_twelve_hours_on_the_equator_with_the_centre_on_the_horizon() -> None:
    assert_allclose(daylength(YEAR, 0.0, sun_angle=0), 12)


def test_polar_day_and_polar_night_are_24_and_0_and_never_beyond() -> None:
    latitude = np.linspace(-90, 90, 37)[:, None]
    got = daylength(YEAR, latitude)
    assert got.min() == 0 and got.max() == 24
    assert daylength(172, 80.0) == 24 and daylength(355, 80.0) == 0
    assert daylength(172, -90.0) == 0 and daylength(355, -90.0) == 24


def test_longest_and_shortest_day_fall_on_the_solstices() -> None:
    north = daylength(YEAR, 50.0)
    assert abs(YEAR[north.argmax()] - 172) <= 1
    assert abs(YEAR[north.argmin()] - 355) <= 1
    assert abs(YEAR[daylength(YEAR, -50.0).argmax()] - 355) <= 1


def test_a_deeper_sun_makes_a_longer_day() -> None:
    angles = np.array([0.0, 0.8333, 6.0])[:, None]
    assert (np.diff(daylength(YEAR, 45.0, sun_angle=angles), axis=0) > 0).all()


def test_unknown_stays_unknown_and_shapes_broadcast() -> None:
    got = daylength([100.0, np.nan, 200.0], np.array([10.0, 60.0])[:, None])
    assert got.shape == (2, 3)
    assert np.isnan(got[:, 1]).all() and np.isfinite(got[:, [0, 2]]).all()


def test_impossible_places_and_days_are_refused() -> None:
    with pytest.raises(InputError, match="between -90 and 90, got 91"):
        daylength(100, [50.0, 91.0])
    with pytest.raises(InputError, match="between 1 and 366, got 400"):
        daylength([1, 400], 50.0)
