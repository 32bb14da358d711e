"""Gaussian effects: a linear model whose per-tree effects are eliminated, so that a fit stays small.

``y = x'beta + u[tree] + noise``, where each effect has a Gaussian prior with mean 0. Each row belongs
to one tree, so the tree effects are eliminated in closed form (a Schur complement) and a fit costs the
cube of the number of shared effects, whatever the number of trees. Derived here; the algebra is that of
Bayesian linear regression with the matrix determinant lemma.

Rows of one block of trees (a species) touch few of the shared effects, so they are kept in columns of their
block's own, and only the sums over them are spread out to all shared effects. Leading axes of values and
variances (clocks, settings) go through together.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from phenology.model.arrays import Array, IntArray


@dataclass(frozen=True, eq=False, repr=False)
class Rows:
    """Which effects each row answers to."""

    local: Array  # each row in the columns of its block; shape (n, q)
    tree: IntArray  # the tree of each row; shape (n,)
    block: IntArray  # the block of each tree; shape (trees,)
    # what a block's columns mean in the shared effects: a row's design is ``local @ expand[block]``; shape
    # (blocks, q, p)
    expand: Array

    @classmethod
    def plain(cls, shared: Array, tree: IntArray, trees: int) -> Rows:
        """Rows of one block, as their design of shape (n, p) gives them."""
        return cls(shared, tree, np.zeros(trees, dtype=np.intp), np.eye(shared.shape[1])[None])

    @property
    def trees(self) -> int:
        """Number of trees, with rows or without."""
        return len(self.block)

    @cached_property
    def order(self) -> IntArray:
        """The rows block by block and tree by tree."""
        return np.lexsort((self.tree, self.block[self.tree]))

    @cached_property
    def first(self) -> IntArray:
        """Where in `order` each tree that has rows begins."""
        return np.flatnonzero(np.diff(self.tree[self.order], prepend=-1))

    @cached_property
    def present(self) -> IntArray:
        """The trees that have rows, in that order."""
        return self.tree[self.order][self.first]

    def slices(self, tree: IntArray) -> list[slice]:
        """The blocks of a run of trees in that order."""
        edges = np.searchsorted(self.block[tree], np.arange(len(self.expand) + 1))
        return [slice(int(a), int(b)) for a, b in itertools.pairwise(edges)]


class EffectsPosterior(NamedTuple):
    """Posterior of all effects at settings of the variances, the trees kept in their own cheap form."""

    rows: Rows
    shared_mean: Array  # shape (..., p)
    shared_covariance: Array  # shape (..., p, p)
    tree_mean: Array  # shape (..., trees)
    tree_precision: Array  # of a tree's effect, were the shared effects known; shape (..., trees)
    reach: Array  # how a tree's mean answers to the columns of its block; shape (..., trees, q)

    def mean_at(self, row: Array) -> Array:
        """Mean of ``x'beta`` at a design row of shape (p,), or at each of several, without a tree."""
        return np.asarray(self.shared_mean @ row.T)

    def variance_at(self, row: Array) -> Array:
        """Variance of the same."""
        return np.asarray(((row @ self.shared_covariance) * row).sum(-1))

    def of_rows(self, which: IntArray) -> tuple[Array, Array]:
        """Mean and variance of some rows' noise-free values, trees included; shape (..., len(which))."""
        rows, batch = self.rows, self.shared_mean.shape[:-1]
        tree = rows.tree[which]
        variance = 1 / self.tree_precision[..., tree]
        mean = self.tree_mean[..., tree]
        block = rows.block[tree]
        for b in np.flatnonzero(np.bincount(block)):  # np.unique would load numpy.ma
            mine, expand = np.flatnonzero(block == b), rows.expand[b]
            own = rows.local[which[mine]]
            left = own - self.reach[..., tree[mine], :]
            spread = expand @ self.shared_covariance @ expand.T
            mean[..., mine] += (own @ (self.shared_mean @ expand.T)[..., None])[..., 0]
            variance[..., mine] += np.einsum("...q,...q->...", left @ spread, left)
        return mean.reshape(*batch, -1), variance.reshape(*batch, -1)


