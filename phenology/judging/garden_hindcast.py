"""How good the forecasts of this garden would have been: each past season forecast from all the others."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from phenology.forecasting.arrival import Arrival, arrival_of
from phenology.heat.clocks import CLOCKS, ThermalTime
from phenology.judging.rivals import usual_date
from phenology.learning.flush_history import WIDEST_DAYS
from phenology.learning.garden_fit import GardenFit
from phenology.learning.requirement import Requirement
from phenology.learning.transitions import Transition
from phenology.learning.waits import Wait
from phenology.model.records import Site
from phenology.weather.traces import Traces, draw_traces

WAYS = (Transition("budbreak", "hardened"), Transition("start", "hardened"))
"""What is forecast: hardening, from the bud break where that is on record, else from the season's start."""

FEWEST_SEASONS = 2


@dataclass(frozen=True)
class PastSkill:
    """How far forecasts of seasons not seen would have missed, for one species.

    Attributes
    ----------
    species : str
    transition : Transition
        The wait forecast, for first flushes.
    seasons, trees : int
        Seasons forecast, and tree-seasons in them.
    missed, usual_missed : float
        Mean distance of flushcast's median, and of the usual date, from the middle of what was seen; a mean
        over seasons. [days]
    """

    species: str
    transition: Transition
    seasons: int
    trees: int
    missed: float
    usual_missed: float

    @property
    def weather_helps(self) -> bool:
        """Whether forecasting from weather came closer than the usual date."""
        return self.missed < self.usual_missed


def past_skill(
    fit: GardenFit, species: str | None = None, *, progress: Callable[[int, int], None] | None = None
) -> list[PastSkill]:
    """Forecast every past season's first hardening from the other seasons, species by species.

    Species with fewer than two seasons on record are left out: there is nothing to learn from.

    Parameters
    ----------
    fit : GardenFit
    species : str, optional
        Latin name; without it all of the garden's.
    progress : callable, optional
        Called with (flushes forecast, flushes to forecast).
    """
    found = judged_ways(fit, [species] if species else None)
    judge = Judge(fit)
    out, done, total = [], 0, sum(len(waits) for _, _, waits in found)
    for name, way, waits in found:
        tick = None if progress is None else partial(_tell, progress, done, total)
        out.append(judge.skill(name, way, waits, tick))
        done += len(waits)
    return out


def _tell(progress: Callable[[int, int], None], before: int, total: int, done: int) -> None:
    progress(before + done, total)


def judged_ways(
    fit: GardenFit, species: Sequence[str] | None = None
) -> list[tuple[str, Transition, list[Wait]]]:
    """Species (those named, or all that grow here) with enough seasons to be judged by, and their waits."""
    names = list(dict.fromkeys(t.species for t in fit.garden.trees))
    found = [(name, *finished_way(fit, name)) for name in names if species is None or name in species]
    return [one for one in found if len({w.season for w in one[2]}) >= FEWEST_SEASONS]


def finished_way(fit: GardenFit, species: str) -> tuple[Transition, list[Wait]]:
    """The better recorded of the two ways, with its finished first flushes."""
    found = [(way, list(_finished(fit.waits(way), species))) for way in WAYS]
    return max(found, key=lambda pair: len({w.season for w in pair[1]}))


def _finished(waits: Sequence[Wait], species: str) -> Iterator[Wait]:
    for wait in waits:
        known = all(map(math.isfinite, wait.target)) and wait.target[1] - wait.target[0] <= WIDEST_DAYS
        if wait.species == species and not wait.later and known:
            yield wait


class Judge:
    """Forecasts past seasons; a fit without a season, and that season's traces, serve all species."""

    def __init__(self, fit: GardenFit) -> None:
        self.fit = fit
        self._fits: dict[tuple[Transition, int], Requirement] = {}
        self._traces: dict[tuple[Site, int, int], tuple[Traces, ThermalTime]] = {}

    def skill(
        self,
        species: str,
        way: Transition,
        waits: Sequence[Wait],
        tick: Callable[[int], None] | None = None,
    ) -> PastSkill:
        """How far forecasts of these waits would have missed; `tick` is told how many are done."""
        misses: dict[int, list[float]] = defaultdict(list)
        usual: dict[int, list[float]] = defaultdict(list)
        for done, wait in enumerate(waits):
            if tick is not None:
                tick(done)
            middle = float(np.mean(wait.target))
            others = [w for w in waits if w.season != wait.season]
            misses[wait.season].append(abs(self.median(way, wait) - middle))
            usual[wait.season].append(abs(float(usual_date(others, wait)[2]) - middle))
        return PastSkill(species, way, len(misses), len(waits), _over_seasons(misses), _over_seasons(usual))

    def median(self, way: Transition, wait: Wait) -> float:
        """The median forecast of a wait's end, made when its beginning was seen."""
        arrival = self.arrival(way, wait, math.ceil(wait.anchor[1]))
        return min(arrival.quantile(0.5), float(len(arrival.curve) - 1))

    def arrival(self, way: Transition, wait: Wait, issued: int) -> Arrival:
        """The forecast of a wait's end at the end of a day on which it had not come."""
        traces, thermal_time = self.drawn(wait.site, wait.season, issued)
        prediction = self.without(way, wait.season).predict(
            wait.species, wait.tree, wait.season, False, wait.anchor_middle
        )
        arrival = arrival_of(
            prediction, thermal_time, wait.anchor_middle, clocks=CLOCKS, gap_variance=traces.gap_variance
        )
        return arrival.given_not_by(issued)

    def without(self, way: Transition, season: int) -> Requirement:
        if (way, season) not in self._fits:
            training = [w for w in self.fit.waits(way) if w.season != season]
            thermal_time = self.fit.garden.thermal_time({(w.site, w.season) for w in training})
            self._fits[way, season] = self.fit.model(way).fit(training, thermal_time)
        return self._fits[way, season]

    def drawn(self, site: Site, season: int, issued: int) -> tuple[Traces, ThermalTime]:
        key = (site, season, issued)
        if key not in self._traces:
            record = self.fit.garden.record_at(site).through_only(season, issued)
            traces = draw_traces(record, season, issued)
            self._traces[key] = traces, traces.thermal_time()
        return self._traces[key]


def _over_seasons(days: Mapping[int, Sequence[float]]) -> float:
    return float(np.mean([np.mean(one) for one in days.values()]))
