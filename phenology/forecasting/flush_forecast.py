"""What may still come of a garden's flushes: for every tree's live flush, the arrival of its next stages."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np

from phenology.forecasting.arrival import Arrival
from phenology.forecasting.propagation import Chain, Requires, Step, link_step, propagate
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, ThermalTime
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit, Link
from phenology.learning.prediction import Prediction, by_calendar, by_warmth
from phenology.learning.transitions import LEAFING, Transition
from phenology.model.arrays import Array
from phenology.model.records import Flush, Site, Tree
from phenology.model.season import NEVER
from phenology.weather.traces import Traces, draw_traces

if TYPE_CHECKING:
    from phenology.learning.garden_leaves import GardenLeaves

EVEN = 0.5  # believed more than the steps, a longer wait is what a forecast is said to rest on
TOGETHER = 64  # so many flushes are forecast at once (ours): their curves stay within some megabytes
NARROW_DAYS = 10.0  # an interval no wider is taken to hold its event anywhere alike (ours)


class StageAhead(NamedTuple):
    """A stage that may still come."""

    history: FlushHistory  # the flush, as known on the day of the forecast
    stage: str
    steps: tuple[Transition, ...]  # the waits it rests on, from what was seen last
    arrival: Arrival
    # False under cover without readings, before a bud break is seen: the weather outside tells when to begin
    # to look, and no date
    dated: bool = True


class FlushForecasts:
    """Forecasts of a garden's flushes; traces and clocks are drawn once for each site and season.

    Parameters
    ----------
    fit : GardenFit
        Its requirements.
    """

    def __init__(self, garden: Garden, fit: GardenFit) -> None:
        self.garden, self.fit = garden, fit
        self._traces: dict[tuple[Site, int], tuple[Traces, ThermalTime]] = {}
        self._by_tree: dict[str, list[FlushHistory]] = {}
        for h in fit.histories:
            if self._known_by_now(h):
                self._by_tree.setdefault(h.tree.id, []).append(h)

    @cached_property
    def _leaves(self) -> GardenLeaves | None:
        """The garden's leaf counts; None where nobody counted."""
        if not any(look.leaves for look in self.garden.looks):
            return None
        from phenology.learning.garden_leaves import GardenLeaves

        return GardenLeaves(self.fit)

    def _known_by_now(self, h: FlushHistory) -> bool:
        """Whether it has begun: a hindcast may learn from seasons that come later."""
        if h.flush.season <= self.garden.season:
            return True
        looks = self.garden.looks_by_flush.get(h.flush.id, ())
        return any(look.latest <= self.garden.as_of for look in looks)

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

    def live(self, tree: Tree) -> Iterator[tuple[FlushHistory, int]]:
        """The flushes of a tree that a forecast is about, each with the day of its season it is issued on.

        Flushes that are hard are among them until they are worked; what has turned gives way to next season.
        """
        season, mine = self.garden.season, self._by_tree.get(tree.id, [])
        this = [h for h in mine if h.flush.season == season]
        ahead = [h for h in mine if h.flush.season == season + 1]
        if ahead:  # buds seen at rest in autumn are the next season's
            yield ahead[0], 0
            return
        live = [h for h in this if h.ended is None and not h.lost]
        if live and all(h.stage in ("turning", "bare") for h in live):
            yield self.unseen(tree, season + 1), 0
            return
        for h in live or ([] if this else [self.unseen(tree, season)]):
            open_work = h.stage == "hardened" and not h.worked
            if not self._only_assumed(h) and (open_work or not h.is_hard):
                yield h, self.garden.today

    def ahead(self, h: FlushHistory, issued: int) -> list[StageAhead]:
        """The stages of a flush that may still come, in order."""
        return self.all_ahead([(h, issued)])[0]

    def all_ahead(self, flushes: Sequence[tuple[FlushHistory, int]]) -> list[list[StageAhead]]:
        """The same of several flushes, each with the day of its season it is issued on.

        Those of one site and season go through together.
        """
        found: list[list[StageAhead]] = [[] for _ in flushes]
        alike: dict[tuple[Site, int], list[tuple[int, str, list[Link], Chain]]] = {}
        for k, (h, issued) in enumerate(flushes):
            known = self._beginning(h)
            if known is None:
                continue
            traces, thermal_time = self.drawn(h.site, h.flush.season, issued)
            links = self.fit.chain(h.tree, known[0])
            steps = [self._step(h, link, thermal_time, traces) for link in links]
            mine = alike.setdefault((h.site, h.flush.season), [])
            mine.append((k, known[0], links, Chain(known[1], steps)))
        for key, chains in alike.items():
            traces, thermal_time = self._traces[key]
            curves = propagate([chain for *_, chain in chains], thermal_time, traces.gap_variance)
            for (k, start, links, chain), drawn in zip(chains, curves, strict=True):
                found[k] = self._told(flushes[k][0], start, links, chain.steps, drawn)
        return found

    def _told(
        self,
        h: FlushHistory,
        start: str,
        links: Sequence[Link],
        steps: Sequence[Step],
        curves: Sequence[Array],
    ) -> list[StageAhead]:
        """The stages of a chain that no look has shown."""
        used: list[Transition] = []
        found: list[tuple[str, tuple[Transition, ...], Arrival]] = []
        for link, step, drawn in zip(links, steps, curves, strict=True):
            used.append(link.wait)
            if math.isfinite(step.seen[1]):
                used = []  # what follows rests on the look
                continue
            strides = [stride.wait for stride in link.strides if stride.weight > EVEN]
            found.append((link.wait.target, tuple(strides[-1:] or used), Arrival.over(drawn)))
        for k in reversed(range(len(found) - 1)):
            # leaves of shoots that run on harden without waiting for them: shoots stop no later than that
            earlier = np.maximum(found[k][2].curve, found[k + 1][2].curve)
            found[k] = (*found[k][:2], Arrival(earlier))
        if found and start == "start" and unmeasured_cover(self.garden, h):
            return [StageAhead(h, *found[0], dated=False)]
        return [StageAhead(h, *one) for one in found]

    def _step(self, h: FlushHistory, link: Link, thermal_time: ThermalTime, traces: Traces) -> Step:
        fixed = falls_back(self.garden, h)

        def requires(transition: Transition) -> Requires:
            def requirement(began: float) -> Prediction:
                found = self.fit.requirement(transition).predict(
                    h.tree.species, h.tree.id, h.flush.season, h.number > 1, began
                )
                if transition.start == "start" and not self.fit.seasons_seen(h.tree.species, transition):
                    # the catalogue's days at 18 degC, read as plain days from new year, are no date of spring
                    return by_warmth(found, CLOCKS)
                return by_calendar(found, CLOCKS) if fixed else found

            return requirement

        begun = h.begun(link.wait.target)
        not_yet = h.came.get(link.wait.target, (-math.inf, NEVER))[0]
        paced, leaves = None, self._leaves if link.wait == LEAFING else None
        if leaves is not None and leaves.counts(h).growing is not None:

            def paced(
                prediction: Prediction, times: Sequence[float]
            ) -> list[tuple[float, float, Prediction]]:
                return leaves.informed(h, prediction, thermal_time, traces.gap_variance, times)

        rests = 0.0
        if link.wait.start == "work" and h.woken is not None:
            rests = self.fit.rests(h.tree.species, h.woken[1])
        return link_step(link, requires, (not_yet, NEVER) if begun is None else begun, paced, rests)

    def _beginning(self, h: FlushHistory) -> tuple[str, tuple[float, float]] | None:
        """Where the chain of a flush begins, and when that was; None where the records do not say.

        The latest stage it has reached, unless looks leave wide open when that was: then the stage before,
        whose wait tells the likelier times within the interval. Further back where a longer wait from there
        tells of what is still to come.
        """
        known = [(s, b) for s in ("extended", "budbreak", "work", "start") if (b := h.begun(s)) is not None]
        found = 0
        for k, ((stage, begun), (before, _)) in enumerate(itertools.pairwise(known)):
            if before == "start" and unmeasured_cover(self.garden, h):
                break
            wide = begun[1] - begun[0] > NARROW_DAYS and found == k
            to_come = Transition(stage, "hardened").links() if stage != "hardened" else ()
            if wide or any(self.fit.weight(h.tree.species, Transition(before, s.target)) for s in to_come):
                found = k + 1
        return known[found] if known else None

    def _only_assumed(self, h: FlushHistory) -> bool:
        """A second flush of a fixed grower is never assumed from work, only seen."""
        return self.garden.species_of(h.tree).growth == "fixed" and h.number > 1 and h.stage is None

    def unseen(self, tree: Tree, season: int) -> FlushHistory:
        """The first flush of a season in which nothing was seen yet."""
        flush = Flush(id="", tree_id=tree.id, season=season, started_by="season")
        return FlushHistory(tree, flush, 1, self.garden.site(tree, season), {}, None, None, None, None)


