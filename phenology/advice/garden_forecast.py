"""The forecast of a garden: for every tree's live flush, when its next stages come."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from datetime import date

from phenology.advice.adviser import Advice, Adviser
from phenology.advice.care import leaves_down
from phenology.advice.forecast_rows import LONG_PAST_DAYS, ForecastRow, GardenForecast, Trust, is_past
from phenology.forecasting.arrival import Arrival
from phenology.forecasting.flush_forecast import (
    TOGETHER,
    FlushForecasts,
    StageAhead,
    blocks,
    falls_back,
    unmeasured_cover,
)
from phenology.garden import Garden
from phenology.language.counts import counted
from phenology.language.date_style import short_date
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from phenology.model.records import Place, Tree
from phenology.weather.site_weather import place_beside
from phenology.weather.traces import WANTED

COVER_DAYS = 28.0  # cover brings growth forward: looks begin so much before the weather outside says (ours)
FRESH_DAYS = 7  # weather older than this is worth a warning (ours)
STALE_DAYS = 30  # and older than this a word on what to do (ours)
SHARPEN = "sharpen them with `flushcast weather update` or `flushcast weather add FILE`"


def forecast_garden(
    garden: Garden,
    *,
    progress: Callable[[int, int], None] | None = None,
    only: Collection[str] | None = None,
) -> GardenForecast:
    """Forecast every tree's next stages.

    Parameters
    ----------
    progress : callable, optional
        Called with (trees done, trees to do).
    only : collection of str, optional
        Trees, by their ids, that alone are forecast, from all that the garden teaches.
    """
    maker = _Maker(garden, GardenFit(garden))
    rows: list[ForecastRow] = []
    springs: list[ForecastRow] = []
    # once leaves are taken to be down, what very probably hardened unseen rests like the others
    long_past = 0 if garden.today >= leaves_down(garden) else LONG_PAST_DAYS
    done = 0
    asked = [tree for tree in garden.standing_trees if only is None or tree.id in only]
    for some in blocks(asked, TOGETHER):
        if progress is not None:
            progress(done, len(asked))
        done, resting = done + len(some), []
        for tree, mine in zip(some, maker.rows(some), strict=True):
            rows += mine
            if not any(row.arrival is not None and not is_past(row, long_past) for row in mine):
                resting.append(tree)
        springs += maker.springs(resting)
    rows.sort(key=lambda r: (r.season, r.order, r.tree.label))
    return GardenForecast(
        garden,
        tuple(rows),
        maker.forecasts.donors,
        tuple(maker.warnings()),
        usual_warmth_note(garden),
        tuple(springs),
        maker.adviser.seasons,
    )


class _Maker:
    """Makes the rows of one garden."""

    def __init__(self, garden: Garden, fit: GardenFit) -> None:
        self.garden, self.fit = garden, fit
        self.forecasts = FlushForecasts(garden, fit)
        self.adviser = Adviser(garden, fit, self.forecasts.drawn)
        species = {t.id: t.species for t in garden.trees}
        self._looks = Counter(species[look.tree_id] for look in garden.looks if look.tree_id in species)

    def warnings(self) -> Iterator[str]:
        through = self.garden.weather_through()
        behind = (self.garden.as_of - through).days if through else 0
        if behind > FRESH_DAYS:
            stand_in = "kept forecasts" if self.garden.forecast_through() else "usual years"
            bring = "; bring them with `flushcast weather add FILE`" if behind > STALE_DAYS else ""
            yield f"weather ends {behind} days ago; the days since are filled from {stand_in}{bring}"
        for place in {self.garden.place_of(t, self.garden.as_of): None for t in self.garden.standing_trees}:
            beside = place_beside(place, self.garden.places, self.garden.weather)
            if beside is not None and beside.id != place.id:
                yield f"{place.name} has no weather of its own; that of {beside.name} is taken"
        donors = self.forecasts.donors
        if 0 < donors < WANTED:
            yield (
                f"only {donors} past {'year' if donors == 1 else 'years'} of weather to draw the "
                f"coming weeks from ({WANTED} wanted): the range may be too narrow"
            )

    def rows(self, trees: Sequence[Tree]) -> Iterator[list[ForecastRow]]:
        """The rows of each tree's live flushes."""
        live = [[*self.forecasts.live(tree)] for tree in trees]
        growing = [one for mine in live for one in mine if not one[0].is_hard]
        ahead = iter(self.forecasts.all_ahead(growing))
        for mine in live:
            yield [
                row
                for h, _ in mine
                for row in ([self._open(h)] if h.is_hard else self._of_flush(h, next(ahead)))
            ]

    def springs(self, trees: Sequence[Tree]) -> Iterator[ForecastRow]:
        """The bud break of each tree's next season."""
        unseen = [self.forecasts.unseen(tree, self.garden.season + 1) for tree in trees]
        for h, stages in zip(unseen, self.forecasts.all_ahead([(h, 0) for h in unseen]), strict=True):
            yield from self._of_flush(h, stages[:1])

    def _of_flush(self, h: FlushHistory, stages: Sequence[StageAhead]) -> Iterator[ForecastRow]:
        for one in stages:
            trust = self._trust(one) if one.dated else Trust(0, None, 1.0)
            yield replace(self._row(h, one.stage, one.arrival, trust), dated=one.dated)

    def _open(self, h: FlushHistory) -> ForecastRow:
        transition = Transition("extended", "hardened")
        trust = Trust(len(self.fit.seasons_seen(h.tree.species, transition)), None, 0.0)
        return self._row(h, "hardened", None, trust)

    def _trust(self, ahead: StageAhead) -> Trust:
        h, arrival = ahead.history, ahead.arrival
        seasons = min(len(self.fit.seasons_seen(h.tree.species, t)) for t in ahead.steps)
        share = max(self.fit.prior_share(h.tree.species, t) for t in ahead.steps)
        low, high = arrival.quantile(0.1), arrival.quantile(0.9)
        within = (high - low) / 2 if seasons and math.isfinite(high) else None
        record = self.garden.skills.get(h.tree.species)
        if record is not None and within is not None:
            issued = self.garden.today if h.flush.season == self.garden.season else 0
            within = record.within(ahead.stage, arrival.quantile(0.5) - issued, within)
        return Trust(seasons, within, share)

    def _row(self, h: FlushHistory, stage: str, arrival: Arrival | None, trust: Trust) -> ForecastRow:
        garden, season = self.garden, h.flush.season
        after, by = h.came.get(stage, (-math.inf, math.inf))
        seen = tuple(garden.calendar.date(season, t) if math.isfinite(t) else None for t in (after, by))
        place = garden.place_of(h.tree, garden.as_of)
        shaped = stage == "hardened" and garden.aim_of(h.tree) == "refining"
        advice = self.adviser.advise(h, arrival) if shaped else None
        said = advice.sentences() if advice else ()
        return ForecastRow(
            h.tree,
            place.name,
            season,
            h.number,
            stage,
            advice.operation if advice else None,
            (seen[0], seen[1]),
            arrival,
            self._look_on(h, arrival, advice),
            self._looks[h.tree.species],
            trust,
            (*self._row_warnings(h, place.cover), *said),
            garden,
            advice,
        )

    def _look_on(self, h: FlushHistory, arrival: Arrival | None, advice: Advice | None) -> date:
        """The next day worth a look: one chance in four that it has come, and 4 days since the last.

        A look comes no later than the last safe day of the work that it may open.
        """
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
        stop = advice.last_safe if advice is not None and advice.wakes else None
        return day if stop is None or stop < garden.as_of else min(day, stop)

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


def usual_warmth_note(garden: Garden) -> str:
    """What dates rest on where weather is lacking or short, and what to type about it; empty where it is not.

    "No weather yet: dates rest on the usual warmth of latitude 48 north and are wide; ...", for example.
    """
    here = {garden.place_of(tree, garden.as_of).id for tree in garden.standing_trees}
    for place in garden.places:
        if place.id in here or not here:
            possible = garden.record_at(((0, place.id),)).possible
            if possible is not None:
                return f"{_known(garden, place, possible.own_days)}; {SHARPEN}."
    return ""


def _known(garden: Garden, place: Place, days: int) -> str:
    of = f" of {place.name}" if len(garden.places) > 1 else ""
    side = "north" if place.latitude >= 0 else "south"
    usual = f"the usual warmth of latitude {abs(place.latitude):.0f} {side}"
    through = garden.weather_through()
    if not days or through is None:
        return f"No weather{of} yet: dates rest on {usual} and are wide"
    amount = counted(days // 365, "years") if days >= 365 else counted(days, "days")
    since = f"{amount} of weather{of}, to {short_date(through)}"
    return f"Only {since}: dates rest on that and {usual}, and are wide"
