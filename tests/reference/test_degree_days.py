"""Degree-days against the compiled reference table and against xclim, called live."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.thermal_time import degree_days
from tests.reference.tables import Row, check_rows, number

# The table's names where they differ from ours; its "none" rows have no upper threshold.
CUTOFF = {
    "none": "horizontal",
    "intermediate_unclipped": "intermediate_unfloored",
    "intermediate_clipped": "intermediate",
}


@pytest.mark.parametrize("row", check_rows("degree_day_cases"))
def test_every_row_of_the_degree_day_table(row: Row) -> None:
    got = degree_days(
        float(row["tmin"]),
        float(row["tmax"]),
        float(row["base"]),
        number(row["upper"]),
        method=row["method"],
        cutoff=CUTOFF.get(row["cutoff"], row["cutoff"]),
        tmin_next=number(row["tmin_next"]),
    )
    assert_allclose(got, float(row["expected"]), rtol=0, atol=5.1e-7)  # the table prints six decimals


def thirty_days() -> tuple[np.ndarray, np.ndarray]:
    """Thirty days that cross 10 °C on most of them, and pass wholly above it near the end."""
    day = np.arange(30)
    return 4 + 0.2 * day, 14 + 0.3 * day


@pytest.mark.parametrize("base, total", [(10, 81.25), (4, 258.75)])
def test_average_method_agrees_with_xclim(base: float, total: float) -> None:
    # xclim applies the first reading of McMaster & Wilhelm 1997 to the daily mean it is given.
    pytest.importorskip("xclim")
    import pandas as pd

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # third-party import chains warn about one another
        import xarray as xr
        import xclim.indices

        tmin, tmax = thirty_days()
        days = pd.date_range("2023-04-01", periods=30, name="time")
        tas = xr.DataArray((tmin + tmax) / 2, coords={"time": days}, dims="time", attrs={"units": "degC"})
        theirs = xclim.indices.growing_degree_days(tas, thresh=f"{base} degC", freq="MS")
    ours = degree_days(tmin, tmax, base, method="average_mean_clamped").sum()
    assert_allclose(ours, float(theirs.sum()), rtol=1e-6)
    assert_allclose(ours, total, rtol=1e-9)  # xclim 0.62.0, recorded


@pytest.mark.parametrize(
    "method, total",
    [("average_extremes_clamped", 125.25), ("single_triangle", 96.452714), ("single_sine", 103.668453)],
)
def test_other_methods_on_the_same_thirty_days(method: str, total: float) -> None:
    tmin, tmax = thirty_days()
    ours = degree_days(tmin, tmax, 10.0, method=method).sum()
    assert_allclose(ours, total, atol=1e-6)  # derived by quadrature, independent of this code
