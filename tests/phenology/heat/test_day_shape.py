"""The area and the share above a level, against curves that are integrated numerically."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from phenology.heat.thermal_time import area_above, share_above

STEPS = (np.arange(40_000) + 0.5) / 40_000  # midpoints of a fine clock over half a day

temperature = st.floats(-40, 50)


def half_day(shape: str, tmin: float, tmax: float) -> np.ndarray:
    """Temperature from the day's minimum to its maximum at a fine clock."""
    if shape == "sine":
        return (tmin + tmax) / 2 + (tmax - tmin) / 2 * np.sin(np.pi * (STEPS - 0.5))
    return tmin + (tmax - tmin) * STEPS


@pytest.mark.parametrize("shape", ["sine", "triangle"])
@settings(max_examples=60)
@given(a=temperature, b=temperature, level=temperature)
def test_closed_forms_are_the_integral_of_the_curve(shape: str, a: float, b: float, level: float) -> None:
    tmin, tmax = np.array(min(a, b)), np.array(max(a, b))
    curve = half_day(shape, float(tmin), float(tmax))
    area = np.maximum(curve - level, 0).mean()
    assert_allclose(area_above(tmin, tmax, np.array(level), shape), area, atol=1e-6)
    if tmax - tmin > 1e-3:  # on a flat day the share jumps, and rounding decides on which side
        share = (curve > level).mean()
        assert_allclose(share_above(tmin, tmax, np.array(level), shape), share, atol=1e-4)


@pytest.mark.parametrize("shape", ["sine", "triangle", "mean", "extremes"])
def test_area_falls_with_the_level_at_the_rate_of_the_share(shape: str) -> None:
    # dE/dc = -P(c) wherever the share does not jump
    level, step = np.array([2.0, 6.0, 9.0, 13.5, 17.0, 21.0]), 1e-5
    tmin, tmax = np.array(5.0), np.array(18.0)
    above = area_above(tmin, tmax, level - step, shape)
    below = area_above(tmin, tmax, level + step, shape)
    assert_allclose((above - below) / (2 * step), share_above(tmin, tmax, level, shape), atol=1e-5)


@pytest.mark.parametrize("shape", ["sine", "triangle", "mean", "extremes"])
def test_flat_days_and_unknown_days(shape: str) -> None:
    flat = np.array([8.0, 10.0, 12.5, np.nan])
    assert_allclose(area_above(flat, flat, np.array(10.0), shape), [0, 0, 2.5, np.nan])
    assert_allclose(share_above(flat, flat, np.array(10.0), shape), [0, 0, 1, np.nan])
