"""Daylength against printed tables and examples, and against astral and pvlib called live."""

from __future__ import annotations

import warnings
from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.daylength import daylength
from tests.reference.tables import Row, check_rows


def library_tolerance(latitude: float) -> float:
    """Hours by which the CBM may differ from a library that follows the sun itself.

    Measured over every day of 2024: 0.055 h at 52°, 0.074 h at 60°, 0.095 h at 64°. At 70°, where the
    sun skims the horizon for weeks, the worst row of the table differs by 0.35 h.
    """
    steps = ((52.0, 0.06), (60.0, 0.08), (64.2, 0.10), (70.0, 0.36))
    return next(hours for limit, hours in steps if abs(latitude) <= limit)


@pytest.mark.parametrize(
    "row", check_rows("daylength_cases", lambda row: not row["source"].startswith("fao56"))
)
def test_every_row_of_the_daylength_table(row: Row) -> None:
    latitude, expected, source = float(row["latitude"]), float(row["expected_hours"]), row["source"]
    day = date.fromisoformat(row["date"]).timetuple().tm_yday
    if source == "forsythe1995_cbm_p0.8333":
        assert_allclose(daylength(day, latitude), expected, atol=5.1e-5)
    elif source.endswith("_polar"):  # the libraries give no time; the table says 24 or 0
        assert daylength(day, latitude) == expected
    else:
        assert source.startswith(("astral", "pvlib"))
        assert_allclose(daylength(day, latitude), expected, atol=library_tolerance(latitude))


@pytest.mark.parametrize("latitude", [-45.0, -34.0, 0.0, 20.0, 35.0, 52.0, 60.0, 64.1])
def test_every_day_of_a_year_agrees_with_pvlib(latitude: float) -> None:
    pytest.importorskip("pvlib")
    import pandas as pd

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # third-party import chains warn about one another
        import pvlib

        days = pd.date_range("2024-01-01", "2024-12-31", tz="UTC")
        sun = pvlib.solarposition.sun_rise_set_transit_spa(days, latitude, 0.0)
        theirs = (sun["sunset"] - sun["sunrise"]).dt.total_seconds().to_numpy() / 3600 % 24
    ours = daylength(days.day_of_year.to_numpy(), latitude)
    assert_allclose(ours, theirs, atol=library_tolerance(latitude))


@pytest.mark.parametrize("latitude", [-34.0, 0.0, 35.0, 52.0, 60.0])
def test_every_fifth_day_of_a_year_agrees_with_astral(latitude: float) -> None:
    astral = pytest.importorskip("astral")
    from astral.sun import sunrise, sunset

    here = astral.Observer(latitude, 0, 0)
    numbers = np.arange(1, 367, 5)
    days = [date.fromordinal(date(2024, 1, 1).toordinal() + int(n) - 1) for n in numbers]
    theirs = [(sunset(here, d) - sunrise(here, d)).total_seconds() / 3600 % 24 for d in days]
    assert_allclose(daylength(numbers, latitude), theirs, atol=library_tolerance(latitude))
