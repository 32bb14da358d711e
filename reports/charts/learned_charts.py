"""What the looks have taught, and how past forecasts did."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.judging.past_forecasts import held, typical_error
from phenology.language.counts import counted
from phenology.language.degrees import degrees
from phenology.learning.calibration import Calibrated, calibrate
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import all_transitions
from phenology.model.season import NEVER
from phenology.model.track_record import PastForecast
from reports.charts.ink import INK, LATE, PALE, PAPER, RANGE, RULE, SOFT, WASH, bare, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes


TICKS = (3, 5, 10, 15, 20, 30, 40, 60, 80)
BINS = ((0, 10), (10, 20), (20, 30), (30, 45), (45, 60), (60, 90))
FIFTHS = (0.2, 0.4, 0.6, 0.8)
NINE_IN_TEN = 1.645  # standard deviations either side
FEWEST = 3  # forecasts without which a group is not summed up (ours)


def plot_calibration(
    fit: GardenFit, species: str | None = None, ax: Axes | None = None, *, units: str = "C"
) -> Axes:
    """Draw what was learned of each step: a row a species, its own waits as dots, the guess as a thin mark.

    `species` is a Latin name; without it every species kept is drawn.
    """
    order = [transition.words for transition in all_transitions()]
    rows = sorted(calibrate(fit, species), key=lambda row: order.index(row.transition.words))
    known = fit.garden.species
    names = {row.species: known[row.species].name if row.species in known else row.species for row in rows}
    ax = new_axes(ax, 9, 1.5 + 0.42 * len(rows))
    ax.set_xscale("log")
    before = None
    for y, row in enumerate(rows):
        if species is None and row.transition != before and y:
            ax.axhline(y - 0.5, color=PALE, lw=0.7, zorder=0)
        before = row.transition
        middle, low, high = row.days
        ax.plot([low, high], [y, y], color=RANGE, lw=5, solid_capstyle="butt", zorder=2)
        ax.plot([middle] * 2, [y - 0.3, y + 0.3], color=INK, lw=2.5, zorder=4)
        ax.plot([row.prior_days] * 2, [y - 0.22, y + 0.22], color=SOFT, lw=0.9, ls=(0, (2, 2)), zorder=3)
        dots = [math.sqrt(low * high) for low, high in _readings(fit, row)]
        ax.plot(dots, [y - 0.24] * len(dots), ls="", marker="o", ms=4, mfc=PAPER, mec=INK, mew=0.8, zorder=5)
        seasons = counted(row.seasons, "seasons")
        beside = ax.get_yaxis_transform()
        ax.text(1.01, y, seasons, fontsize=9, color=SOFT, transform=beside, va="center_baseline")
    ax.set_yticks(range(len(rows)), [_label(row, species, names) for row in rows])
    ax.set_ylim(len(rows) - 0.4, -0.75)
    ax.set_xticks(TICKS, [str(t) for t in TICKS])
    ax.minorticks_off()
    ax.set_xlim(2.5, 100)
    bare(ax)
    ax.set_title(names.get(species or "", "What the looks have taught"), loc="left", color=INK)
    steady = degrees(REFERENCE_C, units)
    words = f"days at a steady {steady}: a dot for each wait of your own, upright the middle learned,"
    words = f"{words}\nthe bar four in five, dashed the catalogue's guess"
    ax.set_xlabel(words, fontsize=9, color=INK, loc="left")
    return ax


def _label(row: Calibrated, species: str | None, names: Mapping[str, str]) -> str:
    return row.transition.words if species else f"{names[row.species]}, {row.transition.words}"


def _readings(fit: GardenFit, row: Calibrated) -> list[tuple[float, float]]:
    """Every finished wait as the best clock that counts warmth reads it, from look to look."""
    shares = fit.requirement(row.transition).clock_shares
    heat = [c for c, clock in enumerate(CLOCKS) if not clock.by_calendar]
    best = max(heat, key=lambda c: float(shares[c]))
    waits = [w for w in fit.waits(row.transition) if w.species == row.species and w.target[1] != NEVER]
    thermal_time = fit.garden.thermal_time({(w.site, w.season) for w in waits})
    out = []
    for w in waits:
        if (w.site, w.season) in thermal_time and math.isfinite(w.target[0]):
            read = thermal_time[w.site, w.season].thermal_time
            low, high = (
                float(read.at(t)[best] - read.at(w.anchor_middle)[best]) for t in (w.target[0], w.target[1])
            )
            if high > 0:
                out.append((max(low, 1.0), max(high, 1.0)))
    return out


def describe_calibration(fit: GardenFit, species: str | None = None, *, units: str = "C") -> str:
    """What the picture shows, in words."""
    steady = degrees(REFERENCE_C, units)
    parts = [
        f"{'' if species else f'{r.species}, '}{r.transition.words}: {r.days[0]:.0f} days at {steady}, "
        f"four in five {r.days[1]:.0f} to {r.days[2]:.0f}; the catalogue guessed {r.prior_days:.0f}"
        for r in calibrate(fit, species)
    ]
    return f"How long each step{f' of {species}' if species else ''} takes. {'. '.join(parts)}."


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
