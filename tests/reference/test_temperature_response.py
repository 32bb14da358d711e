"""The temperature response against the compiled reference table."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from phenology.heat.temperature_response import wang_engel
from tests.reference.tables import Row, check_rows


@pytest.mark.parametrize(
    "row", check_rows("temperature_response_cases", lambda row: row["model"] == "wang_engel")
)
def test_every_row_of_the_response_table(row: Row) -> None:
    temp, low, best, high = (float(row[c]) for c in ("temp_c", "tmin_c", "topt_c", "tmax_c"))
    got = wang_engel(temp, low, best, high)
    assert_allclose(got, float(row["expected"]), rtol=0, atol=5.1e-7)  # six decimals printed
