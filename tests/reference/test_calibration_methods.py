"""Base temperatures and ordinal stages against reference tables and libraries."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.learning.classic import CLASSIC, x_intercept
from tests.reference.tables import Row, check_rows, numbers


@pytest.mark.parametrize("row", check_rows("base_temperature_cases"))
def test_every_row_of_the_base_temperature_table(row: Row) -> None:
    base, requirement = float(row["expected_base_c"]), float(row["expected_requirement"])
    line = re.fullmatch(r"line_given: rate=(-?[\d.]+)\+([\d.]+)\*T", row["method"])
    if line:  # a published line: rates read off it must lead back to its base and requirement
        temps = np.array([12.0, 16.0, 20.0, 24.0])
        fit = x_intercept(temps, 1 / (float(line[1]) + float(line[2]) * temps))
    else:
        fit = CLASSIC[row["method"]](numbers(row["mean_temps_c"]), numbers(row["durations"]))
    decimals = len(row["expected_base_c"].partition(".")[2])
    assert_allclose(fit.base, base, rtol=0, atol=0.51 * 10**-decimals)
    decimals = len(row["expected_requirement"].partition(".")[2])
    assert_allclose(fit.requirement, requirement, rtol=0, atol=0.51 * 10**-decimals)


def test_published_beetle_data_give_the_printed_result() -> None:
    # Gastrophysa viridula, 18-28 °C, abstract: base 7.1 °C, 304.6 degree-days
    fit = x_intercept([18, 21.5, 25, 28], [28.2, 21.6, 16.1, 15.0])
    assert (round(fit.base, 1), round(fit.requirement, 1)) == (7.1, 304.6)


@pytest.mark.parametrize("row", check_rows("ordinal_expected"))
def test_ordinal_stages_give_thresholds_in_degree_days(row: Row, shared: Path) -> None:
    # P(stage > k) = F((g - ξk)/s): where two stages change over, and how sharply, from single visits.
    # Only a check on how such records are read: flushcast's own fit knows when each tree was seen.
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    heat, stage = [], []
    with (shared / "data/check_values/ordinal_stage_counts.csv").open(encoding="utf-8", newline="") as lines:
        for counts in csv.DictReader(lines):
            for k in range(3):
                plants = int(counts[f"n_stage{k}"])
                heat += [float(counts["degree_days"])] * plants
                stage += [k] * plants
    # Hundreds of degree-days, so that the search is well scaled.
    model = OrderedModel(np.array(stage), np.array(heat)[:, None] / 100, distr=row["link"])
    fit = model.fit(method="bfgs", disp=False)
    slope = fit.params[0] / 100
    first, second = model.transform_threshold_params(fit.params)[1:3] / slope
    assert_allclose(first, float(row["threshold_0_1_dd"]), rtol=1e-4)
    assert_allclose(second, float(row["threshold_1_2_dd"]), rtol=1e-4)
    assert_allclose(1 / slope, float(row["scale_dd"]), rtol=1e-4)
    assert_allclose(fit.llf, float(row["log_likelihood"]), atol=1e-4)
