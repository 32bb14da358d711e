"""The few values of the gamma distribution that a season's heavy tail needs, without loading scipy.

See `phenology.mathematics.normal_curve` for why. Tests hold them against scipy.
"""

from __future__ import annotations

import math


def gamma_quantile(shape: int, level: float) -> float:
    """Quantile of a gamma distribution of whole shape and rate 1, by bisection.

    Examples
    --------
    >>> round(gamma_quantile(2, 0.5), 6)
    1.678347
    """
    low, high = 0.0, 1e3
    for _ in range(100):
        middle = (low + high) / 2
        left_over = math.exp(-middle) * sum(middle**k / math.factorial(k) for k in range(shape))
        if 1 - left_over < level:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def digamma(x: float) -> float:
    """Slope of the log gamma function, for x of 1 and more, to about 1e-8.

    Examples
    --------
    >>> round(digamma(2.5), 6)
    0.703157
    """
    h = 1e-4
    return (math.lgamma(x + h) - math.lgamma(x - h)) / (2 * h)
