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
# Nodes and weights of Gauss and Legendre, from the middle outwards; a test holds them against numpy, whose
# own take long to load.
_OUTWARDS = np.array([
    0.064056893, 0.191118867, 0.315042680, 0.433793508, 0.545421471, 0.648093652,
    0.740124192, 0.820001986, 0.886415527, 0.938274552, 0.974728556, 0.995187220,
])  # fmt: skip
_WEIGHTS = np.array([
    0.127938195, 0.125837456, 0.121670473, 0.115505668, 0.107444270, 0.097618652,
    0.086190162, 0.073346481, 0.059298585, 0.044277439, 0.028531389, 0.012341230,
])  # fmt: skip
NODES = np.concatenate([-_OUTWARDS[::-1], _OUTWARDS])[:, None].astype(np.float32)
WEIGHTS = np.concatenate([_WEIGHTS[::-1], _WEIGHTS])[:, None].astype(np.float32)
# at the very edge of two intervals, where differences are lost to rounding (the width on the log scale)
LEAST_CHANCE, LEAST_WIDTH = np.float32(1e-12), 1e-9
AT_ONCE = 2048  # so many rows stay near the processor while their nodes are worked on (ours)
LONGEST = 80.0  # log of a wait past all seasons, which a number of single precision still holds (ours)
EXPONENT = 36.0  # how much smaller than at its top, as a power of e, a density may be left out


@dataclass(frozen=True, eq=False, repr=False)
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
    shape = mean.shape
    rows = [np.ravel(part) for part in (mean, variance, *np.moveaxis(ends, -1, 0))]
    found = np.empty((3, mean.size))
    for first in range(0, mean.size, AT_ONCE):
        some = slice(first, first + AT_ONCE)
        found[:, some] = _moments(*(part[some] for part in rows))
    log_mass, centre, spread = found.reshape(3, *shape)
    return log_mass, centre, spread


def _moments(
    mean: Array, variance: Array, began: Array, begun: Array, after: Array, by: Array
) -> tuple[Array, Array, Array]:
    """The same of a run of rows; nodes, the first axis, are counted from the middle of what is integrated."""
    sd = np.sqrt(variance)
    lower, upper = np.log(np.maximum(after - begun, LEAST_WAIT)), np.log(by - began)
    # the part of what the looks allow on which the Gaussian is not negligible
    nearest = np.clip(mean, lower, upper)
    reach = np.sqrt((nearest - mean) ** 2 + 2 * EXPONENT * variance)
    lower, upper = np.maximum(lower, mean - reach), np.minimum(upper, np.minimum(mean + reach, LONGEST))
    upper = np.maximum(upper, lower + LEAST_WIDTH)
    middle, half = (lower + upper) / 2, (upper - lower) / 2
    from_mean = (middle - mean) / sd
    single = np.float32
    at = NODES * half.astype(single)
    wait = np.exp(at)
    wait *= np.exp(middle).astype(single)
    chance = np.minimum(begun.astype(single), by.astype(single) - wait)
    chance -= np.maximum(began.astype(single), after.astype(single) - wait)
    chance /= (begun - began).astype(single)
    log_density = np.log(np.maximum(chance, LEAST_CHANCE, out=chance), out=chance)
    deviate = at / sd.astype(single)
    deviate *= deviate / 2 + from_mean.astype(single)
    log_density -= deviate
    top = log_density.max(0)
    log_density -= top
    share = np.exp(log_density, out=log_density)
    share *= WEIGHTS
    mass = share.sum(0)
    share /= mass
    centre = (share * at).sum(0)
    at -= centre
    scale = np.log(mass * half / (np.sqrt(2 * np.pi) * sd)) + top - from_mean**2 / 2
    return scale, middle + centre, (share * at**2).sum(0, dtype=np.float64)
