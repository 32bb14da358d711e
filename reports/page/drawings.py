"""Small drawings inside the page. They stretch with it; their words stand beside them in HTML."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from html import escape

import numpy as np

from phenology.model.season import SeasonCalendar
from phenology.model.track_record import PastForecast
from phenology.seasons.season_heat import HeatCourse
from reports.text.words import MONTHS

BINS = ((45, 60), (30, 45), (20, 30), (10, 20), (0, 10))
FEWEST = 3


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


TRUST_REACH = 14.0  # days either way; larger misses stand at the edge (ours)


def trust_drawing(errors: Mapping[int, float], words: str) -> str:
    """A dot a season: how many days too early (left) or too late its forecasts came."""
    parts = [
        '<line class="rule" x1="0" x2="100%" y1="9" y2="9"/><line class="rule" x1="50%" x2="50%" y2="18"/>'
    ]
    for error in errors.values():
        at = 50 + 48 * max(-1.0, min(1.0, error / TRUST_REACH))
        parts.append(f'<circle class="season" cx="{at:.1f}%" cy="9" r="4"/>')
    return f'<svg class="trust" role="img" aria-label="{escape(words, quote=True)}">{"".join(parts)}</svg>'
