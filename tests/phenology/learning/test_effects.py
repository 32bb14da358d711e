"""Gaussian effects against a plain multivariate normal that builds the whole covariance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import multivariate_normal

from phenology.learning.effects import log_evidences, posterior


def case(seed: int, rows: int, shared: int, trees: int):
    rng = np.random.default_rng(seed)
    design = rng.normal(size=(rows, shared))
    tree = rng.integers(0, trees, rows)
    y = rng.normal(scale=0.4, size=rows)
    noise = rng.uniform(0.002, 0.5, rows)
    return y, noise, design, tree, trees


def whole_design(design, tree, trees):
    return np.hstack([design, np.eye(trees)[tree]])


def brute_evidence(y, noise, design, tree, trees, shared_prior, tree_prior):
    both = whole_design(design, tree, trees)
    prior = np.diag(np.concatenate([shared_prior, np.full(trees, tree_prior)]))
    return multivariate_normal(np.zeros(len(y)), both @ prior @ both.T + np.diag(noise)).logpdf(y)


def brute_posterior(y, noise, design, tree, trees, shared_prior, tree_prior):
    """By conditioning the joint normal of effects and rows, not by adding precisions."""
    both = whole_design(design, tree, trees)
    prior = np.diag(np.concatenate([shared_prior, np.full(trees, tree_prior)]))
    gain = prior @ both.T @ np.linalg.inv(both @ prior @ both.T + np.diag(noise))
    return gain @ y, prior - gain @ both @ prior


@given(
    seed=st.integers(0, 10**6),
    rows=st.integers(1, 9),
    shared=st.integers(1, 5),
    trees=st.integers(1, 4),
    settings_asked=st.integers(1, 4),
)
@settings(max_examples=40, deadline=None)
def test_evidence_is_that_of_the_full_covariance(seed, rows, shared, trees, settings_asked):
    given_rows = case(seed, rows, shared, trees)
    priors = np.random.default_rng(seed + 1).uniform(1e-3, 1.0, (settings_asked, shared))
    got = log_evidences(*given_rows, priors, 0.02)
    assert got.shape == (settings_asked,)
    assert_allclose(got, [brute_evidence(*given_rows, p, 0.02) for p in priors], rtol=1e-8, atol=1e-8)


@given(seed=st.integers(0, 10**6), rows=st.integers(1, 9), trees=st.integers(1, 5))
@settings(max_examples=40, deadline=None)
def test_posterior_is_that_of_the_joint_normal(seed, rows, trees):
    given_rows = case(seed, rows, 3, trees)
    prior = np.array([0.3, 0.01, 0.0004])
    got = posterior(*given_rows, prior, 0.05)
    mean, covariance = brute_posterior(*given_rows, prior, 0.05)
    assert_allclose(got.mean, mean, atol=1e-9)
    assert_allclose(got.covariance, covariance, atol=1e-9)


def test_by_hand_one_row_one_effect():
    # prior variance 1 and noise 1: half the way to the row; the tree (variance nearly 0) takes nothing
    got = posterior(
        np.array([2.0]), np.array([1.0]), np.ones((1, 1)), np.zeros(1, dtype=int), 1, np.ones(1), 1e-12
    )
    assert_allclose(got.mean, [1.0, 0.0], atol=1e-9)
    assert_allclose(got.covariance[0, 0], 0.5, atol=1e-9)


@pytest.mark.parametrize("trees", [0, 3])
def test_without_rows_the_posterior_is_the_prior(trees):
    nothing = np.empty(0)
    rows = nothing, nothing, np.empty((0, 2)), np.empty(0, dtype=int), trees
    prior = np.array([0.3, 0.1])
    got = posterior(*rows, prior, 0.2)
    assert_allclose(got.mean, 0)
    assert_allclose(got.covariance, np.diag([0.3, 0.1] + [0.2] * trees))
    assert_allclose(log_evidences(*rows, prior[None], 0.2), 0, atol=1e-12)


def test_a_tree_seen_often_is_known_better_than_one_seen_once():
    tree = np.array([0] * 8 + [1])
    y = np.where(tree == 0, 0.3, 0.0)
    got = posterior(y, np.full(9, 0.01), np.ones((9, 1)), tree, 2, np.array([0.04]), 0.02)
    assert got.mean[1] > 0 > got.mean[2]
    assert got.covariance[1, 1] < got.covariance[2, 2]
