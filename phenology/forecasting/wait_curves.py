"""The curves of waits: the chance, day by day and trace by trace, that each has ended.

What every forecast spends its time on: single precision does, waits go through together, draws on one clock
share its reading, and their normal curve is a short formula, on those days alone on which it still rises.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import Clock, ThermalTime
from phenology.learning.prediction import Prediction
from phenology.mathematics.distributions import normal_cdf
from phenology.model.arrays import Array, BoolArray, IntArray

Single = NDArray[np.float32]

FARTHEST = 4.0  # normal deviates beyond which a curve is flat: 3e-5 are left
SHORT = (0.7985, 0.0354)  # tanh(z (a + b z^2)) is the normal curve to 1.6e-4 (ours, by trial)
AT_ONCE = 150_000  # so many values stay near the processor while they are worked on (ours)
RISING = 100  # on about so many days a curve rises (ours)
LEAST_OVER = 1e-9  # a smaller chance that a wait was over by its date is none
_NOTHING = 1e-20  # stands for no time at all, whose log is taken
_LEAST = np.full(2 * AT_ONCE, _NOTHING, np.float32)


@dataclass(frozen=True, eq=False, repr=False)
class Weather:
    """What waits are read on.

    Attributes
    ----------
    thermal_time : ThermalTime
        The clocks over the possible seasons, or over one whose weather is known.
    gap_variance : ndarray, shape (days + 1,)
        Running variance of the temperature sum from filled days. [degC^2 d]
    clocks : sequence of Clock
    """

    thermal_time: ThermalTime
    gap_variance: Array
    clocks: Sequence[Clock]

    @cached_property
    def days(self) -> int:
        """Days of the season."""
        return self.thermal_time.days

    @cached_property
    def traces(self) -> int:
        """Possible seasons."""
        return len(self.thermal_time.lines[0])


class Waiting(NamedTuple):
    """One wait whose curves are asked for.

    Attributes
    ----------
    prediction : Prediction
    begun : ndarray, shape (k, traces)
        Times at which it may have begun on each trace.
    share : ndarray, shape (k,)
        Their shares.
    """

    prediction: Prediction
    begun: Array
    share: Array


def wait_curves(waits: Sequence[Waiting], weather: Weather) -> list[Array]:
    """Of each wait, the mean over beginnings and draws of P(ended by day n).

    Returns
    -------
    list of ndarray, shape (traces, days + 1)
        Quantiles lie within 0.05 days of those of a normal curve a draw.
    """
    found: dict[int, Array] = {}
    if len(waits) == 1:
        return list(_together(waits, weather))
    alike = sorted(range(len(waits)), key=lambda i: (len(waits[i].share), float(waits[i].begun.min())))
    while alike:
        k = len(waits[alike[0]].share)
        most = max(1, AT_ONCE // (k * weather.traces * RISING))
        some = [i for i in alike[:most] if len(waits[i].share) == k]
        alike = alike[len(some) :]
        found.update(zip(some, _together([waits[i] for i in some], weather), strict=True))
    return [found[i] for i in range(len(waits))]


def _together(waits: Sequence[Waiting], weather: Weather) -> Array:
    """The curves of waits with equally many beginnings, shape (waits, traces, days + 1)."""
    days, draws = weather.days, _Draws(waits, weather)
    curves = np.zeros((len(waits), weather.traces, days + 1))
    if not draws.begins.any():
        return curves
    each = (np.stack([wait.share for wait in waits])[..., None] * draws.begins).astype(np.float32)
    whole = each.sum(1)
    parts: list[tuple[IntArray | slice, slice, Single, Single]] = []
    for clock, mine in draws.by_clock():
        rising, ended = draws.ended(clock, mine)
        of, weight = draws.wait[mine], draws.weight[mine].astype(np.float32)[:, None]
        told = np.einsum("mkt,mktn->mtn", each[of] * weight[..., None], ended)
        rest = weight * whole[of]
        if (again := of[1:] == of[:-1]).any():  # several draws of one wait
            first = np.flatnonzero(np.append(True, ~again))
            of, told, rest = of[first], np.add.reduceat(told, first), np.add.reduceat(rest, first)
        parts.append((slice(None) if len(of) == len(waits) else of, rising, told, rest))
    low, high = min(r.start for _, r, _, _ in parts), max(r.stop for _, r, _, _ in parts)
    out = np.zeros((len(waits), weather.traces, high - low + 2), np.float32)  # before, day by day, after
    over = np.zeros_like(out)  # what each clock has come to where it no longer rises
    for these, rising, told, rest in parts:
        start, stop = rising.start - low + 1, rising.stop - low + 1
        out[these, :, start:stop] += told
        over[these, :, stop] += rest
    out += np.cumsum(over, axis=-1, out=over)
    np.maximum.accumulate(out, axis=-1, out=out)
    begin = draws.at[0]
    curves[..., begin + low : begin + high] = out[..., 1:-1]
    curves[..., begin + high :] = out[..., -1:]
    return curves


class _Draws:
    """The draws of some waits.

    Attributes
    ----------
    wait : ndarray of int, shape (draws,)
        The wait of each draw.
    weight, mean, variance : ndarray, shape (draws,)
    where : ndarray, shape (waits, k, traces)
        Times at which the waits may have begun, within the season.
    begins : ndarray of bool, same shape
        Whether they do: a wait that begins after the last day does not end in it.
    at : ndarray of int
        The days on which curves are computed.
    """

    def __init__(self, waits: Sequence[Waiting], weather: Weather) -> None:
        told, self.weather = [wait.prediction for wait in waits], weather
        self.wait = np.repeat(np.arange(len(told)), [len(one.clock) for one in told])
        self.clock, self.weight, self.mean, self.variance = (
            np.concatenate([getattr(one, name) for one in told])
            for name in ("clock", "weight", "mean", "variance")
        )
        self.usual = np.array([one.usual for one in told])
        begun = np.stack([wait.begun for wait in waits])
        self.begins: BoolArray = begun < weather.days
        self.where = np.minimum(np.maximum(begun, 0.0), weather.days)
        self.at: IntArray = np.arange(int(self.where.min()), weather.days + 1)
        day = np.minimum(self.where.astype(np.intp), weather.days - 1)
        self._part = (self.where - day).astype(np.float32)
        self._cell = day + np.arange(weather.traces) * (weather.days + 1)  # where in a clock's lines
        self._rooms = [np.empty(0, np.float32), np.empty(0, np.float32)]

    def by_clock(self) -> Iterator[tuple[int, IntArray]]:
        """Each clock, with the draws on it, wait by wait."""
        for clock in np.flatnonzero(np.bincount(self.clock)).tolist():
            yield clock, (self.clock == clock).nonzero()[0]

    @cached_property
    def filled(self) -> Single | None:
        """Variance of the temperature sum since the beginning, from days that were filled. [degC^2 d]

        Of shape (waits, k, traces, len(at)); None where no day was.
        """
        gap = self.weather.gap_variance
        if gap[-1] <= gap[0] or gap[-1] <= (began := np.interp(self.where, np.arange(len(gap)), gap)).min():
            return None
        return np.asarray(np.maximum(gap[self.at] - began[..., None], 0.0), dtype=np.float32)

    def ended(self, c: int, mine: IntArray) -> tuple[slice, Single]:
        """Where in `at` draws on a clock rise, and their chances there, shape (draws, k, traces, days)."""
        clock, time, at = self.weather.clocks[c], self.weather.thermal_time, self.at
        line = time.lines[c]
        of, mean, variance = self.wait[mine], self.mean[mine], self.variance[mine]
        begins, over = self.begins[of], None
        if clock.from_usual:
            usual = np.atleast_2d(time.at(np.nan_to_num(self.usual))[..., c, :])  # (traces, waits)
            origin = np.broadcast_to(usual.T[of][:, None, :], begins.shape).astype(np.float32)
            over = self._over(mine)
        else:
            before, part = line.take(self._cell), self._part
            origin = (before + (line.take(self._cell + 1) - before) * part)[of]
        gaps = 0.0 if self.filled is None else self.weather.gap_variance[-1] * clock.per_degree**2
        far = FARTHEST * np.sqrt(variance + gaps)
        counted = origin[begins]
        if over is not None:
            since, until = 0, float(self.where[of][begins].max() + np.exp(mean + far).max())
            after = int(np.searchsorted(at, until))
        else:
            soonest = counted.min() + np.exp((mean - far).min())
            since, after = int(time.most[c, at[0] :].searchsorted(soonest)), 0
        latest = counted.max() + np.exp((mean + far).max())
        after = max(after, int(time.least[c, at[0] :].searchsorted(latest)))
        rising = slice(min(since, after), after)
        read = self._room(0, (*origin.shape, rising.stop - rising.start))
        np.subtract(line[:, at[0] + rising.start : at[0] + rising.stop], origin[..., None], out=read)
        np.maximum(read, _least(read.size).reshape(read.shape), out=read)  # quicker than with one number
        if self.filled is None and over is None:
            scale = 1 / np.sqrt(variance)
            log_read = np.log(read, out=read)
            log_read *= scale.astype(np.float32)[:, None, None, None]
            log_read -= (mean * scale).astype(np.float32)[:, None, None, None]
            return rising, _normal_curve(log_read, self._room(1, read.shape))
        return rising, self._exactly(mine, clock.per_degree, read, rising, over)

    def _room(self, k: int, shape: tuple[int, ...]) -> Single:
        """Room for the values of one clock; the next clock's take its place."""
        size = math.prod(shape)
        if len(self._rooms[k]) < size:
            self._rooms[k] = np.empty(size, np.float32)
        return self._rooms[k][:size].reshape(shape)

    def _over(self, mine: IntArray) -> Array | None:
        """The chance that waits which keep to their date were over before they began; None where it is none.

        Those take as long as usual.
        """
        of, (mean, sd) = self.wait[mine], (self.mean[mine], np.sqrt(self.variance[mine]))
        late = np.log(np.maximum(self.where - self.usual[:, None, None], _NOTHING))[of]
        chance = normal_cdf((late - mean[:, None, None]) / sd[:, None, None])
        return chance if chance.max() > LEAST_OVER else None

    def _exactly(
        self, mine: IntArray, per_degree: float, read: Single, rising: slice, over: Array | None
    ) -> Single:
        """The chances where they are no function of the reading alone."""
        of, mean = self.wait[mine], self.mean[mine].astype(np.float32)[:, None, None, None]
        variance = self.variance[mine].astype(np.float32)[:, None, None, None]
        if self.filled is not None:
            spread = np.float32(per_degree) / np.maximum(read, 1)
            variance = np.asarray(variance + self.filled[of][..., rising] * spread**2, dtype=np.float32)
        sd = np.sqrt(variance)
        ended: Single = np.asarray(normal_cdf((np.log(read) - mean) / sd), dtype=np.float32)
        if over is None:
            return ended
        already, since = over[..., None].astype(np.float32), self.at[rising] - self.where[of][..., None]
        again = normal_cdf((np.log(np.maximum(since, _NOTHING)).astype(np.float32) - mean) / sd)
        return np.asarray((np.maximum(ended - already, 0) + already * again) * (since > 0), dtype=np.float32)


def _least(size: int) -> Single:
    """The least reading, so many times over."""
    if size > len(_LEAST):
        return np.full(size, _NOTHING, np.float32)
    return _LEAST[:size]


def _normal_curve(z: Single, out: Single) -> Single:
    """The normal curve, roughly."""
    curve = np.multiply(z, z, out=out)
    curve *= np.float32(SHORT[1])
    curve += np.float32(SHORT[0])
    curve *= z
    np.tanh(curve, out=curve)
    curve *= np.float32(0.5)
    curve += np.float32(0.5)
    return curve
