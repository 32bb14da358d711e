"""Gaussian effects against a plain multivariate normal that builds the whole covariance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import multivariate_normal

from phenology.learning.effects import Rows, Weighed, log_evidences, posterior


def case(seed: int, rows: int, shared: int, trees: int):
    rng = np.random.default_rng(seed)
    design = rng.normal(size=(rows, shared))
    tree = rng.integers(0, trees, rows)
    y = rng.normal(scale=0.4, size=rows)
    noise = rng.uniform(0.002, 0.5, rows)
    return y, noise, design, tree, trees


def weighed(y, noise, design, tree, trees):
    return Weighed.of(Rows.plain(design, tree, trees), y, noise)


def joint(found):
    """Mean and covariance of all effects, the shared ones first, then the trees'."""
    design = found.rows.expand[0]
    across = -found.reach @ design @ found.shared_covariance
    trees = -across @ design.T @ found.reach.T + np.diag(1 / found.tree_precision)
    covariance = np.block([[found.shared_covariance, across.T], [across, trees]])
    return np.concatenate([found.shared_mean, found.tree_mean]), covariance


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
@settings(max_examples=40)
def test_evidence_is_that_of_the_full_covariance(seed, rows, shared, trees, settings_asked):
    given_rows = case(seed, rows, shared, trees)
    priors = np.random.default_rng(seed + 1).uniform(1e-3, 1.0, (settings_asked, shared))
    got = log_evidences(weighed(*given_rows), priors, 0.02)
    assert got.shape == (settings_asked,)
    assert_allclose(got, [brute_evidence(*given_rows, p, 0.02) for p in priors], rtol=1e-8, atol=1e-8)


@given(seed=st.integers(0, 10**6), rows=st.integers(1, 9), trees=st.integers(1, 5))
@settings(max_examples=40)
def test_posterior_is_that_of_the_joint_normal(seed, rows, trees):
    given_rows = case(seed, rows, 3, trees)
    prior = np.array([0.3, 0.01, 0.0004])
    got = joint(posterior(weighed(*given_rows), prior, 0.05))
    mean, covariance = brute_posterior(*given_rows, prior, 0.05)
    assert_allclose(got[0], mean, atol=1e-9)
    assert_allclose(got[1], covariance, atol=1e-9)


def test_by_hand_one_row_one_effect():
    # prior variance 1 and noise 1: half the way to the row; the tree (variance nearly 0) takes nothing
    row = weighed(np.array([2.0]), np.array([1.0]), np.ones((1, 1)), np.zeros(1, dtype=int), 1)
    mean, covariance = joint(posterior(row, np.ones(1), 1e-12))
    assert_allclose(mean, [1.0, 0.0], atol=1e-9)
    assert_allclose(covariance[0, 0], 0.5, atol=1e-9)


@pytest.mark.parametrize("trees", [0, 3])
def test_without_rows_the_posterior_is_the_prior(trees):
    nothing = np.empty(0)
    rows = nothing, nothing, np.empty((0, 2)), np.empty(0, dtype=int), trees
    prior = np.array([0.3, 0.1])
    mean, covariance = joint(posterior(weighed(*rows), prior, 0.2))
    assert_allclose(mean, 0)
    assert_allclose(covariance, np.diag([0.3, 0.1] + [0.2] * trees))
    assert_allclose(log_evidences(weighed(*rows), prior[None], 0.2), 0, atol=1e-12)


def test_a_tree_seen_often_is_known_better_than_one_seen_once():
    tree = np.array([0] * 8 + [1])
    y = np.where(tree == 0, 0.3, 0.0)
    rows = weighed(y, np.full(9, 0.01), np.ones((9, 1)), tree, 2)
    mean, covariance = joint(posterior(rows, np.array([0.04]), 0.02))
    assert mean[1] > 0 > mean[2]
    assert covariance[1, 1] < covariance[2, 2]


def test_blocks_and_batches_give_what_each_gives_alone():
    # two species of trees, each in columns of its own; several weights and values go through at once
    rng = np.random.default_rng(4)
    tree, block = rng.integers(0, 6, 40), np.array([0, 1, 1, 0, 0, 1])
    local, expand = rng.normal(size=(40, 3)), rng.integers(0, 2, (2, 3, 5)).astype(float)
    rows = Rows(local, tree, block, expand)
    design = np.einsum("nq,nqp->np", local, expand[block[tree]])
    y, noise, tree_prior = rng.normal(size=(4, 40)), rng.uniform(0.1, 1, (4, 40)), rng.uniform(0.1, 1, 4)
    prior = rng.uniform(0.1, 1.0, (4, 3, 5))
    evidence = log_evidences(Weighed.of(rows, y, noise), prior, 0.3)
    found = posterior(Weighed.of(rows, y, noise), prior[:, 0], tree_prior)
    which = np.array([3, 17, 30])
    mean, variance = found.of_rows(which)
    for k in range(4):
        alone = weighed(y[k], noise[k], design, tree, 6)
        assert_allclose(evidence[k], log_evidences(alone, prior[k], 0.3))
        centre, spread = joint(posterior(alone, prior[k, 0], tree_prior[k]))
        at = whole_design(design, tree, 6)[which]
        assert_allclose(mean[k], at @ centre)
        assert_allclose(variance[k], np.einsum("mp,pq,mq->m", at, spread, at))
        assert_allclose(found.mean_at(design[0])[k], design[0] @ centre[:5])
        assert_allclose(found.variance_at(design[0])[k], design[0] @ spread[:5, :5] @ design[0])
