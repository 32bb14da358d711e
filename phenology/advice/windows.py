"""Windows of work: when each opens, when it is best, when it closes, and what waiting costs.

The day counts are common practice, no source, but for those that a garden's own looks teach.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from phenology.advice.forecast_rows import ForecastRow, GardenForecast

SWELLING_DAYS = 18  # buds swell about this long before they break
PINCHING_OPENS, PINCHING_LASTS = 7, 10  # days after bud break, days


@dataclass(frozen=True)
class Window:
    """One window of one tree.

    Attributes
    ----------
    row : ForecastRow
        What it rests on.
    operation : str
    opens : (date or None, date or None, date or None)
        Days by which it has opened with odds of 1, 5 and 9 in 10; all the same once it is open.
    is_open : bool
    best : str
        When it is best, in words.
    closes : date or None
    closes_why : str
    odds : (float, float, float) or None
        Odds that woken growth ripens if done today, in two weeks, in three; None for work that wakes nothing.
    refused : str
        Why it is not advised after all; empty when it is.
    """

    row: ForecastRow
    operation: str
    opens: tuple[date | None, date | None, date | None]
    is_open: bool
    best: str
    closes: date | None
    closes_why: str
    odds: tuple[float, float, float] | None = None
    refused: str = ""


def windows(forecast: GardenForecast) -> list[Window]:
    """Every window of a garden that is open or that the season still brings, soonest first."""
    found = [window for row in forecast.rows for window in _of(row, forecast)]
    return sorted(found, key=lambda w: (not w.is_open, w.opens[1] or date.max, w.row.tree.label))


def _of(row: ForecastRow, forecast: GardenForecast) -> Iterator[Window]:
    garden = forecast.garden
    if row.stage == "hardened" and row.advice is not None:
        advice = row.advice
        wanted = advice.operation or "cutback"
        opens = _dates(row, forecast)
        yield Window(
            row,
            wanted,
            opens,
            row.arrival is None,
            "as soon as leaves are hard",
            advice.last_safe,
            advice.reason,
            advice.odds,
            advice.refused[0].sentence if advice.operation is None and advice.refused else "",
        )
    if row.stage != "budbreak" or row.arrival is None:
        return
    if row.flush == 1 and garden.species_of(row.tree).woken_by != "warmth":
        opens = _shifted(_dates(row, forecast), -SWELLING_DAYS)
        closes = _dates(row, forecast)[1]
        begun = opens[1] is not None and opens[1] <= garden.as_of
        if closes is None or closes >= garden.as_of:
            yield Window(row, "repotting", opens, begun, "buds fat, scales parting", closes, "buds break")
    if row.flush == 1 and garden.aim_of(row.tree) == "refining":
        opens = _shifted(_dates(row, forecast), PINCHING_OPENS)
        closes = opens[1] + timedelta(days=PINCHING_LASTS) if opens[1] else None
        if closes is None or closes >= garden.as_of:
            yield Window(
                row, "pinching", opens, False, "tips soft, two or three leaves out", closes, "tips firm"
            )


def _dates(row: ForecastRow, forecast: GardenForecast) -> tuple[date | None, date | None, date | None]:
    if row.arrival is None:
        return row.seen[1], row.seen[1], row.seen[1]
    early, middle, late = (row.arrival.quantile(level) for level in (0.1, 0.5, 0.9))
    calendar = forecast.garden.calendar

    def as_date(t: float) -> date | None:
        return None if math.isinf(t) else calendar.date(row.season, t)

    return as_date(early), as_date(middle), as_date(late)


def _shifted(
    dates: tuple[date | None, date | None, date | None], days: int
) -> tuple[date | None, date | None, date | None]:
    first, middle, last = (None if d is None else d + timedelta(days=days) for d in dates)
    return first, middle, last