def forecast_stages(
    garden: Garden, fit: GardenFit | None = None, trees: Sequence[Tree] | None = None
) -> Iterator[StageAhead]:
    """Every stage that may still come of some trees, or of all that stand, as known on `garden.as_of`."""
    forecasts = FlushForecasts(garden, fit or GardenFit(garden))
    for some in blocks(garden.standing_trees if trees is None else trees, TOGETHER):
        growing = [one for tree in some for one in forecasts.live(tree) if not one[0].is_hard]
        yield from itertools.chain.from_iterable(forecasts.all_ahead(growing))


T = TypeVar("T")


def blocks(things: Sequence[T], size: int) -> Iterator[Sequence[T]]:
    """So many at a time."""
    return (things[k : k + size] for k in range(0, len(things), size))


def unmeasured_cover(garden: Garden, h: FlushHistory) -> bool:
    """Whether a tree stands under cover where no thermometer of the garden's own has measured."""
    place = garden.place_of(h.tree, garden.as_of)
    if place.cover in ("open", ""):
        return False
    series = garden.weather.get(place.id)
    return series is None or not bool((series.source == "bench").any())


def falls_back(garden: Garden, h: FlushHistory) -> bool:
    """Whether the calendar has served this species better: its clocks alone then speak."""
    skill = garden.skills.get(h.tree.species)
    return skill is not None and skill.by_calendar and h.number == 1
