"""Scores of dates known only to lie between two looks."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtri

from phenology.judging.verification import LEVELS, forecast_cdf, paired_by_season, score_dates
from phenology.model.errors import InputError

ONE = np.array([[118.0, 121.0, 124.0, 127.0, 130.0]])


def test_distances_by_hand() -> None:
    scores = score_dates(np.repeat(ONE, 3, axis=0), [120.0, 126.0, 110.0], [126.0, 132.0, 116.0])
    assert_allclose(scores.mae_mid, [1, 5, 11])
    assert_allclose(scores.mae_out, [0, 2, 8])
    assert_allclose(scores.bias, [1, -5, 11])
    assert_allclose(scores.w80, 12)
    assert_allclose(scores.cov80, [1, 4 / 6, 0])
    assert_allclose(scores.cov50, [5 / 6, 1 / 6, 0])


def test_crps_averages_the_pinball_loss_over_the_interval() -> None:
    days = 120 + 6 * (np.arange(20_000) + 0.5) / 20_000
    weights = [0.175, 0.2, 0.25, 0.2, 0.175]
    by_hand = 2 * sum(
        w * np.where(days >= q, tau * (days - q), (1 - tau) * (q - days)).mean()
        for w, q, tau in zip(weights, ONE[0], LEVELS, strict=True)
    )
    assert_allclose(score_dates(ONE, [120.0], [126.0]).crps, by_hand, rtol=1e-6)


def test_cdf_passes_through_the_quantiles_and_continues_normally() -> None:
    normal = 124 + 4 * ndtri(np.array(LEVELS))
    times = np.array([100.0, *normal, 126.5, 150.0])
    assert_allclose(forecast_cdf(np.repeat([normal], len(times), axis=0), times)[1:6], LEVELS, atol=1e-6)
    from scipy.special import ndtr

    assert_allclose(
        forecast_cdf(np.repeat([normal], len(times), axis=0), times), ndtr((times - 124) / 4), atol=1e-6
    )


def test_a_calibrated_forecaster_gets_its_nominal_pit_and_too_large_a_spread_does_not() -> None:
    rng = np.random.default_rng(11)
    truth = rng.normal(130, 4, 20_000)
    left = truth - 6 * rng.random(truth.shape)  # looks every six days, at a random phase
    honest = np.repeat([130 + 4 * ndtri(np.array(LEVELS))], len(truth), axis=0)
    wide = np.repeat([130 + 8 * ndtri(np.array(LEVELS))], len(truth), axis=0)
    means = score_dates(honest, left, left + 6).means()
    assert means["pit80"] == pytest.approx(0.80, abs=0.01)
    assert means["pit50"] == pytest.approx(0.50, abs=0.01)
    assert means["cov80"] < 0.77  # smeared twice, as the module says
    assert score_dates(wide, left, left + 6).means()["pit80"] > 0.9
    assert means["crps"] < score_dates(wide, left, left + 6).means()["crps"]


def test_a_forecast_without_spread_is_scored_not_divided_by() -> None:
    point = np.full((2, 5), 124.0)
    scores = score_dates(point, [120.0, 130.0], [126.0, 136.0])
    # mean |124 - U(120,126)| = (4²/2 + 2²/2)/6 for the first, less the levels' weights, which sum to 1/2
    assert_allclose(scores.crps, [10 / 6, 9.0])
    assert_allclose(scores.logs, [0.0, -np.log(1e-4)], atol=1e-9)
    assert_allclose(scores.pit80[1], 0.0)


def test_missing_forecasts_are_unknown_and_left_out_of_the_means() -> None:
    both = np.vstack([ONE, np.full((1, 5), np.nan)])
    scores = score_dates(both, [120.0, 120.0], [126.0, 126.0])
    for name, mean in scores.means().items():
        values = getattr(scores, name)
        assert np.isnan(values[1]), name
        assert mean == pytest.approx(float(values[0])), name
    assert np.isnan(score_dates(np.empty((0, 5)), [], []).means()["crps"])


def test_paired_difference_by_hand() -> None:
    # season means of the difference: 2020 (-1, -1) -> -1, 2021 -> 0, 2022 -> -3; mean -4/3, sd 1.5275, /√3
    got = paired_by_season([3.0, 5.0, 4.0, 2.0], [4.0, 6.0, 4.0, 5.0], [2020, 2020, 2021, 2022])
    assert got.seasons == (2020, 2021, 2022)
    assert_allclose(got.by_season, [-1, 0, -3])
    assert got.mean == pytest.approx(-4 / 3)
    assert got.standard_error == pytest.approx(1.527525 / np.sqrt(3), rel=1e-6)


def test_paired_difference_leaves_out_halves_and_knows_no_error_from_one_season() -> None:
    got = paired_by_season([3.0, np.nan, 2.0], [4.0, 1.0, np.nan], [2020, 2020, 2021])
    assert got.seasons == (2020,) and got.mean == -1.0 and np.isnan(got.standard_error)


@pytest.mark.parametrize(
    "quantiles, left, right, message",
    [
        (ONE, [120.0], [np.inf], r"forecast 0 .*has no end"),
        (np.repeat(ONE, 2, axis=0), [120.0, 126.0], [126.0, 126.0], r"forecast 1 .*\(126, 126\].*no length"),
        (ONE[:, ::-1], [120.0], [126.0], "out of order"),
        (ONE[:, :4], [120.0], [126.0], r"shape \(n, 5\)"),
        (ONE, [120.0, 121.0], [126.0, 127.0], r"n intervals"),
    ],
)
def test_what_cannot_be_scored_is_named(quantiles, left, right, message: str) -> None:
    with pytest.raises(InputError, match=message):
        score_dates(quantiles, left, right)


def test_unpaired_scores_are_refused() -> None:
    with pytest.raises(InputError, match="equal lengths"):
        paired_by_season([1.0], [1.0, 2.0], [2020, 2021])
    with pytest.raises(InputError, match="no case that both"):
        paired_by_season([np.nan], [1.0], [2020])