@dataclass(frozen=True, eq=False, repr=False)
class Weighed:
    """Rows summed by their weights: all that priors are held against. Arrays lead with the batch's axes."""

    rows: Rows
    count: int
    log_noise: Array
    square: Array
    gram: Array
    score: Array
    cross: Array
    tree_weight: Array
    tree_score: Array

    @classmethod
    def of(cls, rows: Rows, y: Array, noise: Array) -> Weighed:
        """Sum rows up.

        Parameters
        ----------
        y, noise : ndarray, shape (..., n)
            Values less their prior means, and the noise variance of each.
        """
        order, first, local = rows.order, rows.first, rows.local[rows.order]
        weight, value = 1 / noise[..., order], y[..., order]
        score = weight * value
        q = local.shape[1]
        outer = (local[:, :, None] * local[:, None, :]).reshape(len(local), q * q)
        slices = rows.slices(rows.tree[order])
        gram = np.stack([weight[..., s] @ outer[s] for s in slices], axis=-2)
        return cls(
            rows,
            len(order),
            np.log(noise).sum(-1),
            (score * value).sum(-1),
            gram.reshape(*gram.shape[:-1], q, q),
            np.stack([score[..., s] @ local[s] for s in slices], axis=-2),
            np.stack([np.add.reduceat(weight * one, first, axis=-1) for one in local.T], axis=-1),
            np.add.reduceat(weight, first, axis=-1),
            np.add.reduceat(score, first, axis=-1),
        )

    def without_trees(self, tree_prior: Array) -> tuple[Array, Array, Array, Array]:
        """Normal equations of the shared effects after the trees are eliminated.

        Returns
        -------
        inner, score, tree_precision, rest : ndarray
            Of shapes (..., p, p), (..., p), (..., trees with rows) and (...).
        """
        expand = self.rows.expand
        precision = self.tree_weight + 1 / tree_prior[..., None]
        scaled = self.cross / precision[..., None]
        inner, score = np.empty_like(self.gram), np.empty_like(self.score)
        for b, s in enumerate(self.rows.slices(self.rows.present)):
            mine = np.swapaxes(scaled[..., s, :], -1, -2)
            inner[..., b, :, :] = self.gram[..., b, :, :] - mine @ self.cross[..., s, :]
            score[..., b, :] = self.score[..., b, :] - (mine @ self.tree_score[..., s, None])[..., 0]
        rest = self.square - (self.tree_score**2 / precision).sum(-1)
        flat = expand.reshape(-1, expand.shape[-1])
        half = (inner @ expand).reshape(*inner.shape[:-3], *flat.shape)
        return flat.T @ half, score.reshape(*score.shape[:-2], -1) @ flat, precision, rest


def log_evidences(weighed: Weighed, shared_prior: Array, tree_prior: float) -> Array:
    """Log density of the rows under several priors on the shared effects at once.

    Parameters
    ----------
    shared_prior : ndarray, shape (..., g, p)
        Prior variances of the shared effects, one setting a row.
    tree_prior : float
        Prior variance of a tree's effect.

    Returns
    -------
    ndarray, shape (..., g)
    """
    inner, score, tree_precision, rest = weighed.without_trees(np.asarray(tree_prior))
    p = score.shape[-1]
    # with the score as one more row, the square of the last pivot is what the effects leave of `rest`
    bordered = np.empty((*rest.shape, p + 1, p + 1))
    bordered[..., :p, :p], bordered[..., p, p] = inner, rest + 1.0
    bordered[..., :p, p] = bordered[..., p, :p] = score
    differ = (shared_prior != shared_prior[..., :1, :]).reshape(-1, p).any(0)
    first = int(np.append(differ, True).argmax())  # effects of which all settings believe the same
    bordered, log_det_first = _without_first(bordered, shared_prior[..., 0, :first])
    of_trees = np.log(tree_precision).sum(-1) + tree_precision.shape[-1] * np.log(tree_prior)
    log_det = np.log(shared_prior).sum(-1) + (of_trees + log_det_first + weighed.log_noise)[..., None]
    precision, pivots = 1 / shared_prior[..., first:], np.empty((*log_det.shape, p - first + 1))
    for k in np.ndindex(rest.shape):  # one after another they stay near the processor
        each = np.repeat(bordered[k][None], len(log_det[k]), axis=0)
        diagonals = each.reshape(len(each), -1)[:, :: each.shape[-1] + 1]
        diagonals[:, :-1] += precision[k]
        pivots[k] = np.diagonal(np.linalg.cholesky(each), axis1=-2, axis2=-1)
    log_det += 2 * np.log(pivots[..., :-1]).sum(-1)
    left = pivots[..., -1] ** 2 - 1.0
    return np.asarray(-0.5 * (log_det + left + weighed.count * np.log(2 * np.pi)))


def _without_first(normal: Array, prior: Array) -> tuple[Array, Array]:
    """Normal equations once their first effects are eliminated, and the log determinant of these."""
    first, at = prior.shape[-1], np.arange(prior.shape[-1])
    normal[..., at, at] += 1 / prior
    lower = np.linalg.cholesky(normal[..., :first, :first])
    half = np.linalg.solve(lower, normal[..., :first, first:])
    log_det = 2 * np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(-1)
    return normal[..., first:, first:] - np.swapaxes(half, -1, -2) @ half, log_det


def posterior(weighed: Weighed, shared_prior: Array, tree_prior: Array | float) -> EffectsPosterior:
    """Posterior of all effects; `shared_prior` of shape (..., p), `tree_prior` of (...)."""
    rows, tree_prior = weighed.rows, np.asarray(tree_prior)
    inner, score, precision, _ = weighed.without_trees(tree_prior)
    at = np.arange(score.shape[-1])
    inner[..., at, at] += 1 / shared_prior
    covariance: Array = np.asarray(np.linalg.inv(inner), np.float64)
    mean = (covariance @ score[..., None])[..., 0]
    batch, q = mean.shape[:-1], rows.local.shape[1]
    tree_mean = np.zeros((*batch, rows.trees))
    tree_precision = np.broadcast_to(1 / tree_prior[..., None], tree_mean.shape).copy()
    reach = np.zeros((*batch, rows.trees, q))
    present = rows.present
    tree_precision[..., present] = precision
    reach[..., present, :] = weighed.cross / precision[..., None]
    of_block = mean @ rows.expand.reshape(-1, rows.expand.shape[-1]).T
    of_block = of_block.reshape(*batch, -1, q)[..., rows.block[present], :]
    tree_mean[..., present] = weighed.tree_score / precision - (reach[..., present, :] * of_block).sum(-1)
    return EffectsPosterior(rows, mean, covariance, tree_mean, tree_precision, reach)
