"""Rows known only by a bound: Gaussian stand-ins by expectation propagation.

A censored row says ``lower < y <= upper`` of a noisy log wait. Its likelihood as a function of the noise-free
value is matched, in the light of all other rows, by a Gaussian of equal mean and variance (Minka 2001,
expectation propagation; formulas for a probit-like factor derived here).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr

from phenology.waits import WaitTable

Array = NDArray[np.float64]

VAGUE = 25.0  # variance of a stand-in that says nothing yet (log scale: vastly wide)


@dataclass(frozen=True)
class CensoredSites:
    """Rows of one clock, ready for the Gaussian fit.

    Attributes
    ----------
    value : ndarray, shape (rows,)
        Log wait: the middle of its interval, or the stand-in's mean.
    own : ndarray, shape (rows,)
        Variance that does not depend on the setting: interval, anchor and gaps, or the stand-in's.
    lower, upper, extra : ndarray, shape (rows,)
        Bounds, and the variance of anchor and gaps.
    censored : ndarray of bool, shape (rows,)
    log_scale : float
        What the stand-ins must add to the log evidence.
    """

    value: Array
    own: Array
    lower: Array
    upper: Array
    extra: Array
    censored: NDArray[np.bool_]
    log_scale: float = 0.0

    @classmethod
    def start(cls, table: WaitTable, clock: int, offset: Array) -> CensoredSites:
        """Interval rows at their middle; censored rows saying nothing yet."""
        censored = table.censored
        value = np.where(censored, offset, table.middle[clock])
        own = np.where(censored, VAGUE, table.width[clock] ** 2 / 12 + table.noise[clock])
        return cls(value, own, table.lower[clock], table.upper[clock], table.noise[clock], censored)

    def variance(self, noise: float) -> Array:
        """Noise variance of every row; a stand-in already holds its noise."""
        return self.own + np.where(self.censored, 0.0, noise**2)


def match_sites(sites: CensoredSites, centre: Array, spread: Array, noise: float) -> CensoredSites:
    """One sweep: renew every stand-in from the posterior mean and variance of its noise-free value."""
    value, own, scale = sites.value.copy(), sites.own.copy(), 0.0
    for i in np.flatnonzero(sites.censored):
        cavity_variance = 1 / max(1 / spread[i] - 1 / own[i], 1e-6)
        cavity_mean = cavity_variance * (centre[i] / spread[i] - value[i] / own[i])
        total = cavity_variance + noise**2 + sites.extra[i]
        log_mass, mean, variance = bounded_moments(cavity_mean, total, sites.lower[i], sites.upper[i])
        # moments of the noise-free value: it carries its share of what the bound moved
        share = cavity_variance / total
        new_mean = cavity_mean + share * (mean - cavity_mean)
        new_variance = cavity_variance - share**2 * (total - variance)
        precision = max(1 / new_variance - 1 / cavity_variance, 1 / VAGUE)
        own[i] = 1 / precision
        value[i] = own[i] * (new_mean / new_variance - cavity_mean / cavity_variance)
        gap = cavity_variance + own[i]
        scale += log_mass + 0.5 * np.log(2 * np.pi * gap) + 0.5 * (cavity_mean - value[i]) ** 2 / gap
    return replace(sites, value=value, own=own, log_scale=float(scale))


def bounded_moments(mean: float, variance: float, lower: float, upper: float) -> tuple[float, float, float]:
    """Log probability, mean and variance of a Gaussian kept between two bounds.

    Examples
    --------
    >>> log_mass, mean, variance = bounded_moments(0.0, 1.0, 0.0, float("inf"))
    >>> round(log_mass, 4), round(mean, 4), round(variance, 4)
    (-0.6931, 0.7979, 0.3634)
    """
    sd = float(np.sqrt(variance))
    a, b = (lower - mean) / sd, (upper - mean) / sd
    if a > -b:  # mirror so that the subtraction happens in the lower tail
        log_mass, mirrored, kept = bounded_moments(-mean, variance, -upper, -lower)
        return log_mass, -mirrored, kept
    mass = float(ndtr(b) - ndtr(a))
    log_mass = float(np.log(mass)) if mass > 1e-300 else float(log_ndtr(b))
    pdf_a, pdf_b = (float(np.exp(-0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_mass)) for z in (a, b))
    slope = pdf_a - pdf_b
    edge = (0.0 if np.isinf(a) else a * pdf_a) - (0.0 if np.isinf(b) else b * pdf_b)
    kept = max(1 + edge - slope**2, 1e-6)
    return log_mass, mean + sd * slope, variance * kept
