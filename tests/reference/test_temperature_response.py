"""Responses and hourly curves against the compiled reference tables and xclim, called live."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.hourly_temperature import campbell_norman, cesaraccio, linvill
from phenology.heat.temperature_response import wang_engel, yan_hunt
from tests.reference.tables import Row, check_rows

CURVES = {
    "linvill_1990": (linvill, {}),
    "linvill_1990_xclim_variant": (linvill, {"night_shift": 1.0}),
    "cesaraccio_2001": (cesaraccio, {}),
}


@pytest.mark.parametrize("row", check_rows("temperature_response_cases"))
def test_every_row_of_the_response_table(row: Row) -> None:
    temp, low, best, high = (float(row[c]) for c in ("temp_c", "tmin_c", "topt_c", "tmax_c"))
    if row["model"] == "wang_engel":
        got = wang_engel(temp, low, best, high)
    else:
        assert row["model"] == "yan_hunt" and low == 0
        got = yan_hunt(temp, best, high)
    assert_allclose(got, float(row["expected"]), rtol=0, atol=5.1e-7)  # six decimals printed


@pytest.mark.parametrize("row", check_rows("hourly_temperature_cases"))
def test_every_row_of_the_hourly_table(row: Row) -> None:
    hour, n, x, following = (float(row[c]) for c in ("hour", "tmin_c", "tmax_c", "tmin_next_c"))
    if row["model"] == "campbell_norman_eq2.2":
        got = campbell_norman(hour, n, x, following)
    else:
        curve, more = CURVES[row["model"]]
        got = curve(hour, n, x, following, float(row["sunrise_h"]), float(row["sunset_h"]), **more)
    decimals = len(row["expected_c"].partition(".")[2])
    # The variant's day length is itself printed to six decimals; the rest are rounded to those shown.
    assert_allclose(got, float(row["expected_c"]), rtol=0, atol=0.51 * 10**-decimals + 1e-6)


def test_shifted_linvill_day_agrees_with_xclim() -> None:
    pytest.importorskip("xclim")
    import pandas as pd

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # third-party import chains warn about one another
        import xarray as xr
        from xclim.indices.helpers import day_lengths, make_hourly_temperature

        days = pd.date_range("2023-05-01", periods=3, name="time")
        here = {"time": days, "lat": 40.0}
        low = xr.DataArray(
            [10.0, 12.0, 9.0], coords=here, dims="time", name="tasmin", attrs={"units": "degC"}
        )
        high = xr.DataArray(
            [24.0, 20.0, 22.0], coords=here, dims="time", name="tasmax", attrs={"units": "degC"}
        )
        low["lat"].attrs["units"] = "degrees_north"
        theirs = make_hourly_temperature(low, high).values[:48].reshape(2, 24)
        length = day_lengths(days.to_series().to_xarray().time, low.lat).values
    # xclim counts hours from sunrise
    hours = np.arange(24.0)
    for day in (0, 1):
        n, x, following = float(low[day]), float(high[day]), float(low[day + 1])
        ours = linvill(hours, n, x, following, 0.0, length[day], night_shift=1.0)
        assert_allclose(ours, theirs[day], atol=1e-9)
