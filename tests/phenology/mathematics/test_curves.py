"""The normal and gamma curves written without scipy agree with scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special

from phenology.mathematics.distributions import digamma, gamma_quantile, normal_cdf


@given(st.lists(st.floats(-40, 40), min_size=1, max_size=50))
def test_normal_cdf_agrees_with_scipy(values: list[float]) -> None:
    z = np.array(values)
    assert_allclose(normal_cdf(z), special.ndtr(z), rtol=0, atol=1.2e-7)


def test_normal_cdf_never_falls_and_takes_infinities() -> None:
    z = np.linspace(-10, 10, 100_001)
    assert (np.diff(normal_cdf(z)) >= 0).all()
    assert_allclose(normal_cdf(np.array([-np.inf, np.inf])), [0, 1], atol=1e-16)


@pytest.mark.parametrize("shape", [1, 2, 3, 7])
@pytest.mark.parametrize("level", [0.01, 1 / 6, 0.5, 5 / 6, 0.999])
def test_gamma_quantile_agrees_with_scipy(shape: int, level: float) -> None:
    assert_allclose(gamma_quantile(shape, level), special.gammaincinv(shape, level), rtol=1e-9)


@given(st.floats(1, 50))
def test_digamma_agrees_with_scipy(x: float) -> None:
    assert_allclose(digamma(x), special.digamma(x), atol=2e-8)
