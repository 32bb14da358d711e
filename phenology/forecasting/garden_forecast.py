"""The forecast of a garden: for every tree's live flush, when its next stages come."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from phenology.forecasting.arrival import LEVELS, Arrival
from phenology.forecasting.chain import by_calendar, curves_after, curves_from, not_by, within
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, Hands
from phenology.learning.garden_fit import GardenFit
from phenology.learning.garden_leaves import STEP as LEAFING
from phenology.learning.garden_leaves import GardenLeaves
from phenology.learning.requirement import Prediction
from phenology.learning.transitions import LINKS, Transition
from phenology.learning.waits import Site
from phenology.records.flush_history import FlushHistory
from phenology.records.intervals import likely_times
from phenology.records.rows import Flush, Tree
from phenology.stages import stage_rank
from phenology.weather.traces import WANTED, Traces, draw_traces
from phenology.work.advice import Advice, Adviser

Array = NDArray[np.float64]

COVER_DAYS = 28.0  # cover brings growth forward: looks begin so much before the weather outside says (ours)
NARROW_DAYS = 10.0  # an interval no wider is taken to hold its event anywhere alike (ours)
SPREAD = (np.arange(5) + 0.5) / 5  # levels of the times that stand for a bud break, equally likely
FRESH_DAYS = 7  # weather older than this is worth a warning (ours)


@dataclass(frozen=True)
class Trust:
    """What a forecast rests on.

    Attributes
    ----------
    seasons : int
        Seasons of this garden in which the species was seen to take the steps concerned.
    within : float or None
        Half the width of the range that holds four in five, once the garden has seasons of its own. [days]
    prior_share : float
        How much of the belief in the species' mean is still the catalogue's.
    """

    seasons: int
    within: float | None
    prior_share: float

    @property
    def words(self) -> str:
        """As the grower reads it."""
        if self.seasons == 0:
            return "species guess"
        if self.seasons == 1 or self.within is None:
            return "1 season here"
        days = max(1, round(self.within))
        return f"{self.seasons} seasons here, usually within {days} {'day' if days == 1 else 'days'}"


@dataclass(frozen=True)
class ForecastRow:
    """One tree, one flush, one stage.

    Attributes
    ----------
    tree : Tree
    place : str
    season, flush : int
        Season label, and number of the flush in it.
    stage : str
        The stage forecast, or `hardened` when that was seen and the work is open.
    seen : (date or None, date or None)
        Last look before it, first look at it.
    arrival : Arrival or None
        None where the stage was already seen.
    looks : int
        Looks of this species that the forecast rests on.
    advice : Advice or None
        On the work that hardening opens, for trees that are being refined.
    dated : bool
        False under cover without readings, before a bud break is seen: the weather outside tells when to
        begin to look, and no date.
    """

    tree: Tree
    species_name: str
    place: str
    season: int
    flush: int
    stage: str
    operation: str | None
    seen: tuple[date | None, date | None]
    arrival: Arrival | None
    look_on: date
    looks: int
    trust: Trust
    warnings: tuple[str, ...]
    advice: Advice | None = None
    dated: bool = True

    def day(self, level: float) -> float | None:
        """Day of the season by which it has come with chance `level`; None beyond 1 - p_not, or undated."""
        if self.arrival is None or not self.dated:
            return None
        t = self.arrival.quantile(level)
        return None if math.isinf(t) else t

    @property
    def order(self) -> float:
        """For sorting: soonest first."""
        middle = self.day(0.5)
        return -1.0 if self.arrival is None else (math.inf if middle is None else middle)


@dataclass(frozen=True)
class GardenForecast:
    """All rows of a garden, soonest first, and the weather they rest on."""

    garden: Garden
    rows: tuple[ForecastRow, ...]
    donors: int
    warnings: tuple[str, ...]


def forecast_garden(garden: Garden, *, progress: Callable[[int, int], None] | None = None) -> GardenForecast:
    """Forecast every tree's next stages.

    Parameters
    ----------
    garden : Garden
    progress : callable, optional
        Called with (trees done, trees to do).

    Raises
    ------
    WeatherError
        If there is no weather, or it ended long ago.
    """
    garden.check_weather_is_fresh()
    maker = _Maker(garden, GardenFit(garden))
    trees = [tree for tree in garden.trees if not _retired(tree, garden.as_of)]
    rows: list[ForecastRow] = []
    for done, tree in enumerate(trees):
        if progress is not None:
            progress(done, len(trees))
        rows += maker.rows(tree)
    rows.sort(key=lambda r: (r.season, r.order, r.tree.label))
    return GardenForecast(garden, tuple(rows), maker.donors, tuple(maker.warnings()))


def _retired(tree: Tree, day: date) -> bool:
    return tree.retired is not None and tree.retired <= day


class _Maker:
    """Makes the rows of one garden; traces and clocks are drawn once for each site and season."""

    def __init__(self, garden: Garden, fit: GardenFit) -> None:
        self.garden, self.fit = garden, fit
        self._traces: dict[tuple[Site, int], tuple[Traces, Hands]] = {}
        self._adviser = Adviser(garden, fit, self._drawn)
        self._leaves = GardenLeaves(fit)
        self._by_tree: dict[str, list[FlushHistory]] = {}
        for h in fit.histories:
            self._by_tree.setdefault(h.tree.id, []).append(h)
        species = {t.id: t.species for t in garden.trees}
        self._looks = Counter(species[v.tree_id] for v in garden.looks if v.tree_id in species)

    @property
    def donors(self) -> int:
        return min((len(set(t.donors)) for t, _ in self._traces.values()), default=0)

    def warnings(self) -> Iterator[str]:
        through = self.garden.weather_through()
        behind = (self.garden.as_of - through).days if through else 0
        if behind > FRESH_DAYS:
            stand_in = "kept forecasts" if self.garden.forecast_through() else "usual years"
            yield f"weather ends {behind} days ago; the days since are filled from {stand_in}"
        if 0 < self.donors < WANTED:
            yield (
                f"only {self.donors} past {'year' if self.donors == 1 else 'years'} of weather to draw the "
                f"coming weeks from ({WANTED} wanted): the range may be too narrow"
            )

    def rows(self, tree: Tree) -> Iterator[ForecastRow]:
        season = self.garden.season
        mine = [h for h in self._by_tree.get(tree.id, []) if h.flush.season == season]
        ahead = [h for h in self._by_tree.get(tree.id, []) if h.flush.season == season + 1]
        if ahead:  # buds seen at rest in autumn are the next season's
            yield from self._chain(ahead[0], 0)
            return
        live = [h for h in mine if h.ended is None and not h.lost]
        if live and all(h.stage in ("turning", "bare") for h in live):
            yield from self._chain(_unseen(tree, season + 1, self.garden), 0)
            return
        for h in live or ([_unseen(tree, season, self.garden)] if not mine else []):
            if self._only_assumed(h):
                continue
            if h.stage and stage_rank(h.stage) >= stage_rank("hardened"):
                if h.stage == "hardened" and not h.worked:
                    yield self._open(h)
            else:
                yield from self._chain(h, self.garden.today)

    def _only_assumed(self, h: FlushHistory) -> bool:
        """A second flush of a fixed grower is never assumed from work, only seen."""
        return self.garden.species_of(h.tree).growth == "fixed" and h.number > 1 and h.stage is None

    def _open(self, h: FlushHistory) -> ForecastRow:
        transition = Transition("extended", "hardened")
        trust = Trust(len(self.fit.seasons_seen(h.tree.species, transition)), None, 0.0)
        return self._row(h, "hardened", None, trust)

    def _chain(self, h: FlushHistory, issued: int) -> Iterator[ForecastRow]:
        start, begun = self._beginning(h)
        traces, hands = self._drawn(h.site, h.flush.season, issued)
        curves: dict[str, Array] = {start: np.empty(0)}
        used: list[Transition] = []
        found: list[tuple[str, list[Transition], Array]] = []
        target = start
        while target in LINKS:
            target = LINKS[target]
            path = self.fit.path(h.tree, start, target)
            step = path[-1]
            requirement = self.fit.requirement(step)
            used.append(step)
            # a wait that begins at an uncertain time is judged at its likely middle for lateness
            middle = self._middle(curves.get(step.start), begun)
            prediction = requirement.predict(h.tree.species, h.tree.id, h.flush.season, h.number > 1, middle)
            if self._falls_back(h):
                prediction = by_calendar(prediction, CLOCKS)
            counted = self._by_leaves(h, step, prediction, curves[step.start], begun, traces, hands)
            if counted is not None:
                drawn = counted
            elif step.start == start:
                drawn = curves_from(prediction, hands, likely_times(begun), CLOCKS, traces.gap_variance)
            else:
                drawn = curves_after(prediction, hands, curves[step.start], CLOCKS, traces.gap_variance)
            came = h.begun(target)
            if came is not None:
                curves[target] = within(drawn, *came)
                used = []  # what follows rests on the look
                continue
            not_yet = h.came.get(target, (-math.inf, math.inf))[0]
            if math.isfinite(not_yet):
                drawn = not_by(drawn, not_yet)
            curves[target] = drawn
            found.append((target, list(used), np.clip(drawn.mean(0), 0.0, 1.0)))
        for k in reversed(range(len(found) - 1)):
            # a stage taken at one stride may come out ahead of the steps on its way: they come no later
            found[k] = (*found[k][:2], np.maximum(found[k][2], found[k + 1][2]))
        if start == "start" and self._unmeasured_cover(h):
            arrival = Arrival(found[0][2])
            yield replace(self._row(h, "budbreak", arrival, Trust(0, None, 1.0)), dated=False)
            return
        for target, known_from, curve in found:
            arrival = Arrival(curve)
            yield self._row(h, target, arrival, self._trust(h, known_from, arrival))

    def _beginning(self, h: FlushHistory) -> tuple[str, tuple[float, float]]:
        """Where the chain of a flush begins, and when that was.

        The latest stage it has reached, unless looks leave wide open when that was: then the stage before,
        whose wait tells the likelier times within the interval.
        """
        known = [(s, b) for s in ("extended", "budbreak", "work", "start") if (b := h.begun(s)) is not None]
        for (stage, begun), (before, _) in itertools.pairwise(known):
            narrow = begun[1] - begun[0] <= NARROW_DAYS
            blind = before == "start" and self._unmeasured_cover(h)
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
        hands: Hands,
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
            share * curves_from(after, hands, (time,), CLOCKS, gap)
            for share, time, after in self._leaves.informed(h, prediction, hands, gap, times)
        ]
        return np.asarray(np.sum(parts, axis=0))

    @staticmethod
    def _middle(curves: Array | None, begun: tuple[float, float]) -> float:
        if curves is None or not curves.size:
            return (begun[0] + begun[1]) / 2
        return float(np.interp(0.5 * curves.mean(0)[-1], curves.mean(0), np.arange(curves.shape[1])))

    def _trust(self, h: FlushHistory, used: list[Transition], arrival: Arrival) -> Trust:
        seasons = min(len(self.fit.seasons_seen(h.tree.species, t)) for t in used)
        share = max(self.fit.prior_share(h.tree.species, t) for t in used)
        low, high = arrival.quantile(0.1), arrival.quantile(0.9)
        within = (high - low) / 2 if seasons and math.isfinite(high) else None
        skill = self.garden.skills.get(h.tree.species)
        if skill and within and h.number == 1 and used[0].start == "budbreak" and len(used) > 1:
            within = skill.within  # how far such forecasts, made at bud break, did miss
        return Trust(seasons, within, share)

    def _unmeasured_cover(self, h: FlushHistory) -> bool:
        """Whether a tree stands under cover where no thermometer of the garden's own has measured."""
        place = self.garden.place_of(h.tree, self.garden.as_of)
        if place.cover in ("open", ""):
            return False
        series = self.garden.weather.get(place.id)
        return series is None or not bool((series.source == "bench").any())

    def _falls_back(self, h: FlushHistory) -> bool:
        """Whether the usual date has served this species as well: its calendar clocks alone then speak."""
        skill = self.garden.skills.get(h.tree.species)
        return skill is not None and skill.weather_adds_nothing and h.number == 1

    def _drawn(self, site: Site, season: int, issued: int) -> tuple[Traces, Hands]:
        key = (site, season)
        if key not in self._traces:
            record = self.garden.record_at(site)
            traces = draw_traces(record, season, issued, outlook=self.garden.outlook_at(site))
            self._traces[key] = traces, traces.hands()
        return self._traces[key]

    def _row(self, h: FlushHistory, stage: str, arrival: Arrival | None, trust: Trust) -> ForecastRow:
        garden, season = self.garden, h.flush.season
        after, by = h.came.get(stage, (-math.inf, math.inf))
        seen = tuple(garden.calendar.date(season, t) if math.isfinite(t) else None for t in (after, by))
        place = garden.place_of(h.tree, garden.as_of)
        wanted = operation_for(garden, h) if stage == "hardened" else None
        advice = self._adviser.advise(h, wanted, arrival) if wanted else None
        said = advice.sentences() if advice else ()
        return ForecastRow(
            h.tree,
            garden.species_of(h.tree).name,
            place.name,
            season,
            h.number,
            stage,
            advice.operation if advice else None,
            (seen[0], seen[1]),
            arrival,
            self._look_on(h, arrival),
            self._looks[h.tree.species],
            trust,
            (*self._row_warnings(h, place.cover), *said),
            advice,
        )

    def _look_on(self, h: FlushHistory, arrival: Arrival | None) -> date:
        """The next day worth a look: one chance in four that it has come, and 4 days since the last."""
        garden, season = self.garden, h.flush.season
        if arrival is None:
            return garden.as_of
        t = arrival.quantile(0.25)
        if math.isinf(t):
            t = float(len(arrival.curve) - 1)
        if h.begun("budbreak") is None and h.number == 1 and self._unmeasured_cover(h):
            t = max(0.0, t - COVER_DAYS)
        day = max(garden.calendar.date(season, t), garden.as_of)
        if h.last_look is not None and season == garden.season:
            day = max(day, garden.calendar.date(season, h.last_look + 4))
        return day

    def _row_warnings(self, h: FlushHistory, cover: str) -> Iterator[str]:
        if self._falls_back(h):
            seasons = self.garden.skills[h.tree.species].seasons
            yield f"over {seasons} seasons the weather told no more than the usual date: that is used"
        if h.contradiction:
            yield f"looks contradict each other ({h.contradiction.split(';')[0]}); correct one of them"
        if h.checked:
            yield "growth was checked: not hardened, and the date stays open until it moves again"
        if h.number == 1 and h.woken is None and h.stage != "hardened" and self._unmeasured_cover(h):
            seen = next((s for s in ("budbreak", "extended") if h.begun(s) is not None), None)
            if seen:
                start = "its bud break" if seen == "budbreak" else "the day it was extended"
                yield f"under {cover} without readings: dates start from {start}, by the weather outside"
            else:
                yield f"under {cover} without readings: no dates until a bud break is seen; look weekly"


def operation_for(garden: Garden, h: FlushHistory) -> str | None:
    """The work that a hardened flush opens: only refining trees are told to cut."""
    if garden.aim_of(h.tree) != "refining":
        return None
    first = h.number == 1 and h.woken is None
    return "partial-defoliation" if first and garden.species_of(h.tree).defoliation == "repeat" else "cutback"


def _unseen(tree: Tree, season: int, garden: Garden) -> FlushHistory:
    """The first flush of a season in which nothing was seen yet."""
    flush = Flush(id="", tree_id=tree.id, season=season, started_by="season")
    return FlushHistory(tree, flush, 1, garden.site(tree, season), {}, None, None, None, None)


def quantile_dates(row: ForecastRow, garden: Garden) -> dict[str, date | None]:
    """The row's quantiles as dates, named p10 ... p90."""
    out: dict[str, date | None] = {}
    for level in LEVELS:
        t = row.day(level)
        out[f"p{round(level * 100)}"] = None if t is None else garden.calendar.date(row.season, t)
    return out
