"""A temperature shifts by 32; a degree-day does not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.model.units import c_to_f, degree_days_c_to_f, degree_days_f_to_c, f_to_c


@pytest.mark.parametrize("celsius, fahrenheit", [(0, 32), (100, 212), (-40, -40), (10, 50)])
def test_fixed_points_of_the_scales(celsius: float, fahrenheit: float) -> None:
    assert c_to_f(celsius) == pytest.approx(fahrenheit)
    assert f_to_c(fahrenheit) == pytest.approx(celsius)


def test_nine_fahrenheit_degree_days_are_five_celsius() -> None:
    assert degree_days_f_to_c(9) == pytest.approx(5)
    assert degree_days_c_to_f(5) == pytest.approx(9)
    assert degree_days_c_to_f(0) == 0  # no 32 here


@given(a=st.floats(-60, 60), b=st.floats(-60, 60))
def test_a_difference_of_temperatures_converts_like_degree_days(a: float, b: float) -> None:
    assert float(c_to_f(a) - c_to_f(b)) == pytest.approx(float(degree_days_c_to_f(a - b)), abs=1e-9)
    assert float(f_to_c(c_to_f(a))) == pytest.approx(a, abs=1e-9)
