"""Below the seasons side by side: what followed work, and trends."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from phenology.garden import Garden
from phenology.seasons.followed import Followed
from phenology.seasons.trends import FEWEST_SEASONS, Trend
from reports.words import short_date

WIDTH = 80
STAGES = {"budbreak": "bud break", "extended": "extended", "hardened": "hard"}


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
            yield f"  (nothing written of what followed {silent} of them)"


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
        yield from _hung(f"  {_name(trend, garden)}: {trend.words}")
    species = {t.species for t in few if t.species}
    for trend in (t for t in few if not t.species):
        yield from _hung(f"  {_name(trend, garden)}: {trend.words}")
    if species:
        most = max(t.seasons for t in few if t.species)
        told_of = f"{most} of {FEWEST_SEASONS} at most"
        yield f"  stages of {len(species)} species: too few seasons to say ({told_of})"


def _hung(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent="    ", break_on_hyphens=False)


def _name(trend: Trend, garden: Garden) -> str:
    if trend.what == "warmth":
        day = garden.calendar.date(garden.season, garden.today)
        return f"warmth that is usual by {short_date(day)} comes"
    if not trend.species:
        return trend.what
    known = garden.species.get(trend.species)
    return f"{known.name if known else trend.species}, {STAGES[trend.what]}"


def more_record(followed: Sequence[Followed], trends: Sequence[Trend]) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "followed": [
            {
                "species": f.species,
                "operation": f.operation,
                "works": f.works,
                "seasons": f.seasons,
                "flushed": f.flushed,
                "days": {
                    stage: {
                        "n": n,
                        "median": round(middle, 1),
                        "least": round(least, 1),
                        "most": round(most, 1),
                    }
                    for stage, (n, middle, least, most) in f.days.items()
                },
            }
            for f in followed
        ],
        "trends": [
            {
                "what": t.what,
                "species": t.species or None,
                "seasons": t.seasons,
                "days_per_decade": _rounded(t.per_decade),
                "low95": _rounded(t.low),
                "high95": _rounded(t.high),
            }
            for t in trends
        ],
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
