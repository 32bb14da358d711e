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

from phenology.model.arrays import Array, IntArray


@dataclass(frozen=True)
class EffectsPosterior:
    """Posterior of all effects at one setting of the variances, the trees kept in their own cheap form.

    Attributes
    ----------
    shared_mean : ndarray, shape (p,)
    shared_covariance : ndarray, shape (p, p)
    tree_mean : ndarray, shape (trees,)
    tree_precision : ndarray, shape (trees,)
        Of a tree's effect, were the shared effects known.
    reach : ndarray, shape (trees, p)
        How a tree's mean answers to the shared effects.
    """

    shared_mean: Array
    shared_covariance: Array
    tree_mean: Array
    tree_precision: Array
    reach: Array

    def mean_at(self, rows: Array, tree: IntArray | int | None) -> Array:
        """Mean of ``x'beta`` plus the tree's effect (None: without one); rows of shape (..., p)."""
        mean = rows @ self.shared_mean
        return np.asarray(mean if tree is None else mean + self.tree_mean[tree])

    def variance_at(self, rows: Array, tree: IntArray | int | None) -> Array:
        """Variance of the same."""
        left = rows if tree is None else rows - self.reach[tree]
        variance = ((left @ self.shared_covariance) * left).sum(-1)
        return np.asarray(variance if tree is None else variance + 1 / self.tree_precision[tree])

    @property
    def mean(self) -> Array:
        """Shared effects first, then the trees'; shape (p + trees,)."""
        return np.concatenate([self.shared_mean, self.tree_mean])

    @property
    def covariance(self) -> Array:
        """In the same order; shape (p + trees, p + trees), dear with many trees."""
        across = -self.reach @ self.shared_covariance
        trees = self.reach @ self.shared_covariance @ self.reach.T + np.diag(1 / self.tree_precision)
        return np.block([[self.shared_covariance, across.T], [across, trees]])


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
    """Posterior of all effects; arguments as `log_evidences`, `shared_prior` of shape (p,)."""
    weight = 1 / noise
    inner, score, tree_precision, _ = _without_trees(y, noise, shared, tree, trees, tree_prior)
    reach = _tree_sums(shared * weight[:, None], tree, trees) / tree_precision[:, None]
    shared_covariance: Array = np.asarray(np.linalg.inv(inner + np.diag(1 / shared_prior)), np.float64)
    shared_mean = shared_covariance @ score
    tree_mean = np.bincount(tree, y * weight, trees) / tree_precision - reach @ shared_mean
    return EffectsPosterior(shared_mean, shared_covariance, tree_mean, tree_precision, reach)


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
    """Sums of the rows of each tree; shape (trees, p)."""
    if not len(rows):
        return np.zeros((trees, rows.shape[1]))
    order = np.argsort(tree, kind="stable")
    present, first = np.unique(tree[order], return_index=True)
    sums = np.zeros((trees, rows.shape[1]))
    sums[present] = np.add.reduceat(rows[order], first, axis=0)
    return sums
