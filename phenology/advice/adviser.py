"""What a hardened flush opens, once the rules and the time of year have had their say."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from phenology.forecasting.arrival import Arrival
from phenology.garden import Garden
from phenology.heat.clocks import ThermalTime
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.model.errors import WeatherError
from phenology.model.records import Site
from phenology.weather.traces import Traces, draw_traces
from phenology.work.case import Case
from phenology.work.last_safe import Drawn, Late, WorkSeason
from phenology.work.rules import Finding, check_work

INSTEAD = {"partial-defoliation": "cutback"}
"""What is done where a tree may not take the first choice. Common practice, no source."""


@dataclass(frozen=True)
class Advice:
    """Advice on one window of work.

    Attributes
    ----------
    operation : str or None
        What to do; None: leave it, for the reasons in `refused`.
    refused : tuple of Finding
        Why the work that the flush would open is not advised.
    warnings : tuple of Finding
        What to mind with the work that is.
    last_safe : date or None
        The last safe date; None where nothing limits work, or no day is safe.
    limit : str
        The limit that ruled it; "none" where there is none.
    reason : str
        The same in a sentence.
    odds : (float, float, float) or None
        Odds that new growth ripens if the work is done today, in 14 days, in 21.
    zone : str
        What a cut does today: "ripens", "danger" or "rests".
    """

    operation: str | None
    refused: tuple[Finding, ...] = ()
    warnings: tuple[Finding, ...] = ()
    last_safe: date | None = None
    limit: str = "none"
    reason: str = ""
    odds: tuple[float, float, float] | None = None
    zone: str = "ripens"

    def sentences(self) -> Iterator[str]:
        """Everything the rules said."""
        for finding in (*self.refused, *self.warnings):
            yield finding.sentence


class Adviser:
    """Advises on the windows of one garden; late seasons are worked out once a species and site."""

    def __init__(self, garden: Garden, fit: GardenFit, drawn: Drawn) -> None:
        self.garden = garden
        self.seasons = WorkSeason(garden, fit, drawn)

    def advise(self, h: FlushHistory, wanted: str, opens: Arrival | None = None) -> Advice:
        """Advice on the work that a flush opens when it is hard.

        Parameters
        ----------
        h : FlushHistory
        wanted : str
            The first choice.
        opens : Arrival, optional
            When the flush will be hard; None where it is.
        """
        garden = self.garden
        if h.flush.season != garden.season:
            return Advice(wanted)
        late = self.late(h)
        day = self._day(opens)
        operation = wanted
        refused: tuple[Finding, ...] = ()
        while True:
            case = Case(garden, h.tree, operation, day, late=late, planned=opens is not None, known=h)
            findings = check_work(case)
            against = tuple(f for f in findings if f.forbids)
            refused = (*refused, *(f for f in against if f not in refused))
            if not against or operation not in INSTEAD:
                break
            operation = INSTEAD[operation]
        warnings = tuple(f for f in findings if not f.forbids)
        chosen = None if against else operation
        if late is None:
            return Advice(chosen, refused, warnings)
        required = case.required
        return Advice(
            chosen,
            refused,
            warnings,
            late.last_safe(required),
            late.stop(required).limit,
            late.reason(required),
            late.odds(),
            late.zone(late.today, required),
        )

    def late(self, h: FlushHistory) -> Late | None:
        """The late season of a flush's species and site; None without weather to tell it from."""
        try:
            return self.seasons.late(h.tree.species, h.site)
        except WeatherError:
            return None

    def _day(self, opens: Arrival | None) -> date:
        """The day on which the work is judged: today, or an early day for the flush to be hard.

        A window that only may open too late is not closed beforehand: its last safe date says enough.
        """
        calendar, season, today = self.garden.calendar, self.garden.season, self.garden.as_of
        if opens is None:
            return today
        early, end = opens.quantile(0.1), calendar.end(season)
        return end if math.isinf(early) else min(max(today, calendar.date(season, early)), end)


def late_seasons(garden: Garden) -> WorkSeason:
    """The late seasons of a garden on their own, without its forecast."""
    drawn: dict[tuple[Site, int, int], tuple[Traces, ThermalTime]] = {}

    def draw(site: Site, season: int, issued: int) -> tuple[Traces, ThermalTime]:
        if (site, season, issued) not in drawn:
            outlook = garden.outlook_at(site)
            traces = draw_traces(garden.record_at(site), season, issued, outlook=outlook)
            drawn[site, season, issued] = traces, traces.thermal_time()
        return drawn[site, season, issued]

    return WorkSeason(garden, GardenFit(garden), draw)
