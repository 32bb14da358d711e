"""Windows of work: when each opens, when it is best, when it closes, and what waiting costs.

The day counts are common practice, no source, but for those that a garden's own looks teach.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from phenology.advice.care import last_repotted
from phenology.advice.forecast_rows import Dates, ForecastRow, GardenForecast, shifted
from phenology.model.operations import Operation
from phenology.work.case import Case
from phenology.work.duties import PINCHING_DAYS, SWELLING_DAYS
from phenology.work.technique import choose
from phenology.work.zones import read_vigour

ROOTS_REST = 180  # roots are not cut twice in so many days (ours)


@dataclass(frozen=True)
class Window:
    """One window of one tree."""

    row: ForecastRow  # what it rests on
    operation: str
    opens: Dates  # days by which it has opened with odds of 1, 5 and 9 in 10; all the same once it is open
    is_open: bool
    best: str  # when it is best, in words
    closes: date | None
    closes_why: str
    # odds that woken growth ripens if done today, in two weeks, in three; None for work that wakes nothing
    odds: tuple[float, float, float] | None = None
    refused: str = ""  # why it is not advised after all; empty when it is


def windows(forecast: GardenForecast) -> list[Window]:
    """Every window of a garden that is open or that the season still brings, soonest first."""
    stops = {(r.tree.id, r.season, r.flush): r.dates[1] for r in forecast.rows if r.stage == "extended"}
    found = [w for row in forecast.rows for w in _of(row, stops.get((row.tree.id, row.season, row.flush)))]
    return sorted(found, key=lambda w: (not w.is_open, w.opens[1] or date.max, w.row.tree.label))


def _of(row: ForecastRow, stops: date | None) -> Iterator[Window]:
    """The windows that a row tells of; `stops` is when shoots of its flush stop."""
    garden, opens = row.garden, row.dates
    advice = row.advice
    if row.stage == "hardened" and advice is not None and row.season == garden.season:
        refused = advice.refused[0].sentence if advice.operation is None and advice.refused else ""
        if advice.operation is None and not refused:
            return  # it opens nothing
        quiet = bool(advice.techniques) and not advice.wakes  # nothing ends work that wakes nothing
        yield Window(
            row, advice.operation or "cutback", opens, row.arrival is None, "as soon as leaves are hard",
            None if quiet else advice.last_safe, "" if quiet else advice.reason,
            None if quiet else advice.odds, refused,
        )  # fmt: skip
    if row.stage != "budbreak" or row.arrival is None or row.flush > 1:
        return
    middle, species = opens[1], garden.species_of(row.tree)
    if "bud-swell" in species.repot and _roots_are_ready(row) and (middle is None or middle >= garden.as_of):
        swelling = shifted(opens, -SWELLING_DAYS)
        begun = swelling[1] is not None and swelling[1] <= garden.as_of
        yield Window(row, "repotting", swelling, begun, "buds fat, scales parting", middle, "buds break")
    if species.takes("pinch") and _may_be_pinched(row):
        closes = stops or (opens[1] + timedelta(days=PINCHING_DAYS) if opens[1] else None)
        if closes is None or closes >= garden.as_of:
            best = "tips soft, first leaves parting"
            yield Window(row, "pinching", opens, False, best, closes, "shoots stop")


def _roots_are_ready(row: ForecastRow) -> bool:
    """Whether a tree may be repotted at all: it is not weak, and its roots were not cut lately."""
    last = last_repotted(row.garden, row.tree)
    rested = last is None or (row.garden.as_of - last).days >= ROOTS_REST
    return rested and read_vigour(row.tree.vigour).whole != "weak"


def _may_be_pinched(row: ForecastRow) -> bool:
    """Whether nothing of the tree itself stands against pinching the flush that breaks."""
    case = Case(row.garden, row.tree, Operation.PINCHING, row.garden.as_of)
    now = case.situation() if row.season == row.garden.season else case.situation().next_season
    options = choose(replace(now, stage="budbreak", flush=row.flush)).options
    return any(option.technique == "pinch" and not option.unmet for option in options)
