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
from phenology.mathematics.distributions import normal_cdf
from phenology.model.arrays import Array, BoolArray, IntArray

FARTHEST = 5.5  # normal deviates beyond which a curve is flat: 2e-8 are left
AT_ONCE = 80_000  # so many values stay near the processor while they are worked on (ours)
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
    draws = _Draws.of(prediction, where, begins, at, weather)
    out = np.zeros((weather.traces, len(at)))
    whole = share @ begins
    for some, rising in draws.chunks():
        if rising.start < rising.stop:
            ended = draws.ended(some, rising)
            if not begins.all():
                ended *= begins[..., None]
            single = np.outer(prediction.weight[some], share).astype(np.float32)
            out[:, rising] += (single.ravel() @ ended.reshape(single.size, -1)).reshape(weather.traces, -1)
        out[:, rising.stop :] += prediction.weight[some].sum() * whole[:, None]
    if weather.every == 1:
        curves[:, at] = out
    else:
        everyday = np.arange(at[0], weather.days + 1)
        below = np.minimum((everyday - at[0]) // weather.every, max(len(at) - 2, 0))
        above = np.minimum(below + 1, len(at) - 1)
        part = (everyday - at[below]) / np.maximum(at[above] - at[below], 1)
        curves[:, at[0] :] = out[:, below] * (1 - part) + out[:, above] * part
    return np.asarray(np.maximum.accumulate(curves, axis=1))


@dataclass(frozen=True)
class _Draws:
    """The draws of a prediction on their clocks.

    Attributes
    ----------
    where : ndarray, shape (k, traces)
        Times at which the wait may have begun.
    at : ndarray of int
        The days on which curves are computed.
    origin : ndarray, shape (draws, k, traces)
        The clock's reading from which each draw counts.
    over : ndarray, shape (draws, k, traces)
        The chance that a wait which keeps to its date was over before it began.
    filled : ndarray, shape (k, traces, len(at)), or None
        Variance of the temperature sum since the beginning, from days that were filled. [degC^2 d]
    first, after : ndarray of int, shape (draws,)
        Where in `at` each draw begins to rise, and where it has come to 1.
    """

    prediction: Prediction
    weather: Weather
    where: Array
    at: IntArray
    origin: NDArray[np.float32]
    over: Array
    filled: NDArray[np.float32] | None
    first: IntArray
    after: IntArray

    @classmethod
    def of(
        cls, prediction: Prediction, where: Array, begins: BoolArray, at: IntArray, weather: Weather
    ) -> _Draws:
        thermal_time, gap, c = weather.thermal_time, weather.gap_variance, prediction.clock
        lines, trace = thermal_time.lines, np.arange(weather.traces)
        low = np.minimum(where.astype(np.intp), weather.days - 1)
        part = (where - low).astype(np.float32)
        each = c[:, None, None]
        origin = lines[each, trace, low] * (1 - part) + lines[each, trace, low + 1] * part
        filled = None
        if gap[-1] > (began := np.interp(where, np.arange(weather.days + 1), gap)).min():
            filled = np.maximum(gap[at] - began[..., None], 0.0).astype(np.float32)
        per_degree = np.array([weather.clocks[i].per_degree for i in c])
        far = FARTHEST * np.sqrt(prediction.variance + (0.0 if filled is None else gap[-1]) * per_degree**2)
        soonest, latest = np.exp(prediction.mean - far), np.exp(prediction.mean + far)
        over = np.zeros((len(c), 1, 1))
        dated = np.flatnonzero([weather.clocks[i].from_usual for i in c])
        if len(dated):
            # by the date some such waits are over before this one began: those take as long as usual
            origin[dated] = np.atleast_2d(thermal_time.at(prediction.usual))[:, c[dated]].T[:, None]
            late = np.log(np.maximum(where - prediction.usual, _NOTHING))
            mean, sd = prediction.mean[dated], np.sqrt(prediction.variance[dated])
            over = np.zeros(origin.shape)
            over[dated] = normal_cdf((late - mean[:, None, None]) / sd[:, None, None])
        counted = origin[:, begins]
        first = (thermal_time.most[c][:, at] < (counted.min(1) + soonest)[:, None]).sum(1)
        after = (thermal_time.least[c][:, at] < (counted.max(1) + latest)[:, None]).sum(1)
        for d in dated[over[dated].max((1, 2)) > LEAST_OVER]:
            first[d], after[d] = 0, max(after[d], np.searchsorted(at, where[begins].max() + latest[d]))
        return cls(prediction, weather, where, at, origin, over, filled, first, after)

    def chunks(self) -> Iterator[tuple[slice, slice]]:
        """A few draws at a time, and the days on which any of them rises."""
        widest = self.where.size * max(int((self.after - self.first).max()), 1)
        few = max(1, AT_ONCE // widest)
        for k in range(0, len(self.first), few):
            some = slice(k, k + few)
            after = int(self.after[some].max())
            yield some, slice(min(int(self.first[some].min()), after), after)

    def ended(self, some: slice, rising: slice) -> NDArray[np.float32]:
        """Chance that the wait has ended, by draw, beginning, trace and day."""
        days, c = self.at[rising], self.prediction.clock[some]
        line = self.weather.thermal_time.lines[c, :, days[0] : days[-1] + 1]
        if self.weather.every > 1:
            line = line[..., days - days[0]]
        read = line[:, None] - self.origin[some, ..., None]
        np.maximum(read, np.float32(_NOTHING), out=read)
        mean, variance = (
            values[some, None, None, None].astype(np.float32)
            for values in (self.prediction.mean, self.prediction.variance)
        )
        if self.filled is not None:
            per_degree = np.array([self.weather.clocks[i].per_degree for i in c], dtype=np.float32)
            per_degree = per_degree[:, None, None, None]
            variance = variance + self.filled[..., rising] * (per_degree / np.maximum(read, 1)) ** 2
        sd = np.sqrt(variance)
        log_read = np.log(read, out=read)
        log_read -= mean
        log_read /= sd
        out = normal_cdf(log_read, out=log_read)
        for d in np.flatnonzero((self.over[some] > LEAST_OVER).any((1, 2))):
            elapsed = np.maximum(days - self.where[..., None], _NOTHING).astype(np.float32)
            over = self.over[some][d, ..., None].astype(np.float32)
            again = normal_cdf((np.log(elapsed) - mean[d]) / sd[d])
            out[d] = (np.maximum(out[d] - over, 0) + over * again) * (days > self.where[..., None])
        return out
