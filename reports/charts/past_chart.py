"""Past forecasts against what came: error by lead time, and whether the ranges were honest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from phenology.judging.past_forecasts import held, typical_error
from phenology.model.track_record import PastForecast
from reports.charts.ink import INK, LATE, PALE, PAPER, RULE, SOFT, WASH, bare, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BINS = ((0, 10), (10, 20), (20, 30), (30, 45), (45, 60), (60, 90))
FIFTHS = (0.2, 0.4, 0.6, 0.8)
NINE_IN_TEN = 1.645  # standard deviations either side
FEWEST = 3  # forecasts without which a group is not summed up (ours)


def plot_past(past: Sequence[PastForecast], ax: Axes | None = None) -> Axes:
    """Draw every past forecast: how long before, and by how many days its median missed.

    The band holds the middle four in five of the misses at that lead time.
    """
    ax = new_axes(ax, 8, 4.2)
    bare(ax)
    lead, error = np.array([p.lead for p in past]), np.array([p.error for p in past])
    for low, high in BINS:
        inside = (lead >= low) & (lead < high)
        if inside.sum() >= FEWEST:
            below, middle, above = np.quantile(error[inside], (0.1, 0.5, 0.9))
            ax.fill_between([low + 0.4, high - 0.4], below, above, color=PALE, lw=0, zorder=1)
            ax.plot([low + 0.4, high - 0.4], [middle, middle], color=INK, lw=2, zorder=3)
    ax.plot(lead, error, ls="", marker="o", ms=3.5, mfc="white", mec=WASH, mew=0.9, zorder=2)
    ax.axhline(0, color=RULE, lw=1)
    ax.set_xlim(max(20.0, float(lead.max()) + 3) if len(lead) else 20.0, 0)
    ax.set_xlabel("days before it was hard", color=INK)
    ax.set_ylabel("too early    days    too late", color=INK)
    title = "no finished seasons to look back on" if not past else describe_past(past)
    ax.set_title(title, loc="left", color=INK, fontsize=10, wrap=True)
    return ax


def plot_reliability(past: Sequence[PastForecast], ax: Axes | None = None) -> Axes:
    """Draw how often it came by when the forecast gave it a chance; the diagonal is honest.

    Dots stand at the fifths, with how many flushes had come of how many. The band holds nine in ten honest
    forecasters with as many flushes, as if these were independent; those of one season are not quite.
    """
    ax = new_axes(ax, 5.2, 5.4)
    bare(ax)
    flushes = len({(p.tree, p.season) for p in past})
    chance, weight = np.array([p.chance for p in past]), season_weights(past)
    even = np.linspace(0, 1, 41)
    if flushes:
        half = NINE_IN_TEN * np.sqrt(even * (1 - even) / flushes)
        ax.fill_between(
            even, np.clip(even - half, 0, 1), np.clip(even + half, 0, 1), color=LATE, lw=0, zorder=1
        )
    ax.plot([0, 1], [0, 1], color=SOFT, lw=1, ls=(0, (4, 3)), zorder=2)
    ax.plot(even, [float(weight[chance <= e].sum()) for e in even], color=INK, lw=2, zorder=3)
    for fifth in FIFTHS:
        share = float(weight[chance <= fifth].sum())
        ax.plot(fifth, share, marker="o", ms=6, mfc=INK, mec=PAPER, zorder=4)
        if flushes:
            words, aside = f"{share * flushes:.0f} of {flushes}", (8, -10)
            ax.annotate(words, (fifth, share), aside, color=INK, fontsize=9, textcoords="offset points")
    ax.set_xlim(0, 1.1)
    ax.set_ylim(0, 1.02)
    ax.set_aspect("equal")
    ticks = [0, *FIFTHS, 1]
    ax.set_xticks(ticks, [f"{t:.0%}" for t in ticks])
    ax.set_yticks(ticks, [f"{t:.0%}" for t in ticks])
    ax.set_xlabel("chance the forecast gave\npale: where nine in ten honest forecasters would lie", color=INK)
    ax.set_ylabel("share of flushes that had come", color=INK)
    return ax


def season_weights(past: Sequence[PastForecast]) -> np.ndarray:
    """Weights that make seasons count alike; they sum to 1."""
    seasons = np.array([p.season for p in past])
    names, counts = np.unique(seasons, return_counts=True)
    each = dict(zip(names.tolist(), counts.tolist(), strict=True))
    return np.array([1 / (each[p.season] * len(names)) for p in past])


def describe_past(past: Sequence[PastForecast]) -> str:
    """What the picture shows, in words."""
    if not past:
        return "There are no finished seasons yet to look back on."
    seasons, trees = len({p.season for p in past}), len({(p.tree, p.season) for p in past})
    return (
        f"{len(past)} forecasts of {trees} flushes in {seasons} seasons, each made without its own season: "
        f"{typical_error(past):.0f} days off on average; {held(past):.0%} came within the range meant "
        "to hold four in five."
    )
