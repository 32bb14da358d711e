"""Small drawings of seasons beside each other: days ahead through each, and each species' flushes in them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.model.arrays import Array
from phenology.seasons.compare import Comparison
from phenology.seasons.tree_stages import StageDate
from reports.page.drawings import svg_drawing, svg_line, svg_rect

DAYS = 366
HIGH = 20.0
STEP = 3  # every third day of a course is drawn
REACH_MOST = 25.0  # days; late leads may be longer, and would flatten the rest (ours)


@dataclass(frozen=True)
class Around:
    """What stands around a season's flushes, in days of the season.

    Attributes
    ----------
    months : sequence of float
        Turns of the months.
    last, first : float or None
        Day of the last frost of spring and the first of autumn, where known.
    works : sequence of float
        Days on which work that wakes was done.
    today : float or None
        Where the season is still under way.
    """

    months: Sequence[float]
    last: float | None = None
    first: float | None = None
    works: Sequence[float] = ()
    today: float | None = None


def lead_reach(comparison: Comparison) -> float:
    """Days ahead or behind that all strips are drawn to; longer leads are cut off. [days]"""
    ahead = np.abs(np.concatenate([course.ahead for course in comparison.courses.values()]))
    return float(np.clip(np.nanmax(np.append(ahead, 5.0)), 5.0, REACH_MOST))


def lead_drawing(ahead: Array, reach: float, around: Around, words: str) -> str:
    """Days ahead of usual through a season: above the line ahead, below it behind."""
    middle = HIGH / 2
    parts = [svg_line(x, 0, x, HIGH, "month") for x in around.months]
    for run in _runs(np.isfinite(ahead)):
        days = [*range(run.start, run.stop - 1, STEP), run.stop - 1]
        points = [(float(d), middle - (middle - 1) * float(ahead[d]) / reach) for d in days]
        shape = [(points[0][0], middle), *points, (points[-1][0], middle)]
        parts.append(f'<polygon class="lead" points="{_points(shape)}"/>')
    parts.append(svg_line(0, middle, DAYS, middle, "zero"))
    if around.today is not None:
        parts.append(svg_line(around.today, 0, around.today, HIGH, "today"))
    return svg_drawing(DAYS, HIGH, words, parts, "strip")


def flush_drawing(stages: Sequence[StageDate], around: Around, words: str) -> str:
    """One species' flushes in one season: lengthening pale, hardening dark, hard at the stroke.

    Frost stands hatched at both ends, work as a small wedge, today dotted.
    """
    parts = [svg_line(x, 0, x, HIGH, "month") for x in around.months]
    if around.last is not None and around.last > 0:
        parts.append(svg_rect(0, 2, min(around.last, DAYS), 16, "late"))
    if around.first is not None and around.first <= DAYS:
        parts.append(svg_rect(around.first - 1, 2, DAYS - around.first + 1, 16, "late"))
    by_flush: dict[int, dict[str, float]] = {}
    for one in stages:
        by_flush.setdefault(one.flush, {})[one.stage] = one.day
    for days in by_flush.values():
        parts += _flush(days)
    parts += [_wedge(day) for day in around.works]
    if around.today is not None:
        parts.append(svg_line(around.today, 0, around.today, HIGH, "today"))
    return svg_drawing(DAYS, HIGH, words, parts, "strip")


def _flush(days: dict[str, float]) -> Iterator[str]:
    bud, extended, hard = (days.get(stage) for stage in ("budbreak", "extended", "hardened"))
    if bud is not None and (until := extended if extended is not None else hard) is not None:
        yield svg_rect(bud, 6, max(until - bud, 0.0), 8, "lengthening")
    if extended is not None and hard is not None:
        yield svg_rect(extended, 6, max(hard - extended, 0.0), 8, "hardening")
    for at, low, high in ((bud, 6.0, 14.0), (extended, 6.0, 14.0), (hard, 3.0, 17.0)):
        if at is not None:
            yield svg_line(at, low, at, high, "stroke" if low > 3 else "hard")


def _wedge(day: float) -> str:
    return f'<polygon class="wedge" points="{_points([(day - 2.2, 0), (day + 2.2, 0), (day, 5)])}"/>'


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _runs(shown: NDArray[np.bool_]) -> Iterator[range]:
    """Stretches of days in a row."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], shown.astype(int), [0]])))
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if stop - start > 1:
            yield range(start, stop)


def finite(day: float | None) -> float | None:
    """A day that can be drawn; None for one that is not known or never came."""
    return day if day is not None and math.isfinite(day) else None
