"""Below the seasons side by side: forecasts against what came, what followed work, and trends."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence

from phenology.garden import Garden
from phenology.judging.season_truth import SeasonTruth
from phenology.seasons.followed import Followed
from phenology.seasons.trends import FEWEST_SEASONS, Trend
from reports.text.words import short_date

WIDTH = 80
STAGES = {"budbreak": "bud break", "extended": "extended", "hardened": "hard"}


def truth_lines(truth: Sequence[SeasonTruth], garden: Garden) -> Iterator[str]:
    """How far off the forecasts of each season were, beside the usual date."""
    if not truth:
        return
    yield "Forecasts of the first hardening against what came, each made without its season"
    yield f"{'':19}{'median miss in days':>45}"
    yield f"{'season':9}{'flushes':>8}{'first forecast':>18}{'last 3 weeks':>16}{'usual date':>13}{'held':>9}"
    for t in truth:
        leaning = "" if round(t.late) == 0 else f" ({abs(t.late):.0f} {'late' if t.late > 0 else 'early'})"
        yield (
            f"{garden.calendar.label(t.season):9}{t.flushes:8}{f'{t.missed:.0f}{leaning}':>18}"
            f"{_days(t.missed_near):>16}{_days(t.usual_missed):>13}{t.held:9.0%}"
        )
    yield from textwrap.wrap(TRUTH_NOTE, WIDTH)


TRUTH_NOTE = (
    "First forecast: made at bud break where that was seen, else at the season's start. Held: how many of "
    "the ranges meant to hold four in five did; 80% is honest."
)


def _days(days: float) -> str:
    return "." if math.isnan(days) else f"{days:.0f}"


def followed_lines(followed: Sequence[Followed], garden: Garden) -> Iterator[str]:
    """Days from work to each stage of what it woke: median, least and most."""
    if not followed:
        return
    yield "Work and what followed: days to each stage, the middle one and the range"
    yield f"{'':38}" + "".join(f"{name:>14}" for name in STAGES.values())
    before = ""
    for one in followed:
        known = garden.species.get(one.species)
        done = f"{one.operation.replace('-', ' ')}, {f'{one.works} times' if one.works > 1 else 'once'}"
        if one.species != before:
            yield f"{known.name if known else one.species}"
        before = one.species
        cells = "".join(f"{_cell(one.days.get(stage)):>14}" for stage in STAGES)
        yield f"  {done:36}{cells}".rstrip()
        silent = one.works - one.flushed
        if silent:
            of = f" {silent} of them" if silent < one.works else " any of them" if silent > 1 else ""
            yield f"  (nothing written of what followed{of})"


def _cell(days: tuple[int, float, float, float] | None) -> str:
    if days is None:
        return "."
    count, middle, least, most = days
    return f"{middle:.0f}" if count == 1 else f"{middle:.0f} ({least:.0f}-{most:.0f})"


def trend_lines(trends: Sequence[Trend], garden: Garden) -> Iterator[str]:
    """Days a decade with the 95 % interval, or that it cannot be said yet."""
    if not trends:
        return
    yield "Trends, with the interval that holds the truth in 95 of 100 such records"
    told, few = [t for t in trends if t.per_decade is not None], [t for t in trends if t.per_decade is None]
    for trend in told:
        yield from _hung(f"  {trend_name(trend, garden)}: {trend.words}")
    species = {t.species for t in few if t.species}
    for trend in (t for t in few if not t.species):
        yield from _hung(f"  {trend_name(trend, garden)}: {trend.words}")
    if species:
        most = max(t.seasons for t in few if t.species)
        told_of = f"{most} of {FEWEST_SEASONS} at most"
        yield f"  stages of {len(species)} species: too few seasons to say ({told_of})"


def _hung(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="    ", break_on_hyphens=False)


def trend_name(trend: Trend, garden: Garden) -> str:
    """What has a trend, in words."""
    if trend.what == "warmth":
        day = garden.calendar.date(garden.season, garden.today)
        return f"warmth that is usual by {short_date(day)} comes"
    if trend.what == "half the warmth":
        return "half the warmth of a usual season comes"
    if not trend.species:
        return trend.what
    known = garden.species.get(trend.species)
    return f"{known.name if known else trend.species}, {STAGES[trend.what]}"


def weather_lines(garden: Garden) -> Iterator[str]:
    """The lines that whoever shows the weather must show."""
    if garden.attribution:
        yield from textwrap.wrap(f"Weather: {'; '.join(garden.attribution)}.", WIDTH)
