"""Additive Gaussian effects: what trees, seasons and species add to a log requirement.

A row's value is ``y_i = x_i'beta + (effect of its tree) + noise``, where ``beta`` holds the few shared
effects (species, seasons, slopes) and every effect has a Gaussian prior with mean 0. Each row belongs
to one tree, so the tree effects are eliminated in closed form (a Schur complement) and a fit costs the
cube of the number of shared effects, whatever the number of trees. Derived here; the algebra is that of
Bayesian linear regression with the matrix determinant lemma.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True)
class EffectsPosterior:
    """Posterior of all effects at one setting of the variances.

    Attributes
    ----------
    mean : ndarray, shape (p + trees,)
        Shared effects first, then the trees'.
    covariance : ndarray, shape (p + trees, p + trees)
    log_evidence : float
        Log density of the rows with every effect integrated out.
    """

    mean: Array
    covariance: Array
    log_evidence: float


def log_evidences(
    y: Array, noise: Array, shared: Array, tree: IntArray, trees: int, shared_prior: Array, tree_prior: float
) -> Array:
    """Log density of the rows under several priors on the shared effects at once.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Values less their prior means.
    noise : ndarray, shape (n,)
        Noise variance of each row.
    shared : ndarray, shape (n, p)
        Design of the shared effects.
    tree : ndarray of int, shape (n,)
        The tree of each row.
    trees : int
        Number of trees.
    shared_prior : ndarray, shape (g, p)
        Prior variances of the shared effects, one setting a row.
    tree_prior : float
        Prior variance of a tree's effect.

    Returns
    -------
    ndarray, shape (g,)
    """
    inner, score, tree_precision, rest = _without_trees(y, noise, shared, tree, trees, tree_prior)
    p = len(score)
    # with the score as one more row, the factor's last row is the whitened score: no solve needed
    bordered = np.zeros((len(shared_prior), p + 1, p + 1))
    bordered[:, :p, :p] = inner
    bordered[:, np.arange(p), np.arange(p)] += 1 / shared_prior
    bordered[:, p, :p] = score
    bordered[:, p, p] = rest + 1.0
    lower = np.linalg.cholesky(bordered)
    half = lower[:, p, :p]
    log_det = 2 * np.log(np.diagonal(lower[:, :p, :p], axis1=-2, axis2=-1)).sum(-1)
    log_det = log_det + np.log(shared_prior).sum(-1)
    log_det = log_det + np.log(tree_precision).sum() + trees * np.log(tree_prior) + np.log(noise).sum()
    return np.asarray(-0.5 * (log_det + rest - (half**2).sum(-1) + len(y) * np.log(2 * np.pi)))


def posterior(
    y: Array, noise: Array, shared: Array, tree: IntArray, trees: int, shared_prior: Array, tree_prior: float
) -> EffectsPosterior:
    """Mean and covariance of all effects; arguments as `log_evidences`, `shared_prior` of shape (p,)."""
    p = shared.shape[1]
    weight = 1 / noise
    cross = _tree_sums(shared * weight[:, None], tree, trees)  # (trees, p)
    inner, score, tree_precision, _ = _without_trees(y, noise, shared, tree, trees, tree_prior)
    shared_cov = np.linalg.inv(inner + np.diag(1 / shared_prior))
    shared_mean = shared_cov @ score
    tree_score = np.bincount(tree, y * weight, trees)
    reach = cross / tree_precision[:, None]  # how a tree's mean answers to the shared effects
    covariance = np.zeros((p + trees, p + trees))
    covariance[:p, :p] = shared_cov
    covariance[p:, :p] = -reach @ shared_cov
    covariance[:p, p:] = covariance[p:, :p].T
    covariance[p:, p:] = reach @ shared_cov @ reach.T + np.diag(1 / tree_precision)
    mean = np.concatenate([shared_mean, tree_score / tree_precision - reach @ shared_mean])
    evidence = log_evidences(y, noise, shared, tree, trees, shared_prior[None], tree_prior)[0]
    return EffectsPosterior(mean, covariance, float(evidence))


def _without_trees(
    y: Array, noise: Array, shared: Array, tree: IntArray, trees: int, tree_prior: float
) -> tuple[Array, Array, Array, float]:
    """Normal equations of the shared effects after the trees are eliminated."""
    weight = 1 / noise
    weighted = shared * weight[:, None]
    tree_precision: Array = np.bincount(tree, weight, trees).astype(np.float64) + 1 / tree_prior
    cross = _tree_sums(weighted, tree, trees)
    tree_score = np.bincount(tree, y * weight, trees)
    inner = shared.T @ weighted - cross.T @ (cross / tree_precision[:, None])
    score = weighted.T @ y - cross.T @ (tree_score / tree_precision)
    rest = float((y**2 * weight).sum() - (tree_score**2 / tree_precision).sum())
    return inner, score, tree_precision, rest


def _tree_sums(rows: Array, tree: IntArray, trees: int) -> Array:
    belongs = np.arange(trees)[:, None] == tree[None, :]
    return np.asarray(belongs.astype(np.float64) @ rows)
