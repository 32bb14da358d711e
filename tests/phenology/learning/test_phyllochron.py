"""The phyllochron: exact updates against brute force, and what counts may and may not do to a forecast."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from phenology.heat.clocks import CLOCKS, DATE_CLOCK, DAYS_CLOCK
from phenology.learning import phyllochron
from phenology.learning.phyllochron import (
    COMMON_SD,
    FINAL_SD,
    FLUSHES,
    MISCOUNTED,
    TREE_SD,
    Belief,
    LeafRow,
    Pace,
    learn,
    pace_of,
    with_counts,
)
from phenology.learning.prediction import Prediction

TWO = (DAYS_CLOCK, DAYS_CLOCK)


def drawn(days=(30.0,), sd=(0.2,), clock=(0,), weight=None, usual=math.nan):
    n = len(days)
    shares = np.full(n, 1 / n) if weight is None else np.array(weight)
    return Prediction(shares, np.array(clock, dtype=np.intp), np.log(days), np.array(sd) ** 2, usual)


def leaves(number=6.0, level=0.1, between=0.1, clocks=1):
    return Belief(np.full(clocks, math.log(number)), np.full(clocks, level**2), np.full(clocks, between**2))


def mean_and_variance(prediction):
    mean = prediction.weight @ prediction.mean
    return mean, prediction.weight @ (prediction.variance + (prediction.mean - mean) ** 2)


def by_brute_force(m, v, a, t, k, s, seen):
    """Posterior mean and variance of y, and the density of what was seen, on a grid over y and log N."""
    y = m + math.sqrt(v) * np.linspace(-7, 7, 801)
    n = a + math.sqrt(t) * np.linspace(-7, 7, 801)
    yy, nn = np.meshgrid(y, n, indexing="ij")
    inverse = np.linalg.inv([[v, k], [k, t]])
    dy, dn = yy - m, nn - a
    prior = np.exp(-0.5 * (inverse[0, 0] * dy**2 + 2 * inverse[0, 1] * dy * dn + inverse[1, 1] * dn**2))
    prior /= 2 * math.pi * math.sqrt(v * t - k * k)
    cell = (y[1] - y[0]) * (n[1] - n[0])
    off = seen - (yy - nn)
    good = np.exp(-0.5 * off**2 / s) / math.sqrt(2 * math.pi * s)
    joint = prior * ((1 - MISCOUNTED) * good + MISCOUNTED / math.log(60))  # a slip: 1 to 60 leaves alike
    total = joint.sum() * cell
    mean = (joint * yy).sum() * cell / total
    return mean, (joint * (yy - mean) ** 2).sum() * cell / total, total


@settings(max_examples=40)
@given(
    st.floats(0.1, 0.5), st.floats(0.05, 0.3), st.floats(0.05, 0.25), st.floats(0.05, 0.4),
    st.floats(-0.9, 0.9), st.floats(0, 1),
)  # fmt: skip
def test_the_update_is_that_of_brute_force(sd, level, between, count_sd, off, share):
    shared = between**2 + share * level**2
    assume(shared < 0.49 * sd**2)
    pace = Pace(np.array([math.log(5) + off]), np.array([count_sd**2]))
    after, likely = with_counts(drawn(sd=(sd,)), pace, leaves(6.0, level, between), (DAYS_CLOCK,), share)
    want = by_brute_force(
        math.log(30), sd**2, math.log(6), level**2 + between**2, shared, count_sd**2, math.log(5) + off
    )
    assert_allclose([*mean_and_variance(after), likely], want, rtol=2e-4, atol=2e-6)


@settings(max_examples=40)
@given(st.floats(2.6, 4.5), st.floats(0.1, 1.0), st.floats(0.1, 0.5))
def test_more_leaves_at_the_same_heat_mean_an_earlier_end(few, more, sd):
    """Half way, 3.5 of 7 leaves are expected. Counts far from it are slips, which tell nothing."""
    assume(few + more < 4.6)
    means = []
    for count in (few, few + more):
        after, _ = with_counts(
            drawn(sd=(sd,)), pace_of(count, 0.5, np.array([15.0]), np.zeros(1)), leaves(7), (DAYS_CLOCK,)
        )
        means.append(float(mean_and_variance(after)[0]))
    assert means[1] < means[0]


@settings(max_examples=30)
@given(st.lists(st.tuples(st.floats(15, 60), st.floats(0.05, 0.5)), min_size=1, max_size=5))
def test_no_count_changes_nothing(draws):
    before = drawn(*zip(*draws, strict=True), clock=(0,) * len(draws))
    after, likely = with_counts(before, None, leaves(), (DAYS_CLOCK,))
    assert after is before and likely == 1.0


@settings(max_examples=40)
@given(st.sampled_from([0.02, 0.05, 0.2, 5.0, 20.0, 60.0]), st.floats(0.15, 0.4))
def test_one_absurd_count_does_not_wreck_the_forecast(times, sd):
    """Fifty leaves where three are expected, or a tenth of one, is a slip: it tells nothing."""
    pace = pace_of(3 * times, 0.5 * times, np.array([15.0]), np.zeros(1))
    after, _ = with_counts(drawn(sd=(sd,)), pace, leaves(6, 0.1, 0.08), (DAYS_CLOCK,))
    mean, variance = mean_and_variance(after)
    assert abs(mean - math.log(30)) < 0.6 * sd
    assert variance < 3 * sd**2  # half believed, half not: such a forecast is wide, and rightly
    if times in (0.02, 60.0):
        assert mean == pytest.approx(math.log(30), abs=0.05)


def test_a_moderate_surprise_is_believed_in_part():
    pace = pace_of(4.0, 0.5, np.array([15.0]), np.zeros(1))
    mean, _ = mean_and_variance(with_counts(drawn(), pace, leaves(), (DAYS_CLOCK,))[0])
    assert math.log(15 / 4 * 6) < mean < math.log(30)


def test_a_count_sharpens_but_never_below_what_is_unknown_of_the_number_of_leaves():
    exact = pace_of(3.0, 1e-6, np.array([15.0]), np.zeros(1))
    after, _ = with_counts(drawn(sd=(0.4,)), exact, leaves(6, 0.15, 0.10), (DAYS_CLOCK,))
    unknown = math.hypot(0.15, 0.10)
    assert unknown <= math.sqrt(after.variance[0]) < 0.4


def test_clocks_that_expected_the_count_gain_weight():
    """Two clocks agree on the requirement and read different heat so far: the count tells between them."""
    pace = pace_of(3.0, 0.3, np.array([15.0, 24.0]), np.zeros(2))
    before = drawn((30.0, 30.0), (0.1, 0.1), (0, 1))
    after, _ = with_counts(before, pace, leaves(clocks=2, level=0.03, between=0.05), TWO)
    assert after.weight[after.clock == 0].sum() > 0.8


def test_a_vague_date_or_a_hole_in_the_weather_makes_a_count_say_less():
    sure, vague = (pace_of(3.0, 0.3, np.array([10.0]), np.array([v])) for v in (0.0, 9.0))
    means = [
        abs(mean_and_variance(with_counts(drawn(), p, leaves(), (DAYS_CLOCK,))[0])[0] - math.log(30))
        for p in (sure, vague)
    ]
    assert means[1] < means[0]


def test_a_date_clock_is_read_as_the_wait_from_bud_break():
    """By date the wait should end 30 days after its usual beginning; it began 10 days late: 20 are left."""
    before = drawn(usual=100.0)
    as_expected = pace_of(3.0, 0.1, np.array([10.0]), np.zeros(1), late=10.0)
    known = leaves(6.0, 0.01, 0.01)
    after, _ = with_counts(before, as_expected, known, (DATE_CLOCK,))
    assert_allclose(mean_and_variance(after)[0], math.log(30), atol=0.01)
    quick = pace_of(4.0, 0.01, np.array([10.0]), np.zeros(1), late=10.0)  # 15 days in all
    draw = with_counts(before, quick, known, (DATE_CLOCK,))[0]
    assert math.exp(draw.mean[0]) - 10 == pytest.approx(15, abs=2.0)
    nonsense = pace_of(4.0, 0.5, np.array([10.0]), np.zeros(1), late=200.0)
    assert np.isfinite(with_counts(before, nonsense, known, (DATE_CLOCK,))[0].mean).all()


def row(value, variance=0.01, *, flush="f", tree="t", species="A", season=2020, later=False, final=False):
    return LeafRow(
        species, tree, season, flush, later, final, np.array([math.log(value)]), np.array([variance])
    )


def prior(_species):
    return math.log(6.0), 0.2


def test_without_counts_the_answer_is_the_catalogue():
    told = learn([], prior, 2, 0.05).of("A", "t", later=True)
    assert_allclose(told.mean, math.log(6))
    assert told.level[0] > 0.2**2 and told.mean.shape == told.between.shape == (2,)


def test_learning_is_a_normal_regression_with_the_spread_between_flushes_integrated_out():
    """Three flushes of one tree and one final count, by full covariance, one spread at a time."""
    rows = [
        row(7.0, flush="a"),
        row(6.5, 0.02, flush="b", season=2019),
        row(8.0, 0.01, flush="c"),
        row(7.5, 0.005, flush="c", final=True),
    ]
    told = learn(rows, prior, 1, 0.05)
    y = np.array([float(r.value[0]) for r in rows]) - math.log(6)
    seasons, flushes = (2020, 2019, 2020, 2020), ("a", "b", "c", "c")
    same_season = np.equal.outer(seasons, seasons)
    same_flush = np.array([[p == q for q in flushes] for p in flushes])
    final = np.array([0, 0, 0, 1.0])
    shared = COMMON_SD**2 + 0.2**2 + TREE_SD**2
    logs, means, levels = [], [], []
    for sd, weight in FLUSHES:
        covariance = (
            shared + 0.05**2 * same_season + sd**2 * same_flush + FINAL_SD**2 * np.outer(final, final)
        )
        covariance = covariance + np.diag([float(r.variance[0]) for r in rows])
        inverse = np.linalg.inv(covariance)
        logs.append(math.log(weight) - 0.5 * (y @ inverse @ y + np.linalg.slogdet(covariance)[1]))
        across = np.full(4, shared)
        means.append(across @ inverse @ y)
        levels.append(shared - across @ inverse @ across)
    share = np.exp(np.array(logs) - max(logs))
    share /= share.sum()
    mean = share @ means
    got = told.of("A", "t")
    # rows a little wide of the rest are trusted a little less than the plain regression does
    assert_allclose(got.mean[0], math.log(6) + mean, atol=0.01)
    assert_allclose(got.level[0], share @ (np.array(levels) + (np.array(means) - mean) ** 2), rtol=0.1)
    assert_allclose(got.between[0], 0.05**2 + share @ np.array([sd**2 for sd, _ in FLUSHES]), rtol=0.1)


def test_without_slips_the_regression_is_met_exactly(monkeypatch):
    monkeypatch.setattr(phyllochron, "MISCOUNTED", 0.0)
    rows = [row(7.0, flush="a"), row(6.5, 0.02, flush="b")]
    shared = COMMON_SD**2 + 0.2**2 + TREE_SD**2 + 0.05**2
    y, logs, means = np.log([7 / 6, 6.5 / 6]), [], []
    for sd, weight in FLUSHES:
        covariance = shared + np.diag([0.01 + sd**2, 0.02 + sd**2])
        logs.append(
            math.log(weight) - 0.5 * (y @ np.linalg.solve(covariance, y) + np.linalg.slogdet(covariance)[1])
        )
        means.append((shared - 0.05**2) * np.linalg.solve(covariance, y).sum())
    share = np.exp(np.array(logs) - max(logs))
    got = learn(rows, prior, 1, 0.05).of("A", "t").mean[0]
    assert_allclose(got, math.log(6) + share @ means / share.sum(), rtol=1e-9)


def test_flushes_teach_the_species_and_a_little_its_neighbours():
    rows = [row(9.0, flush=f"f{k}", season=2010 + k) for k in range(8)]
    told = learn(rows, prior, 1, 0.05)
    own, other, nobody = (told.of(s).mean[0] for s in ("A", "B", "C"))
    assert math.log(8.3) < own < math.log(9.1)
    assert math.log(6) < other == nobody < own
    assert told.of("A").level[0] < told.of("B").level[0]


def test_one_absurd_count_teaches_next_to_nothing():
    usual = [row(6 + 0.3 * (k % 3), flush=f"f{k}", season=2010 + k) for k in range(6)]
    plain = learn(usual, prior, 1, 0.05).of("A").mean[0]
    slipped = learn([*usual, row(60.0, flush="odd", season=2019)], prior, 1, 0.05).of("A").mean[0]
    assert slipped == pytest.approx(plain, abs=0.05)


def test_a_later_flush_may_take_fewer_leaves():
    rows = [row(7, flush=f"a{k}", season=2010 + k) for k in range(5)]
    rows += [row(5, flush=f"b{k}", season=2010 + k, later=True) for k in range(5)]
    told = learn(rows, prior, 1, 0.05)
    assert told.of("A").mean[0] > told.of("A", later=True).mean[0] + 0.2


def test_the_garden_s_clocks_all_have_an_answer():
    many = [LeafRow("A", "t", 2020, "f", False, False, np.full(len(CLOCKS), 2.0), np.full(len(CLOCKS), 0.01))]
    assert learn(many, prior, len(CLOCKS), 0.05).of("A").mean.shape == (len(CLOCKS),)
