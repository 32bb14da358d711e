"""The stages of one flush in a row: where its chain begins, and the curve of each that may still come."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from phenology.forecasting.arrival import Arrival
from phenology.forecasting.chain import by_calendar, curves_after, curves_from, not_by, within
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, ThermalTime
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.learning.garden_leaves import STEP as LEAFING
from phenology.learning.garden_leaves import GardenLeaves
from phenology.learning.requirement import Prediction
from phenology.learning.transitions import LINKS, Transition
from phenology.model.arrays import Array
from phenology.model.records import Site
from phenology.records.intervals import likely_times
from phenology.weather.traces import Traces, draw_traces

NARROW_DAYS = 10.0  # an interval no wider is taken to hold its event anywhere alike (ours)
SPREAD = (np.arange(5) + 0.5) / 5  # levels of the times that stand for a bud break, equally likely


@dataclass(frozen=True)
class StageAhead:
    """A stage that may still come.

    Attributes
    ----------
    stage : str
    steps : tuple of Transition
        The waits it rests on, from what was seen last.
    arrival : Arrival
    """

    stage: str
    steps: tuple[Transition, ...]
    arrival: Arrival


class FlushChains:
    """Chains of a garden's flushes; traces and clocks are drawn once for each site and season.

    Parameters
    ----------
    garden : Garden
    fit : GardenFit
        Its requirements.
    """

    def __init__(self, garden: Garden, fit: GardenFit) -> None:
        self.garden, self.fit = garden, fit
        self._leaves = GardenLeaves(fit)
        self._traces: dict[tuple[Site, int], tuple[Traces, ThermalTime]] = {}

    @property
    def donors(self) -> int:
        """Past years behind the traces drawn so far, where fewest."""
        return min((len(set(t.donors)) for t, _ in self._traces.values()), default=0)

    def drawn(self, site: Site, season: int, issued: int) -> tuple[Traces, ThermalTime]:
        """The traces of a site's season, and the clocks over them."""
        key = (site, season)
        if key not in self._traces:
            record = self.garden.record_at(site)
            traces = draw_traces(record, season, issued, outlook=self.garden.outlook_at(site))
            self._traces[key] = traces, traces.thermal_time()
        return self._traces[key]

    def of(self, h: FlushHistory, issued: int) -> tuple[str, list[StageAhead]]:
        """What a flush's chain begins with, and the stages that may still come, in order."""
        start, begun = self._beginning(h)
        traces, thermal_time = self.drawn(h.site, h.flush.season, issued)
        curves: dict[str, Array] = {start: np.empty(0)}
        used: list[Transition] = []
        found: list[tuple[str, tuple[Transition, ...], Array]] = []
        target = start
        while target in LINKS:
            target = LINKS[target]
            step = self.fit.path(h.tree, start, target)[-1]
            used.append(step)
            # a wait that begins at an uncertain time is judged at its likely middle for lateness
            middle = _middle(curves.get(step.start), begun)
            prediction = self.fit.requirement(step).predict(
                h.tree.species, h.tree.id, h.flush.season, h.number > 1, middle
            )
            if falls_back(self.garden, h):
                prediction = by_calendar(prediction, CLOCKS)
            counted = self._by_leaves(h, step, prediction, curves[step.start], begun, traces, thermal_time)
            if counted is not None:
                drawn = counted
            elif step.start == start:
                drawn = curves_from(
                    prediction, thermal_time, likely_times(begun), CLOCKS, traces.gap_variance
                )
            else:
                drawn = curves_after(
                    prediction, thermal_time, curves[step.start], CLOCKS, traces.gap_variance
                )
            came = h.begun(target)
            if came is not None:
                curves[target] = within(drawn, *came)
                used = []  # what follows rests on the look
                continue
            not_yet = h.came.get(target, (-math.inf, math.inf))[0]
            if math.isfinite(not_yet):
                drawn = not_by(drawn, not_yet)
            curves[target] = drawn
            found.append((target, tuple(used), np.clip(drawn.mean(0), 0.0, 1.0)))
        for k in reversed(range(len(found) - 1)):
            # a stage taken at one stride may come out ahead of the steps on its way: they come no later
            found[k] = (*found[k][:2], np.maximum(found[k][2], found[k + 1][2]))
        return start, [StageAhead(stage, steps, Arrival(curve)) for stage, steps, curve in found]

    def _beginning(self, h: FlushHistory) -> tuple[str, tuple[float, float]]:
        """Where the chain of a flush begins, and when that was.

        The latest stage it has reached, unless looks leave wide open when that was: then the stage before,
        whose wait tells the likelier times within the interval.
        """
        known = [(s, b) for s in ("extended", "budbreak", "work", "start") if (b := h.begun(s)) is not None]
        for (stage, begun), (before, _) in itertools.pairwise(known):
            narrow = begun[1] - begun[0] <= NARROW_DAYS
            blind = before == "start" and unmeasured_cover(self.garden, h)
            if (
                narrow
                or blind
                or len(self.fit.path(h.tree, before, stage)) != len(Transition(before, stage).links())
            ):
                return stage, begun
        return known[-1]

    def _by_leaves(
        self,
        h: FlushHistory,
        step: Transition,
        prediction: Prediction,
        before: Array,
        begun: tuple[float, float],
        traces: Traces,
        thermal_time: ThermalTime,
    ) -> Array | None:
        """Curves of a wait whose pace leaves counted since bud break tell; None where none were counted.

        Bud break is past, so that all traces agree on it: a few likely times stand for it.
        """
        if step != LEAFING or self._leaves.counts(h).growing is None:
            return None
        gap, times = traces.gap_variance, likely_times(begun)
        if before.size:  # the chain began before bud break: times spread as its curve says
            rising = before.mean(0) + np.arange(before.shape[1]) * 1e-12
            times = tuple(np.interp(SPREAD * rising[-1], rising, np.arange(before.shape[1])))
        parts = [
            share * curves_from(after, thermal_time, (time,), CLOCKS, gap)
            for share, time, after in self._leaves.informed(h, prediction, thermal_time, gap, times)
        ]
        return np.asarray(np.sum(parts, axis=0))


def _middle(curves: Array | None, begun: tuple[float, float]) -> float:
    if curves is None or not curves.size:
        return (begun[0] + begun[1]) / 2
    return float(np.interp(0.5 * curves.mean(0)[-1], curves.mean(0), np.arange(curves.shape[1])))


def unmeasured_cover(garden: Garden, h: FlushHistory) -> bool:
    """Whether a tree stands under cover where no thermometer of the garden's own has measured."""
    place = garden.place_of(h.tree, garden.as_of)
    if place.cover in ("open", ""):
        return False
    series = garden.weather.get(place.id)
    return series is None or not bool((series.source == "bench").any())


def falls_back(garden: Garden, h: FlushHistory) -> bool:
    """Whether the usual date has served this species as well: its calendar clocks alone then speak."""
    skill = garden.skills.get(h.tree.species)
    return skill is not None and skill.weather_adds_nothing and h.number == 1
