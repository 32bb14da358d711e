"""The forecast of a garden: for every tree's live flush, when its next stages come."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from phenology.advice.adviser import Adviser
from phenology.advice.forecast_rows import ForecastRow, GardenForecast, Trust
from phenology.forecasting.arrival import Arrival
from phenology.forecasting.flush_chain import FlushChains, falls_back, unmeasured_cover
from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from phenology.model.records import Flush, Tree
from phenology.model.stages import stage_rank
from phenology.weather.traces import WANTED

COVER_DAYS = 28.0  # cover brings growth forward: looks begin so much before the weather outside says (ours)
FRESH_DAYS = 7  # weather older than this is worth a warning (ours)


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
    return GardenForecast(garden, tuple(rows), maker.chains.donors, tuple(maker.warnings()))


def _retired(tree: Tree, day: date) -> bool:
    return tree.retired is not None and tree.retired <= day


class _Maker:
    """Makes the rows of one garden."""

    def __init__(self, garden: Garden, fit: GardenFit) -> None:
        self.garden, self.fit = garden, fit
        self.chains = FlushChains(garden, fit)
        self._adviser = Adviser(garden, fit, self.chains.drawn)
        self._by_tree: dict[str, list[FlushHistory]] = {}
        for h in fit.histories:
            self._by_tree.setdefault(h.tree.id, []).append(h)
        species = {t.id: t.species for t in garden.trees}
        self._looks = Counter(species[v.tree_id] for v in garden.looks if v.tree_id in species)

    def warnings(self) -> Iterator[str]:
        through = self.garden.weather_through()
        behind = (self.garden.as_of - through).days if through else 0
        if behind > FRESH_DAYS:
            stand_in = "kept forecasts" if self.garden.forecast_through() else "usual years"
            yield f"weather ends {behind} days ago; the days since are filled from {stand_in}"
        donors = self.chains.donors
        if 0 < donors < WANTED:
            yield (
                f"only {donors} past {'year' if donors == 1 else 'years'} of weather to draw the "
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
        start, ahead = self.chains.of(h, issued)
        if start == "start" and unmeasured_cover(self.garden, h):
            yield replace(self._row(h, "budbreak", ahead[0].arrival, Trust(0, None, 1.0)), dated=False)
            return
        for one in ahead:
            yield self._row(h, one.stage, one.arrival, self._trust(h, one.steps, one.arrival))

    def _trust(self, h: FlushHistory, used: Sequence[Transition], arrival: Arrival) -> Trust:
        seasons = min(len(self.fit.seasons_seen(h.tree.species, t)) for t in used)
        share = max(self.fit.prior_share(h.tree.species, t) for t in used)
        low, high = arrival.quantile(0.1), arrival.quantile(0.9)
        within = (high - low) / 2 if seasons and math.isfinite(high) else None
        skill = self.garden.skills.get(h.tree.species)
        if skill and within and h.number == 1 and used[0].start == "budbreak" and len(used) > 1:
            within = skill.within  # how far such forecasts, made at bud break, did miss
        return Trust(seasons, within, share)

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
        if h.begun("budbreak") is None and h.number == 1 and unmeasured_cover(self.garden, h):
            t = max(0.0, t - COVER_DAYS)
        day = max(garden.calendar.date(season, t), garden.as_of)
        if h.last_look is not None and season == garden.season:
            day = max(day, garden.calendar.date(season, h.last_look + 4))
        return day

    def _row_warnings(self, h: FlushHistory, cover: str) -> Iterator[str]:
        if falls_back(self.garden, h):
            seasons = self.garden.skills[h.tree.species].seasons
            yield f"over {seasons} seasons the weather told no more than the usual date: that is used"
        if h.contradiction:
            yield f"looks contradict each other ({h.contradiction.split(';')[0]}); correct one of them"
        if h.checked:
            yield "growth was checked: not hardened, and the date stays open until it moves again"
        if h.number == 1 and h.woken is None and h.stage != "hardened" and unmeasured_cover(self.garden, h):
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
