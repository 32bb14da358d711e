"""Stages as a chain of positive waits: each stage's curve follows from the one before, trace by trace.

Curves are sub-distributions, one a trace: their mean over the traces is the distribution, so that a trace
which the looks make unlikely weighs less. Stages cannot cross, since every wait begins where the last ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phenology.heat.clocks import Clock, ThermalTime
from phenology.learning.requirement import Prediction
from phenology.mathematics.normal_curve import normal_cdf
from phenology.model.arrays import Array

# Times that stand for a stage's whole distribution on one trace: the five Gauss-Hermite nodes, as levels of
# the curve, with their weights (a test holds them against numpy). They keep the spread of a normal stage
# exactly, where five equally likely times would lose a quarter of its variance.
NODE_LEVELS = np.array([0.0021389, 0.0876091, 0.5, 0.9123909, 0.9978611])
NODE_WEIGHTS = np.array([0.0112574, 0.2220759, 0.5333333, 0.2220759, 0.0112574])
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()
MISJUDGED = 0.01  # share of looks that misjudge a stage, ours
SURPRISED = 0.05  # share of stages that come at some time the curves know nothing of, ours


def curves_from(
    prediction: Prediction,
    thermal_time: ThermalTime,
    begun: Sequence[float],
    clocks: Sequence[Clock],
    gap_variance: Array,
) -> Array:
    """Curves of a wait that began at one of a few equally likely times.

    Returns
    -------
    ndarray, shape (traces, days + 1)
        Chance that the wait has ended by the end of each day, trace by trace.
    """
    nodes = np.broadcast_to(np.asarray(begun, dtype=float), (len(thermal_time.sums), len(begun)))
    share = np.full(nodes.shape[1], 1 / nodes.shape[1])
    return _mixture(lean(prediction), thermal_time, nodes, share, clocks, gap_variance)


def curves_after(
    prediction: Prediction,
    thermal_time: ThermalTime,
    before: Array,
    clocks: Sequence[Clock],
    gap_variance: Array,
) -> Array:
    """Curves of a wait that begins when the stage with curves `before` comes; mass is kept trace by trace."""
    mass = before[:, -1:]
    nodes = np.stack([_times_at(curve, NODE_LEVELS * curve[-1]) for curve in before])
    # the few nodes may run a little ahead of the curve they stand for: nothing ends before it began
    return np.minimum(
        before, mass * _mixture(lean(prediction), thermal_time, nodes, NODE_WEIGHTS, clocks, gap_variance)
    )


def not_by(curves: Array, t: float) -> Array:
    """Curves after a look at `t` that showed the stage had not come.

    Each trace is weighted by how likely it makes that look, then the past is cut away. A look misjudges
    with chance `MISJUDGED`; a stage that had come all the same is due at once, so a look that contradicts
    every draw moves the forecast without breaking it.
    """
    if t < 0:
        return curves
    days = np.arange(curves.shape[1])
    at = np.array([np.interp(t, days, curve) for curve in curves])[:, None]
    come, never = float(at.mean()), 1.0 - float(curves[:, -1].mean())
    future = np.where(days > t, np.maximum(curves - at, 0.0), 0.0)
    missed = at * np.clip(days - t, 0.0, 1.0)
    likelihood = (1 - MISJUDGED) * (float(future[:, -1].mean()) + never) + MISJUDGED * come
    return np.asarray(((1 - MISJUDGED) * future + MISJUDGED * missed) / likelihood)


def within(curves: Array, after: float, by: float) -> Array:
    """Curves after looks that showed the stage come in (after, by].

    Traces are weighted by how likely they make that, and the time within the interval follows the curves
    rather than being anywhere in it alike. A share `SURPRISED` of what is believed beforehand is spread over
    the whole season, so that an interval which the curves hardly allow is simply taken as it is.
    """
    days = np.arange(curves.shape[1])
    after, by = max(after, 0.0), min(by, float(days[-1]))
    ends = np.array([np.interp([after, by], days, curve) for curve in curves])
    inside = np.clip(curves, ends[:, :1], ends[:, 1:]) - ends[:, :1]
    inside[:, days <= after] = 0.0
    alike = np.clip((days - after) / max(by - after, 1e-9), 0.0, 1.0)
    believed = (1 - SURPRISED) * inside + SURPRISED * (by - after) / days[-1] * alike
    return np.asarray(believed / believed[:, -1].mean())


def by_calendar(prediction: Prediction, clocks: Sequence[Clock]) -> Prediction:
    """Only the draws whose clock runs without regard to warmth; all of them where none does."""
    keep = np.array([clocks[c].by_calendar for c in prediction.clock])
    if not keep.any():
        return prediction
    weight = prediction.weight[keep]
    return replace(
        prediction,
        weight=weight / weight.sum(),
        clock=prediction.clock[keep],
        mean=prediction.mean[keep],
        variance=prediction.variance[keep],
    )


def lean(prediction: Prediction) -> Prediction:
    """One draw a clock, with the weight, mean and variance of its draws, where those hardly differ.

    Draws of one clock whose means lie further apart than their own spread stay as they are: a look may
    tell them apart.
    """
    out: list[tuple[float, int, float, float]] = []
    for c in sorted(set(prediction.clock.tolist())):
        mine = np.flatnonzero(prediction.clock == c)
        weight, mean, variance = (v[mine] for v in (prediction.weight, prediction.mean, prediction.variance))
        if np.ptp(mean) > np.sqrt(variance.min()):
            out += zip(weight, mine * 0 + c, mean, variance, strict=True)
            continue
        middle = weight @ mean / weight.sum()
        out.append((weight.sum(), c, middle, weight @ (variance + (mean - middle) ** 2) / weight.sum()))
    table = np.array(out)
    return replace(
        prediction,
        weight=table[:, 0] / table[:, 0].sum(),
        clock=table[:, 1].astype(np.intp),
        mean=table[:, 2],
        variance=table[:, 3],
    )


def _times_at(curve: Array, levels: Array) -> Array:
    """Times at which a curve reaches some levels; past its end where it never does."""
    rising = np.maximum.accumulate(curve) + np.arange(len(curve)) * 1e-12
    return np.interp(levels, rising, np.arange(len(curve)), left=0.0, right=float(len(curve)))


def _mixture(
    prediction: Prediction,
    thermal_time: ThermalTime,
    nodes: Array,
    share: Array,
    clocks: Sequence[Clock],
    gap_variance: Array,
) -> Array:
    """Mean over nodes and draws of P(wait ended by day n); nodes of shape (traces, k), with their shares."""
    sums, days = thermal_time.sums, thermal_time.days
    first = int(np.floor(max(0.0, min(nodes.min(), days))))
    out = np.zeros((len(sums), days + 1))
    where = np.clip(nodes, 0, days)
    low = np.minimum(np.floor(where).astype(int), days - 1)
    part = where - low
    trace = np.arange(len(sums))[:, None]
    usable = nodes < days
    gap_at = np.interp(where, np.arange(days + 1), gap_variance)
    gap = np.maximum(gap_variance[None, None, first:] - gap_at[:, :, None], 0.0)
    any_gap = bool(gap_variance[-1] > 0)
    for c in sorted(set(prediction.clock.tolist())):
        origin = sums[trace, c, low] * (1 - part) + sums[trace, c, low + 1] * part
        later = sums[:, None, c, first:] > origin[:, :, None]
        if clocks[c].from_usual:
            origin = np.broadcast_to(ThermalTime(sums[:, c]).at(prediction.usual)[:, None], origin.shape)
        read = sums[:, None, c, first:] - origin[:, :, None]
        begun = later & (read > 0) & usable[:, :, None]
        safe = np.where(begun, read, 1.0)
        log_read = np.where(begun, np.log(safe), -50.0)
        extra = gap * clocks[c].per_degree ** 2 / np.maximum(safe, 1.0) ** 2 if any_gap else 0.0
        mine = prediction.clock == c
        if clocks[c].from_usual:
            elapsed = np.arange(first, days + 1) - where[:, :, None]
            log_days = np.log(np.maximum(elapsed, 1e-20))
            log_start = np.log(np.maximum(where - prediction.usual, 1e-20))[:, :, None]
        for w, m, v in zip(
            prediction.weight[mine], prediction.mean[mine], prediction.variance[mine], strict=True
        ):
            sd = np.sqrt(v + extra)
            ended = normal_cdf((log_read - m) / sd)
            if clocks[c].from_usual:
                # by the date some such waits are over before this one began: those take as long as usual
                over = normal_cdf((log_start - m) / sd)
                ended = np.maximum(ended - over, 0.0) + over * normal_cdf((log_days - m) / sd)
            out[:, first:] += w * (share[:, None] * ended).sum(1)
    return np.asarray(np.maximum.accumulate(out, axis=1))
