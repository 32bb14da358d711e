"""Small drawings inside the pages, which stretch with them, and the templates into which they are put."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.model.track_record import PastForecast
from phenology.seasons.compare import Comparison
from phenology.seasons.season_heat import HeatCourse
from phenology.seasons.tree_stages import StageDate
from reports.charts.ink import PALETTES
from reports.charts.row_drawing import short_number
from reports.views.words import MONTHS

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup


BINS = ((45, 60), (30, 45), (20, 30), (10, 20), (0, 10))
FEWEST = 3
TRUST_REACH = 14.0  # days either way; larger misses stand at the edge (ours)
DAYS = 366
HIGH = 20.0
STEP = 3  # every third day of a course is drawn
REACH_MOST = 25.0  # days; late leads may be longer, and would flatten the rest (ours)


@dataclass(frozen=True)
class Label:
    """A word beside a drawing, placed in per cent of its width (or height)."""

    at: float
    text: str


def svg_drawing(width: float, height: float, words: str, parts: Iterable[str], kind: str) -> str:
    """A drawing that stretches with the page, with its words for who cannot see it."""
    return (
        f'<svg class="{kind}" viewBox="0 0 {width:g} {height:g}" preserveAspectRatio="none" role="img" '
        f'aria-label="{escape(words, quote=True)}">{"".join(parts)}</svg>'
    )


def svg_rect(x: float, y: float, width: float, height: float, kind: str, opacity: float | None = None) -> str:
    """A filled box."""
    faint = "" if opacity is None else f' fill-opacity="{opacity:.2g}"'
    left, top, wide, high = map(short_number, (x, y, width, height))
    at = f'x="{left}" y="{top}" width="{wide}" height="{high}"'
    return f'<rect class="{kind}" {at}{faint}/>'


def svg_line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    """A line."""
    at = f'x1="{short_number(x1)}" y1="{short_number(y1)}" x2="{short_number(x2)}" y2="{short_number(y2)}"'
    return f'<line class="{kind}" {at}/>'


def svg_curve(points: Iterable[tuple[float, float]], kind: str) -> str:
    """A curve through points."""
    return f'<polyline class="{kind}" points="{_points(points)}"/>'


def heat_drawing(course: HeatCourse, words: str, scale: float = 1.0) -> tuple[str, list[Label]]:
    """This season's warmth over past ones, and the labels of its height in degree-days times `scale`."""
    top = max((float(c[-1]) for c in course.past.values()), default=float(course.heat[-1]) or 1.0) * 1.04

    def points(curve: np.ndarray) -> list[tuple[float, float]]:
        days = [*range(0, len(curve) - 1, 4), len(curve) - 1]
        return [(float(d), 100 - 100 * float(curve[d]) / top) for d in days]

    parts = [svg_curve(points(curve), "past") for curve in course.past.values()]
    parts.append(svg_curve(points(course.heat), "now"))
    step = 1000 if top * scale > 2200 else 500 if top * scale > 900 else 100
    labels = [Label(100 - 100 * v / (top * scale), f"{v:,}") for v in range(0, int(top * scale) + 1, step)]
    return svg_drawing(366, 100, words, parts, "heat"), labels


def month_labels(calendar: SeasonCalendar, season: int) -> list[Label]:
    """The months of a season under its drawing, in per cent."""
    start = calendar.start(season)
    days = [start + timedelta(days=n) for n in range(calendar.length(season))]
    return [Label(100 * n / 366, MONTHS[d.month - 1]) for n, d in enumerate(days) if d.day == start.day]


def miss_drawing(past: Sequence[PastForecast], words: str) -> tuple[str, list[Label], float]:
    """Misses by lead time: the middle four in five as boxes; with labels and the reach in days."""
    lead, error = np.array([p.lead for p in past]), np.array([p.error for p in past])
    bins = [b for b in BINS if ((lead >= b[0]) & (lead < b[1])).sum() >= FEWEST]
    reach = float(max(5.0, np.ceil(np.quantile(np.abs(error), 0.97) / 5) * 5)) if len(past) else 5.0
    parts, labels = [svg_line(0, 50, 100, 50, "rule")], []
    for k, (low, high) in enumerate(bins):
        inside = (lead >= low) & (lead < high)
        below, middle, above = (50 - 50 * q / reach for q in np.quantile(error[inside], (0.1, 0.5, 0.9)))
        x, wide = 100 * (k + 0.08) / len(bins), 84 / len(bins)
        parts += [
            svg_rect(x, above, wide, below - above, "band"),
            svg_line(x, middle, x + wide, middle, "now"),
        ]
        labels.append(Label(100 * (k + 0.5) / len(bins), f"{low}-{high}"))
    return svg_drawing(100, 100, words, parts, "misses"), labels, reach


def years_drawing(shares: Sequence[float], words: str) -> str:
    """A strip with a cell a year, darker the more of its days are known."""
    parts = [svg_rect(k + 0.05, 0, 0.9, 10, "likely", 0.08 + 0.92 * share) for k, share in enumerate(shares)]
    return svg_drawing(max(len(shares), 1), 10, words, parts, "years")


def trust_drawing(errors: Mapping[int, float], words: str) -> str:
    """A dot a season: how many days too early (left) or too late its forecasts came."""
    parts = [
        '<line class="rule" x1="0" x2="100%" y1="9" y2="9"/><line class="rule" x1="50%" x2="50%" y2="18"/>'
    ]
    for error in errors.values():
        at = 50 + 48 * max(-1.0, min(1.0, error / TRUST_REACH))
        parts.append(f'<circle class="season" cx="{at:.1f}%" cy="9" r="4"/>')
    return f'<svg class="trust" role="img" aria-label="{escape(words, quote=True)}">{"".join(parts)}</svg>'


@dataclass(frozen=True)
class Around:
    """What stands around a season's flushes, in days of the season: turns of the months, the last frost of
    spring and the first of autumn, work that wakes, and today where the season is under way."""

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
    wedges = (_points([(day - 2.2, 0), (day + 2.2, 0), (day, 5)]) for day in around.works)
    parts += [f'<polygon class="wedge" points="{points}"/>' for points in wedges]
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


def _points(points: Iterable[tuple[float, float]]) -> str:
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


def filled(template: str, **values: Any) -> str:
    """A template of `reports/templates` with its values."""
    return templates("reports").get_template(template).render(palettes=PALETTES, **values)


@cache
def templates(package: str) -> Environment:
    """The templates beside a package; text is escaped, and a name that is missing is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader(package),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )


def drawn(svg: str) -> Markup:
    """A drawing of our own, put into a page as it is; its words were escaped when it was made."""
    from markupsafe import Markup

    return Markup(svg)
