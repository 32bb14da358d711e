"""Base temperatures, interval-censored fits and ordinal stages against reference tables and libraries."""

from __future__ import annotations

import csv
import re
import warnings
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.learning.censored_fits import fit_interval_censored
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


FITTED = {  # the table's parameter names are those of the library that made it
    "mu_": "mu",
    "sigma_": "sigma",
    "lambda_": "lambda",
    "rho_": "rho",
    "alpha_": "alpha",
    "beta_": "beta",
}


@pytest.mark.parametrize("row", check_rows("interval_censored"))
def test_every_row_of_the_interval_censored_table(row: Row) -> None:
    fit = fit_interval_censored(numbers(row["left"]), numbers(row["right"]), row["distribution"].lower())
    for which in ("1", "2"):
        name = row[f"param{which}_name"]
        ours = fit.parameters[FITTED.get(name, name)]
        assert_allclose(ours, float(row[f"param{which}"]), rtol=1e-3, err_msg=name)
    assert_allclose(fit.median, float(row["median"]), rtol=1e-3)
    assert_allclose(fit.log_likelihood, float(row["log_likelihood"]), rtol=0, atol=1e-4)


@pytest.mark.parametrize("family, fitter", [("lognormal", "LogNormalFitter"), ("weibull", "WeibullFitter")])
def test_censored_fits_agree_with_lifelines(family: str, fitter: str) -> None:
    pytest.importorskip("lifelines")
    left = np.array([10.0, 10, 17, 17, 24, 31, 31, 38, 45])
    right = np.array([17.0, 17, 24, 31, 31, 38, 45, 45, np.inf])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # third-party import chains warn about one another
        import lifelines

        theirs = getattr(lifelines, fitter)().fit_interval_censoring(left, right)
    ours = fit_interval_censored(left, right, family)
    assert_allclose(ours.median, theirs.median_survival_time_, rtol=1e-3)
    assert_allclose(ours.log_likelihood, theirs.log_likelihood_, atol=1e-4)


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
