"""Warmth in pictures: this season among past ones, the station against the bench, how fast clocks run."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from data_sources.weather.place_correction import VariableCorrection
from phenology.garden import Garden
from phenology.heat.clocks import HEAT_CLOCKS, REFERENCE_C
from phenology.language.degrees import degrees
from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.model.units import c_to_f
from phenology.seasons.season_heat import BASE_C, HeatCourse, ahead_by_date, heat_course
from reports.charts.ink import INK, LATE, PALE, RANGE, RULE, SOFT, WASH, bare, new_axes
from reports.garden.place_weather import StationPair
from reports.table import in_units
from reports.views.words import MONTHS, capital, counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes


NAMED = 3  # past seasons, the latest, whose days ahead are drawn
SEASON_STROKES = ((0, (5, 2)), (0, (1.5, 1.5)), "-")  # theirs, oldest first
REACH = 25.0  # days; longer leads are cut off, they would flatten the rest (ours)
NIGHTS, DAYS = "nights", "days"
TWO_SIGMA = 2.0
LEAP_YEAR = 2024  # any year with all days, to lay others over
COLDEST, HOTTEST, TOP = -2.0, 45.0, 2.6
NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight")
CLOCK_STROKES = ("-", (0, (5, 2)), (0, (1.5, 1.5)))  # told apart without colour


def plot_seasons(garden: Garden, ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw the warmth gathered this season over past ones, a fan of what may come, and days ahead above."""
    ax = new_axes(ax, 8, 5.4)
    bare(ax)
    course, scale = heat_course(garden), in_units(1.0, "degree_days", units)
    start = garden.calendar.start(course.season)
    today = len(course.heat) - 1
    shown = dict(list(course.past.items())[-NAMED:])
    if course.past:
        days = np.arange(min(len(heat) for heat in course.past.values()))
        years = scale * np.array([heat[: len(days)] for heat in course.past.values()])
        low, middle, high = np.quantile(years, (0.1, 0.5, 0.9), axis=0)
        ax.fill_between(days, low, high, color=LATE, lw=0, zorder=1)
        ax.plot(days, middle, color=SOFT, lw=1, ls=(0, (4, 3)), zorder=2)
        ahead = days >= today
        fan = scale * course.heat[-1] + years[:, ahead] - years[:, [min(today, len(days) - 1)]]
        for inner, outer, ink in ((0.1, 0.9, RANGE), (0.25, 0.75, WASH)):
            ax.fill_between(days[ahead], *np.quantile(fan, (inner, outer), axis=0), color=ink, lw=0, zorder=3)
    ax.axvline(today, color=INK, lw=1, zorder=0)
    ax.plot(scale * course.heat, color=INK, lw=2.4, zorder=3)
    ax.text(today - 4, scale * course.heat[-1], garden.calendar.label(course.season),
            ha="right", va="bottom", color=INK, fontweight="bold")  # fmt: skip
    if course.past:
        past = counted(len(course.past), "past seasons")
        words = f"pale: four in five of {past}, dashed their middle; from today on as they went on"
        ax.set_xlabel(f"{words}:\nfour in five, and one in two", fontsize=9, color=INK, loc="left")
    turns = [(_month_after(start, k) - start).days for k in range(12)]
    middles = [(a + b) / 2 for a, b in zip(turns, [*turns[1:], 365], strict=True)]
    ax.set_xticks(middles, [MONTHS[(start + timedelta(days=m)).month - 1] for m in middles])
    ax.set_xlim(0, 380)
    ax.set_ylim(bottom=0)
    ax.set_ylabel(f"degree-days above {degrees(BASE_C, units)}", color=INK)
    _strip(ax, course, shown, garden.calendar)
    return ax


def _strip(ax: Axes, course: HeatCourse, recent: dict[int, np.ndarray], calendar: SeasonCalendar) -> None:
    """Above the curves: days ahead of usual (up) or behind (down), filled for this season."""
    strip = ax.inset_axes((0, 1.04, 1, 0.3), sharex=ax)
    bare(strip)
    strip.spines["bottom"].set_visible(False)
    strip.tick_params(labelbottom=False)
    strip.axhline(0, color=RULE, lw=0.8)
    leads = [
        ahead_by_date(calendar, season, heat, {s: h for s, h in course.past.items() if s != season})
        for season, heat in recent.items()
    ]
    for lead, stroke in zip(leads, SEASON_STROKES[len(SEASON_STROKES) - len(leads) :], strict=True):
        strip.plot(lead, color=WASH, lw=1.2, ls=stroke, zorder=2)
    for season, lead in zip(recent, leads, strict=True):
        known = np.flatnonzero(np.abs(lead) <= REACH)  # which is false where it is not known
        if len(known):
            at = int(known[-1])
            strip.text(at + 3, lead[at], calendar.label(season), fontsize=8, color=WASH, va="center")
    now = course.ahead
    strip.fill_between(np.arange(len(now)), 0, now, color=PALE, lw=0, zorder=1)
    strip.plot(now, color=INK, lw=2, zorder=3)
    drawn = [np.abs(lead[np.isfinite(lead)]) for lead in (*leads, course.ahead)]
    reach = min(REACH, max([5.0, *(float(one.max()) for one in drawn if len(one))]))
    strip.set_ylim(-1.1 * reach, 1.1 * reach)
    ticks = [t for t in (-20, -10, 0, 10, 20) if abs(t) <= reach]
    strip.set_yticks(ticks, [f"{t:+d}" if t else "usual" for t in ticks], fontsize=8)
    strip.set_ylabel("days\nahead", rotation=0, ha="right", va="center", fontsize=8, color=INK)
    strip.text(0.005, 0.98, capital(course.words), transform=strip.transAxes, va="top", fontsize=9, color=INK)


