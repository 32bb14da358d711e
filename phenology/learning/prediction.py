"""A wait not yet seen, as a mixture of log-normal requirements, each on one clock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phenology.heat.clocks import Clock
from phenology.model.arrays import Array, BoolArray, IntArray

LONG_DAYS = 0.4
"""How much longer, on the log scale, hardening by short days takes in days of 16 hours than in its usual
day of 14 (0.2 an hour)."""


@dataclass(frozen=True, eq=False, repr=False)
class Prediction:
    """A wait not yet seen, as a mixture of log-normal requirements (draws), each on one clock."""

    # mixture weights, and mean and variance of the log requirement; shape (k,) [log days at 18 degC]
    weight: Array
    clock: IntArray  # the clock each draw is read on; shape (k,)
    mean: Array
    variance: Array
    # day of the season on which the wait usually begins, for clocks that run from it
    usual: float = math.nan


def mixture(
    weight: Array, clock: IntArray, mean: Array, variance: Array, usual: float = math.nan
) -> Prediction:
    """One draw a clock, with the weight, mean and variance of its parts, where those hardly differ.

    Parts of one clock whose means lie further apart than their own spread stay three draws: a look may tell
    them apart. Parts of one clock stand together.
    """
    if not (used := weight > 0).all():
        weight, clock, mean, variance = weight[used], clock[used], mean[used], variance[used]
    first = np.flatnonzero(np.concatenate([[True], clock[1:] != clock[:-1]]))
    apart = np.maximum.reduceat(mean, first) - np.minimum.reduceat(mean, first) > np.sqrt(
        np.minimum.reduceat(variance, first)
    )
    if apart.any():
        ends = np.append(first[1:], len(clock))
        order = np.concatenate([a + np.argsort(mean[a:b]) for a, b in zip(first, ends, strict=True)])
        weight, mean, variance = weight[order], mean[order], variance[order]
        first = np.concatenate(
            [
                [part[0] for part in np.array_split(np.arange(a, b), min(3, b - a) if split else 1)]
                for a, b, split in zip(first, ends, apart, strict=True)
            ]
        )
    total = np.add.reduceat(weight, first)
    middle = np.add.reduceat(weight * mean, first) / total
    square = np.add.reduceat(weight * (variance + mean**2), first) / total
    return Prediction(total / total.sum(), clock[first], middle, square - middle**2, usual)


def by_calendar(prediction: Prediction, clocks: Sequence[Clock]) -> Prediction:
    """Only the draws whose clock runs without regard to warmth; all of them where none does."""
    keep = np.array([clocks[c].by_calendar for c in prediction.clock])
    return _kept(prediction, keep) if keep.any() else prediction


def by_warmth(prediction: Prediction, clocks: Sequence[Clock]) -> Prediction:
    """Only the draws whose clock answers to warmth; all of them where none does."""
    keep = np.array([not clocks[c].by_calendar for c in prediction.clock])
    return _kept(prediction, keep) if keep.any() else prediction


def by_duration(prediction: Prediction, clocks: Sequence[Clock]) -> Prediction:
    """The same wait given no help by the time of year: its length counts from the day on which it begins.

    Draws that keep to a date become plain days; those that short days hurry on are left out. Where the
    records leave only such, they are read as plain days, all of them long.
    """
    by_light = np.array([clocks[c].by_light for c in prediction.clock])
    kinds = [clock.kind for clock in clocks]
    plain = kinds.index("days") if "days" in kinds else 0
    if by_light.all():
        return replace(
            prediction, clock=np.full_like(prediction.clock, plain), mean=prediction.mean + LONG_DAYS
        )
    found = _kept(prediction, ~by_light)
    dated = np.array([clocks[c].from_usual for c in found.clock])
    return replace(found, clock=np.where(dated, plain, found.clock).astype(np.intp))


def _kept(prediction: Prediction, keep: BoolArray) -> Prediction:
    weight = prediction.weight[keep]
    return replace(
        prediction,
        weight=weight / weight.sum(),
        clock=prediction.clock[keep],
        mean=prediction.mean[keep],
        variance=prediction.variance[keep],
    )
