"""The station against the place: how much warmer or colder the bench is, day by day and as learned."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from data_sources.weather.place_correction import VariableCorrection
from phenology.model.arrays import Array
from reports.charts.ink import INK, PALE, RULE, WASH, bare, new_axes
from reports.garden.station_pair import StationPair
from reports.text.words import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes


NIGHTS, DAYS = "nights", "days"
TWO_SIGMA = 2.0
LEAP_YEAR = 2024  # any year with all days, to lay others over


def plot_station(pair: StationPair, ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw how much warmer the place is than its station through the year.

    Every day's two differences are points; the learned difference is a line with its 95 % band.
    """
    ax = new_axes(ax, 8, 4.4)
    bare(ax)
    scale = 1.8 if units == "F" else 1.0
    for name, marker, face, ink, stroke in (
        (NIGHTS, "o", WASH, WASH, "-"), (DAYS, "^", "white", INK, (0, (5, 2))),
    ):  # fmt: skip
        at, gap = differences(pair, name)
        ax.plot(at, scale * gap, ls="", marker=marker, ms=3.5, mfc=face, mec=ink, mew=0.8, alpha=0.7,
                zorder=2, label=f"{name}, each reading")  # fmt: skip
        if pair.learned is not None:
            fit = pair.learned.tmin if name == NIGHTS else pair.learned.tmax
            where, middle, error = _learned(fit)
            low, high = scale * (middle - TWO_SIGMA * error), scale * (middle + TWO_SIGMA * error)
            ax.fill_between(where, low, high, color=PALE, alpha=0.6, lw=0, zorder=1)
            ax.plot(where, scale * middle, color=ink, lw=2.2, ls=stroke, zorder=3, label=f"{name}, learned")
    ax.axhline(0, color=RULE, lw=1, zorder=0)
    turns = [date(LEAP_YEAR, m, 1).timetuple().tm_yday for m in range(1, 13)]
    ax.set_xticks([(a + b) / 2 for a, b in zip(turns, [*turns[1:], 367], strict=True)], MONTHS)
    ax.set_xlim(1, 367)
    other = "the station" if pair.source == "station" else "the weather model"
    ax.set_ylabel(f"colder   here, °{units}   warmer", color=INK)
    ax.set_title(f"{pair.place} against {other}", loc="left", color=INK)
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.07), frameon=False, fontsize=8, labelcolor=INK,
              ncols=4, handlelength=3)  # fmt: skip
    return ax


def differences(pair: StationPair, name: str) -> tuple[Array, Array]:
    """Day of the year and place minus station, for every day that both have. [°C]"""
    first = max(pair.own.first_day, pair.other.first_day)
    last = min(pair.own.last_day, pair.other.last_day)
    if last < first:
        return np.empty(0), np.empty(0)
    mine, theirs = pair.own.between(first, last), pair.other.between(first, last)
    gap = mine.tmin - theirs.tmin if name == NIGHTS else mine.tmax - theirs.tmax
    days = np.array([_day_of_year(date.fromordinal(int(o))) for o in mine.ordinals], dtype=float)
    both = np.isfinite(gap) & (mine.source == "bench")
    return days[both], gap[both]


def _learned(fit: VariableCorrection) -> tuple[Array, Array, Array]:
    """The learned difference through a year at the station's usual temperatures, with its standard error."""
    mids = np.array([date(LEAP_YEAR, m, 15).timetuple().tm_yday for m in range(1, 13)], dtype=float)
    where = np.arange(1.0, 367.0, 3.0)
    usual = np.interp(where, mids, fit.usual, period=366)
    ordinals = (date(LEAP_YEAR, 1, 1).toordinal() - 1 + where).astype(np.int64)
    return where, fit.difference(ordinals, usual), fit.uncertainty(ordinals, usual)


def _day_of_year(day: date) -> int:
    return date(LEAP_YEAR, day.month, day.day).timetuple().tm_yday


def describe_station(pair: StationPair, units: str = "C") -> str:
    """What the picture shows, in words."""
    days = len(differences(pair, DAYS)[0])
    title = f"{days} days of {pair.place} against the {pair.source}"
    if pair.learned is None:
        return f"{title}: too few to learn how they differ."
    return f"{title}: {'; '.join(pair.learned.lines(units)[:2])}."
