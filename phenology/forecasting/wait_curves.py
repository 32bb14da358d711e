"""The curve of one wait: the chance, day by day and trace by trace, that it has ended.

What every forecast spends its time on: single precision does (it keeps dates to a thousandth of a day), and a
clock is read once for all draws on it, on those days alone on which their curves still rise.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import Clock, ThermalTime
from phenology.learning.prediction import Prediction
from phenology.mathematics.normal_curve import normal_cdf
from phenology.model.arrays import Array, BoolArray, IntArray

FARTHEST = 5.5  # normal deviates beyond which a curve is flat: 2e-8 are left
LEAST_OVER = 1e-9  # a smaller chance that a wait was over by its date is none
_NOTHING = 1e-20  # stands for no time at all, whose log is taken


@dataclass(frozen=True)
class Weather:
    """What waits are read on.

    Attributes
    ----------
    thermal_time : ThermalTime
        The clocks over the possible seasons, or over one whose weather is known.
    gap_variance : ndarray, shape (days + 1,)
        Running variance of the temperature sum from filled days. [degC^2 d]
    clocks : sequence of Clock
    every : int
        Curves are computed at every so many days and run straight in between. [d]
    """

    thermal_time: ThermalTime
    gap_variance: Array
    clocks: Sequence[Clock]
    every: int

    @property
    def days(self) -> int:
        """Days of the season."""
        return self.thermal_time.days

    @property
    def traces(self) -> int:
        """Possible seasons."""
        return len(self.thermal_time.lines[0])


def wait_curves(prediction: Prediction, begun: Array, share: Array, weather: Weather) -> Array:
    """Mean over beginnings and draws of P(wait ended by day n).

    Parameters
    ----------
    prediction : Prediction
    begun : ndarray, shape (k, traces)
        Times at which the wait may have begun on each trace.
    share : ndarray, shape (k,)
        Their shares.
    weather : Weather

    Returns
    -------
    ndarray, shape (traces, days + 1)
    """
    begins = begun < weather.days  # a wait that begins after the last day does not end in it
    curves = np.zeros((weather.traces, weather.days + 1))
    if not begins.any():
        return curves
    where = np.clip(begun, 0, weather.days)
    at = np.append(np.arange(int(where.min()), weather.days, weather.every), weather.days)
    out = np.zeros((weather.traces, len(at)))
    single, whole = share.astype(np.float32), share @ begins
    for weight, rising, ended in _by_clock(prediction, where, begins, at, weather):
        if not begins.all():
            ended *= begins[..., None]
        if ended.size:
            out[:, rising] += (single @ ended.reshape(len(share), -1)).reshape(weather.traces, -1)
        out[:, rising.stop :] += weight * whole[:, None]
    if weather.every == 1:
        curves[:, at] = out
    else:
        everyday = np.arange(at[0], weather.days + 1)
        below = np.minimum((everyday - at[0]) // weather.every, max(len(at) - 2, 0))
        above = np.minimum(below + 1, len(at) - 1)
        part = (everyday - at[below]) / np.maximum(at[above] - at[below], 1)
        curves[:, at[0] :] = out[:, below] * (1 - part) + out[:, above] * part
    return np.asarray(np.maximum.accumulate(curves, axis=1))


def _by_clock(
    prediction: Prediction, where: Array, begins: BoolArray, at: IntArray, weather: Weather
) -> Iterator[tuple[float, slice, NDArray[np.float32]]]:
    """For each clock the weight of its draws, among which of the days their summed curves rise, and those."""
    thermal_time, gap = weather.thermal_time, weather.gap_variance
    low = np.minimum(where.astype(np.intp), weather.days - 1)
    trace, part = np.arange(weather.traces), (where - low).astype(np.float32)
    filled = None
    if gap[-1] > (began := np.interp(where, np.arange(weather.days + 1), gap)).min():
        filled = np.maximum(gap[at] - began[..., None], 0.0).astype(np.float32)
    for c in np.unique(prediction.clock):
        clock, line, mine = weather.clocks[c], thermal_time.lines[c], prediction.clock == c
        weight, mean, variance = prediction.weight[mine], prediction.mean[mine], prediction.variance[mine]
        origin = line[trace, low] * (1 - part) + line[trace, low + 1] * part
        over = np.zeros(0)
        if clock.from_usual:
            # by the date some such waits are over before this one began: those take as long as usual
            late = np.log(np.maximum(where - prediction.usual, _NOTHING))
            over = normal_cdf((late - mean[:, None, None]) / np.sqrt(variance)[:, None, None])
            origin[:] = ThermalTime(line).at(prediction.usual)
        far = FARTHEST * np.sqrt(variance + gap[-1] * clock.per_degree**2)
        latest = np.exp((mean + far).max())
        counted = origin[begins]
        first = np.searchsorted(thermal_time.most[c, at], counted.min() + np.exp((mean - far).min()))
        after = np.searchsorted(thermal_time.least[c, at], counted.max() + latest)
        dated = bool((over > LEAST_OVER).any())
        if dated:
            first, after = np.intp(0), max(after, np.searchsorted(at, where[begins].max() + latest))
        rising = slice(int(first), int(after))
        days = at[rising]
        read = np.maximum(line[:, days] - origin[..., None], np.float32(_NOTHING))
        log_read = np.log(read)
        more = (
            None if filled is None else filled[..., rising] * clock.per_degree**2 / np.maximum(read, 1) ** 2
        )
        summed = np.zeros_like(read)
        for k in range(len(weight)):
            sd = np.sqrt(np.float32(variance[k]) if more is None else np.float32(variance[k]) + more)
            ended = normal_cdf((log_read - np.float32(mean[k])) / sd)
            if dated:
                elapsed = np.log(np.maximum(days - where[..., None], _NOTHING)).astype(np.float32)
                past = over[k, ..., None].astype(np.float32)
                ended = np.maximum(ended - past, 0) + past * normal_cdf((elapsed - np.float32(mean[k])) / sd)
                ended *= days > where[..., None]
            ended *= np.float32(weight[k])
            summed += ended
        yield float(weight.sum()), rising, summed
