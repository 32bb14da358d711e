"""Rows known only by two intervals: Gaussian stand-ins by expectation propagation.

A censored row says between which looks a wait began and between which it ended. Within the first interval it
began anywhere alike, so that every wait has a chance of ending in the second: also where both lie between the
same two looks, which short waits do more often than long ones. That likelihood of the noise-free log wait is
matched, in the light of all other rows, by a Gaussian of equal mean and variance (Minka 2001, expectation
propagation; the chance derived here).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from phenology.learning.waits import LEAST_WAIT, WaitTable
from phenology.model.arrays import Array, IntArray

VAGUE = 25.0  # variance of a stand-in that says nothing yet (log scale: vastly wide)
# Gauss-Legendre nodes and weights, from the middle outwards (a test holds them against numpy, whose own take
# longer to load than a forecast of a few trees has to spare).
_OUT = (
    0.0640568928626056, 0.1911188674736163, 0.3150426796961634, 0.4337935076260451,
    0.5454214713888396, 0.6480936519369755, 0.7401241915785544, 0.8200019859739029,
    0.8864155270044011, 0.9382745520027328, 0.9747285559713095, 0.9951872199970213,
)  # fmt: skip
_WEIGHT = (
    0.127938195346752, 0.1258374563468282, 0.1216704729278033, 0.1155056680537255,
    0.1074442701159656, 0.0976186521041139, 0.0861901615319532, 0.0733464814110802,
    0.0592985849154364, 0.0442774388174194, 0.0285313886289336, 0.0123412297999887,
)  # fmt: skip
NODES = np.array([*(-t for t in reversed(_OUT)), *_OUT])
WEIGHTS = np.array([*reversed(_WEIGHT), *_WEIGHT])
# at the very edge of two intervals, where differences are lost to rounding (the width on the log scale)
LEAST_CHANCE, LEAST_WIDTH = 1e-12, 1e-9
EXPONENT = 36.0  # how much smaller than at its top, as a power of e, a density may be left out


@dataclass(frozen=True)
class CensoredSites:
    """Rows of each clock, ready for the Gaussian fit.

    Attributes
    ----------
    value : ndarray, shape (clocks, rows)
        Log wait: the middle of its interval, or the stand-in's mean.
    own : ndarray, shape (clocks, rows)
        Variance that does not depend on the setting: interval, anchor and gaps, or the stand-in's.
    ends : ndarray, shape (clocks, rows, 4)
        See `WaitTable`.
    gaps : ndarray, shape (clocks, rows)
        Variance of gaps in the weather.
    censored : ndarray of bool, shape (rows,)
    log_scale : ndarray, shape (clocks,), or float
        What the stand-ins must add to the log evidence.
    """

    value: Array
    own: Array
    ends: Array
    gaps: Array
    censored: NDArray[np.bool_]
    log_scale: Array | float = 0.0

    @classmethod
    def start(cls, table: WaitTable, clocks: IntArray, offset: Array) -> CensoredSites:
        """Interval rows at their middle; censored rows saying nothing yet."""
        censored = table.censored
        value = np.where(censored, offset, table.middle[clocks])
        own = np.where(censored, VAGUE, table.width[clocks] ** 2 / 12 + table.noise[clocks])
        return cls(value, own, table.ends[clocks], table.gaps[clocks], censored)

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
    total = cavity_variance + noise**2 + sites.gaps[..., rows]
    log_mass, mean, variance = interval_moments(cavity_mean, total, sites.ends[..., rows, :])
    # moments of the noise-free value: it carries its share of what the intervals moved
    share = cavity_variance / total
    new_mean = cavity_mean + share * (mean - cavity_mean)
    new_variance = cavity_variance - share**2 * (total - variance)
    precision = np.maximum(1 / new_variance - 1 / cavity_variance, 1 / VAGUE)
    value, own = sites.value.copy(), sites.own.copy()
    own[..., rows] = 1 / precision
    value[..., rows] = new_mean + (new_mean - cavity_mean) / (cavity_variance * precision)
    gap = cavity_variance + 1 / precision
    scale = log_mass + 0.5 * np.log(2 * np.pi * gap) + 0.5 * (cavity_mean - value[..., rows]) ** 2 / gap
    return replace(sites, value=value, own=own, log_scale=scale.sum(-1))


def interval_moments(mean: Array, variance: Array, ends: Array) -> tuple[Array, Array, Array]:
    """Log probability of two intervals under Gaussian log waits, and their mean and variance given these.

    Parameters
    ----------
    mean, variance : ndarray, any equal shape
    ends : ndarray, the same shape and an axis of 4
        See `WaitTable`.

    Returns
    -------
    log_mass, mean, variance : ndarray, same shape

    Examples
    --------
    >>> zero, one = np.zeros(1), np.ones(1)
    >>> [float(v[0].round(3)) for v in interval_moments(zero, one, np.array([[-1e-9, 0, 1, np.inf]]))]
    [-0.693, 0.798, 0.363]
    """
    began, begun, after, by = np.moveaxis(ends[..., None], -2, 0)
    mean, sd = mean[..., None], np.sqrt(variance)[..., None]
    lower, upper = np.log(np.maximum(after - begun, LEAST_WAIT)), np.log(by - began)
    # the part of what the looks allow on which the Gaussian is not negligible
    nearest = np.clip(mean, lower, upper)
    reach = np.sqrt((nearest - mean) ** 2 + 2 * EXPONENT * sd**2)
    lower, upper = np.maximum(lower, mean - reach), np.minimum(upper, mean + reach)
    upper = np.maximum(upper, lower + LEAST_WIDTH)
    at = (lower + upper) / 2 + (upper - lower) / 2 * NODES
    wait = np.exp(at)
    chance = (np.minimum(begun, by - wait) - np.maximum(began, after - wait)) / (begun - began)
    log_density = np.log(np.maximum(chance, LEAST_CHANCE)) - 0.5 * ((at - mean) / sd) ** 2
    top = log_density.max(-1, keepdims=True)
    share = WEIGHTS * np.exp(log_density - top)
    mass = share.sum(-1, keepdims=True)
    share /= mass
    centre = (share * at).sum(-1, keepdims=True)
    scale = np.log(mass * (upper - lower) / (2 * np.sqrt(2 * np.pi) * sd)) + top
    return scale[..., 0], centre[..., 0], (share * (at - centre) ** 2).sum(-1)
