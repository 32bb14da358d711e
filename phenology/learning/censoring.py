"""Rows known only by a bound: Gaussian stand-ins by expectation propagation.

A censored row says ``lower < y <= upper`` of a noisy log wait. Its likelihood as a function of the noise-free
value is matched, in the light of all other rows, by a Gaussian of equal mean and variance (Minka 2001,
expectation propagation; formulas for a probit-like factor derived here).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from phenology.learning.waits import WaitTable
from phenology.mathematics.distributions import log_normal_cdf
from phenology.model.arrays import Array, IntArray

VAGUE = 25.0  # variance of a stand-in that says nothing yet (log scale: vastly wide)


@dataclass(frozen=True)
class CensoredSites:
    """Rows of each clock, ready for the Gaussian fit.

    Attributes
    ----------
    value : ndarray, shape (clocks, rows)
        Log wait: the middle of its interval, or the stand-in's mean.
    own : ndarray, shape (clocks, rows)
        Variance that does not depend on the setting: interval, anchor and gaps, or the stand-in's.
    lower, upper, extra : ndarray, shape (clocks, rows)
        Bounds, and the variance of anchor and gaps.
    censored : ndarray of bool, shape (rows,)
    log_scale : ndarray, shape (clocks,), or float
        What the stand-ins must add to the log evidence.
    """

    value: Array
    own: Array
    lower: Array
    upper: Array
    extra: Array
    censored: NDArray[np.bool_]
    log_scale: Array | float = 0.0

    @classmethod
    def start(cls, table: WaitTable, clocks: IntArray, offset: Array) -> CensoredSites:
        """Interval rows at their middle; censored rows saying nothing yet."""
        censored, noise = table.censored, table.noise[clocks]
        value = np.where(censored, offset, table.middle[clocks])
        own = np.where(censored, VAGUE, table.width[clocks] ** 2 / 12 + noise)
        return cls(value, own, table.lower[clocks], table.upper[clocks], noise, censored)

    def variance(self, noise: float) -> Array:
        """Noise variance of every row; a stand-in already holds its noise."""
        return self.own + np.where(self.censored, 0.0, noise**2)


def match_sites(sites: CensoredSites, centre: Array, spread: Array, noise: float) -> CensoredSites:
    """One sweep: renew every stand-in from the posterior mean and variance of its noise-free value.

    `centre` and `spread` are of the censored rows alone, of shape (clocks, censored rows).
    """
    rows = np.flatnonzero(sites.censored)
    old_value, old_own = sites.value[..., rows], sites.own[..., rows]
    cavity_variance = 1 / np.maximum(1 / spread - 1 / old_own, 1e-6)
    cavity_mean = cavity_variance * (centre / spread - old_value / old_own)
    total = cavity_variance + noise**2 + sites.extra[..., rows]
    lower, upper = sites.lower[..., rows], sites.upper[..., rows]
    log_mass, mean, variance = bounded_moments(cavity_mean, total, lower, upper)
    # moments of the noise-free value: it carries its share of what the bound moved
    share = cavity_variance / total
    new_mean = cavity_mean + share * (mean - cavity_mean)
    new_variance = cavity_variance - share**2 * (total - variance)
    precision = np.maximum(1 / new_variance - 1 / cavity_variance, 1 / VAGUE)
    value, own = sites.value.copy(), sites.own.copy()
    own[..., rows] = 1 / precision
    value[..., rows] = (new_mean / new_variance - cavity_mean / cavity_variance) / precision
    gap = cavity_variance + 1 / precision
    scale = log_mass + 0.5 * np.log(2 * np.pi * gap) + 0.5 * (cavity_mean - value[..., rows]) ** 2 / gap
    return replace(sites, value=value, own=own, log_scale=scale.sum(-1))


def bounded_moments(mean: Array, variance: Array, lower: Array, upper: Array) -> tuple[Array, Array, Array]:
    """Log probability, mean and variance of Gaussians kept between two bounds.

    Parameters
    ----------
    mean, variance, lower, upper : ndarray, any equal shape
        Bounds may be infinite.

    Returns
    -------
    log_mass, mean, variance : ndarray, same shape

    Examples
    --------
    >>> zero, one = np.zeros(1), np.ones(1)
    >>> [float(v[0].round(4)) for v in bounded_moments(zero, one, zero, one * np.inf)]
    [-0.6931, 0.7979, 0.3634]
    """
    sd = np.sqrt(variance)
    a, b = (lower - mean) / sd, (upper - mean) / sd
    mirror = a > -b  # so that the subtraction happens in the lower tail
    a, b = np.where(mirror, -b, a), np.where(mirror, -a, b)
    log_b = log_normal_cdf(b)
    # log(ndtr(b) - ndtr(a)), from the larger one
    log_mass = log_b + np.log1p(-np.minimum(np.exp(np.minimum(log_normal_cdf(a) - log_b, 0.0)), 1 - 1e-15))
    pdf_a, pdf_b = (np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - log_mass) for z in (a, b))
    slope = pdf_a - pdf_b
    edge = np.where(np.isinf(a), 0.0, a) * pdf_a - np.where(np.isinf(b), 0.0, b) * pdf_b
    kept = np.clip(1 + edge - slope**2, 1e-6, 1.0)
    return log_mass, mean + sd * np.where(mirror, -slope, slope), variance * kept
