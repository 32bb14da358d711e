"""Small drawings inside the page. They stretch with it; their words stand beside them in HTML."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape

import numpy as np

from phenology.advice.forecast_rows import ForecastRow
from phenology.heat.clocks import HEAT_CLOCKS, REFERENCE_C
from phenology.model.season import SeasonCalendar
from phenology.model.track_record import PastForecast
from phenology.seasons.ahead import HeatCourse
from reports.text.words import MONTHS, date_style

WEEKS_BACK = 4
WEEKS_AHEAD = 13
FAINTEST = 0.004  # a day's chance below this is not drawn, but between days that are
SHADES = 20
BINS = ((45, 60), (30, 45), (20, 30), (10, 20), (0, 10))
FEWEST = 3
COLDEST, HOTTEST = 0.0, 46.0  # of the curves of heat
FASTEST = 3.6  # days at 18 degC that a day is worth, at their top


@dataclass(frozen=True)
class Label:
    """A word beside a drawing, placed in per cent of its width (or height)."""

    at: float
    text: str


@dataclass(frozen=True)
class Span:
    """The days that every tree's drawing shows."""

    first: date
    days: int

    @classmethod
    def around(cls, day: date, ahead: int = WEEKS_AHEAD) -> Span:
        """Whole weeks around a day, `ahead` of them after it."""
        first = date_style().week_start(day) - timedelta(weeks=WEEKS_BACK)
        return cls(first, 7 * (WEEKS_BACK + ahead))

    def at(self, day: date, after: float = 0.0) -> float:
        """Where a day begins, in days from the left."""
        return (day - self.first).days + after

    @property
    def months(self) -> list[Label]:
        """Turns of the months, in per cent from the left."""
        days = [self.first + timedelta(days=n) for n in range(self.days)]
        return [Label(100 * n / self.days, MONTHS[d.month - 1]) for n, d in enumerate(days) if d.day == 1]

    def label_room(self) -> list[Label]:
        """Those turns whose name still fits beside them."""
        return [label for label in self.months if label.at < 93]


def svg_drawing(width: float, height: float, words: str, parts: Iterable[str], kind: str) -> str:
    """A drawing that stretches with the page, with its words for who cannot see it."""
    return (
        f'<svg class="{kind}" viewBox="0 0 {width:g} {height:g}" preserveAspectRatio="none" role="img" '
        f'aria-label="{escape(words, quote=True)}">{"".join(parts)}</svg>'
    )


def svg_rect(x: float, y: float, width: float, height: float, kind: str, opacity: float | None = None) -> str:
    """A filled box."""
    faint = "" if opacity is None else f' fill-opacity="{opacity:.2g}"'
    at = f'x="{_short(x)}" y="{_short(y)}" width="{_short(width)}" height="{_short(height)}"'
    return f'<rect class="{kind}" {at}{faint}/>'


def svg_line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    """A line."""
    at = f'x1="{_short(x1)}" y1="{_short(y1)}" x2="{_short(x2)}" y2="{_short(y2)}"'
    return f'<line class="{kind}" {at}/>'


def svg_curve(points: Iterable[tuple[float, float]], kind: str) -> str:
    """A curve through points."""
    through = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polyline class="{kind}" points="{through}"/>'


def _short(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")


def window_drawing(step: ForecastRow, span: Span, words: str) -> tuple[str, set[str]]:
    """One tree's window: likelihood shaded day by day, looks as a bar, today dotted, too late ruled out.

    Where the words give no date (a species guess, or cover without readings) nothing is shaded: dots a week
    apart stand for the looks that are asked for.

    Returns
    -------
    svg : str
    kinds : set of str
        Which of its marks are there to be explained.
    """
    turns = [label.at * span.days / 100 for label in span.months]
    parts = [svg_line(x, 0, x, 20, "month") for x in turns] + [svg_line(0, 10, span.days, 10, "rule")]
    kinds = {"today"}
    if step.undated:
        kinds.add("look")
        first = span.at(step.weekly[0], 0.5)
        parts += [svg_line(x, 10, x, 10, "look") for x in np.arange(first, span.days - 1, 7).tolist()]
    else:
        stop = span.days if step.last_safe is None else max(0.0, span.at(step.last_safe, 1))
        if stop < span.days:
            kinds.add("late")
            parts += [svg_rect(stop, 2, span.days - stop, 16, "late"), svg_line(stop, 0, stop, 20, "stop")]
        if likely := list(_likelihood(step, span)):
            kinds.add("likely")
            parts += likely
    after, by = step.seen
    if by is not None:
        kinds.add("seen")
        left = max(0.0, span.at(after, 1) if after is not None else span.at(by))
        parts.append(svg_rect(left, 6, max(1.0, span.at(by, 1) - left), 8, "seen"))
    elif after is not None and span.at(after) >= 0:
        kinds.add("notyet")
        parts.append(svg_line(span.at(after, 1), 4, span.at(after, 1), 16, "notyet"))
    today = span.at(step.garden.as_of, 0.5)
    parts.append(svg_line(today, 0, today, 20, "today"))
    return svg_drawing(span.days, 20, words, parts, "window"), kinds


def _likelihood(step: ForecastRow, span: Span) -> Iterator[str]:
    """Days of like chance run together into one piece, so that a page of hundreds of trees stays small."""
    if step.arrival is None:
        return
    start = span.at(step.garden.calendar.start(step.season))
    daily = np.diff(step.arrival.curve)
    shown = np.flatnonzero(daily > FAINTEST)
    if not len(shown):
        return
    strength = np.round((0.1 + 0.9 * daily / daily.max()) * SHADES) / SHADES
    first, last = int(shown[0]), int(shown[-1]) + 1
    for run in np.split(np.arange(first, last), np.flatnonzero(np.diff(strength[first:last])) + 1):
        left, right = max(0.0, start + float(run[0])), min(float(span.days), start + float(run[-1]) + 1)
        if left < right:
            yield svg_rect(left, 3, right - left + 0.02, 14, "likely", float(strength[run[0]]))


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


def heat_curve_drawing(words: str, *, units: str = "C") -> tuple[str, list[Label], list[Label]]:
    """How much a day at one steady temperature counts, by each clock.

    Parameters
    ----------
    words : str
        What the drawing shows, for who cannot see it.
    units : {"C", "F"}
        Of the labels below.

    Returns
    -------
    svg : str
    below, beside : list of Label
        Temperatures, in per cent from the left; rates, in per cent from the top.
    """
    steady = np.arange(COLDEST, HOTTEST + 0.1, 1.0)

    def x(celsius: float) -> float:
        return 100 * (celsius - COLDEST) / (HOTTEST - COLDEST)

    def y(rate: float) -> float:
        return 100 - 100 * rate / FASTEST

    parts = [svg_line(x(REFERENCE_C), 0, x(REFERENCE_C), 100, "today"), svg_line(0, y(1), 100, y(1), "rule")]
    for clock in HEAT_CLOCKS:
        rate = clock.rates(steady, steady)
        points = [(x(t), y(r)) for t, r in zip(steady.tolist(), rate.tolist(), strict=True) if r <= FASTEST]
        parts.append(svg_curve(points, "falling" if clock.kind == "falling" else "rising"))
    marks = (
        [(m, (m - 32) / 1.8) for m in range(32, 114, 9)]
        if units == "F"
        else [(m, m) for m in range(0, 46, 5)]
    )
    below = [Label(x(celsius), f"{mark}°") for mark, celsius in marks]
    beside = [Label(y(rate), str(rate)) for rate in range(4)]
    return svg_drawing(100, 100, words, parts, "clocks"), below, beside