def _month_after(start: date, months: int) -> date:
    return date(start.year + (start.month - 1 + months) // 12, (start.month - 1 + months) % 12 + 1, start.day)


def describe_seasons(garden: Garden) -> str:
    """What the picture shows, in words."""
    course = heat_course(garden)
    label = garden.calendar.label(course.season)
    words = f"Warmth gathered in {label} over {len(course.past)} past seasons: {course.words}"
    return f"{words}; from today on as past seasons went on." if course.past else f"{words}."


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


def plot_heat_curve(ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw what a day at one steady temperature counts, by each clock of warmth, and by plain days."""
    ax = new_axes(ax, 8, 4.4)
    bare(ax)
    steady = np.arange(COLDEST, HOTTEST + 0.1, 0.25)
    at = c_to_f(steady) if units == "F" else steady
    rising = [c for c in HEAT_CLOCKS if c.kind == "sine"]
    falling = [c for c in HEAT_CLOCKS if c.kind == "falling"]
    for clock in rising:
        rate = clock.rates(steady, steady)
        ax.plot(at[rate <= TOP], rate[rate <= TOP], color=WASH, lw=1, zorder=2)
        end = int(np.flatnonzero(rate <= TOP)[-1])
        ax.text(at[end], rate[end] + 0.03, _shown(clock.base, units), ha="center", va="bottom", fontsize=8,
                color=WASH)  # fmt: skip
    for clock, stroke in zip(falling, CLOCK_STROKES, strict=True):
        name = f"from {_shown(clock.base, units)}°, none at {_shown(clock.ceiling, units)}°"
        ax.plot(at, clock.rates(steady, steady), color=INK, lw=2, ls=stroke, zorder=3, label=name)
    ax.axhline(1, color=RULE, lw=1, ls=(0, (1, 3)), zorder=1)
    ax.text(at[0], 1.03, "plain days, and the date", fontsize=8, color=INK)
    ax.axvline(float(c_to_f(REFERENCE_C)) if units == "F" else REFERENCE_C, color=PALE, lw=1, zorder=0)
    first = float(at[int(np.flatnonzero(rising[0].rates(steady, steady) <= TOP)[-1])])
    ax.text(first, TOP + 0.2, "thin: heat above", ha="right", fontsize=8, color=WASH)
    ax.set_xlim(float(at[0]), float(at[-1]))
    ax.set_ylim(0, TOP + 0.3)
    ax.set_xlabel(f"a day at a steady temperature, °{units}", color=INK)
    ax.set_ylabel(f"counts as so many days at {_shown(REFERENCE_C, units)} °{units}", color=INK)
    ax.legend(loc="upper left", frameon=False, fontsize=8, labelcolor=INK, handlelength=3.5)
    return ax


def describe_heat_curve(units: str = "C") -> str:
    """What the picture shows, in words.

    Examples
    --------
    >>> describe_heat_curve().split(":")[0]
    'What a day at a steady temperature counts'
    """
    one = next(clock for clock in HEAT_CLOCKS if clock.kind == "falling")
    agree, fastest, still = (f"{_shown(t, units)} °{units}" for t in (REFERENCE_C, one.optimum, one.ceiling))
    kinds = [clock.kind for clock in HEAT_CLOCKS]
    rising, falling = NUMBERS[kinds.count("sine")], NUMBERS[kinds.count("falling")]
    return (
        f"What a day at a steady temperature counts: all ways of counting agree at {agree}. "
        f"{rising.capitalize()} rise steadily from their base; {falling} are fastest at {fastest} and stand "
        f"still at {still}; plain days and the date count every day alike."
    )


def _shown(celsius: float, units: str) -> str:
    return f"{float(c_to_f(celsius)) if units == 'F' else celsius:g}"
