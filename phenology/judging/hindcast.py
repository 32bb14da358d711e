"""Hindcasts: forecasts of past seasons from what was known then, to be held against what happened.

A look is read only as GIVEN reached or not, TARGET reached or not. A row is issued at the end of the first
day a look shows GIVEN or later, or on days of the year that were asked for. The fit is never updated by the
season it forecasts.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from phenology.forecasting.arrival import LEVELS, Arrival
from phenology.forecasting.propagation import Chain, Step, propagate
from phenology.heat.clocks import ThermalTime
from phenology.judging.rivals import usual_date, usual_days_regressed
from phenology.learning.garden_fit import requirement_model
from phenology.learning.prediction import Prediction
from phenology.learning.requirement import Requirement, RequirementModel
from phenology.learning.transitions import Transition
from phenology.learning.waits import Wait
from phenology.model.arrays import Array
from phenology.model.errors import LookError, StageOrderError
from phenology.model.season import NEVER, SeasonCalendar
from phenology.model.stages import stage_rank
from phenology.records.intervals import Sight, anchored, stage_interval
from phenology.records.placing import CLOSING_DAYS
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from phenology.weather.traces import draw_traces

START = "start"
"""The season's first day, for a wait that no look begins."""


@dataclass(frozen=True)
class DatedSight:
    """A look as the looks file gives it: who, when, what."""

    tree: str
    species: str
    flush: int
    stage: str
    earliest: date
    latest: date
    kind: str = "seen"
    where: str = ""


@dataclass(frozen=True)
class Question:
    """What a hindcast is asked."""

    given: str  # the stage that the wait counts from (`START`: the season's first day)
    target: str  # the stage forecast
    # whether the season's later weather is taken as known (never its later looks)
    known_weather: bool = False
    # first and last season to learn from, and to forecast; without them every season is left out in turn
    train: tuple[int, int] | None = None
    test: tuple[int, int] | None = None
    # months and days on which forecasts are issued, where `given` was seen by then and `target` was not; by
    # default one forecast is issued at the first sight of `given`
    issued: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if self.given == START:
            if not self.issued:
                raise LookError("a forecast from the season's start needs the day on which it is issued")
        elif stage_rank(self.target) <= stage_rank(self.given):
            raise LookError(f"the target stage must come after the given one; {self.target} does not follow "
                            f"{self.given}")  # fmt: skip


@dataclass(frozen=True)
class HindcastRow:
    """One forecast of a past season. `observed` is the interval the target was seen to come in."""

    wait: Wait
    flush: int
    issued: date
    quantiles: tuple[float, ...]
    p_not: float
    usual: tuple[float, ...]
    usual_days: tuple[float, ...]


@dataclass(frozen=True)
class Hindcast:
    """All rows, and what was counted on the way."""

    rows: tuple[HindcastRow, ...]
    already: int  # tree-seasons whose first look at GIVEN already showed TARGET: no row
    filled_days: int  # days of weather that had to be filled in the seasons forecast
    skipped: tuple[str, ...] = ()  # trees and seasons left out because their looks contradict each other
    # seasons with looks that the weather does not reach: neither used nor forecast
    no_weather: tuple[int, ...] = ()


@dataclass
class _Case:
    """One tree's flush in one season, as given and target are read from its looks.

    Forecasts are issued on days of the season, each with the last day by which the target was seen not to
    have come.
    """

    wait: Wait | None
    flush: int
    issued: tuple[tuple[int, float], ...] = ()
    already: bool = False
    season: int = 0


def hindcast(
    sights: Sequence[DatedSight],
    weather: DailyWeather,
    question: Question,
    *,
    calendar: SeasonCalendar,
    prior_of: Callable[[str], tuple[float, float]],
    latitude: float | None = None,
    skip_bad: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Hindcast:
    """Forecast past seasons as they would have been forecast then.

    Parameters
    ----------
    prior_of : callable
        Prior of a species for the wait from given to target; see `RequirementModel`.
    latitude : float, optional
        Where the trees stand; without it no clock that reads daylength speaks. [degrees]
    skip_bad : bool
        Leave out and list flushes whose looks go backward, instead of refusing.
    progress : callable, optional
        Called with (seasons done, seasons to do).

    Raises
    ------
    StageOrderError
        If looks go backward and `skip_bad` is false; all of them are named.
    LookError
        If no season can be forecast.
    """
    cases, skipped = _cases(sights, question, calendar, skip_bad)
    record = SeasonWeather.cut(weather, calendar, latitude)
    training_pool = [c.wait for c in cases if c.wait is not None and c.wait.season in record.seasons]
    longest = None if latitude is None else calendar.longest_day(latitude)
    model = requirement_model(Transition(question.given, question.target), prior_of, longest)
    rows: list[HindcastRow] = []
    fits: dict[tuple[int, ...], Requirement] = {}
    filled = 0
    folds = list(_folds(question, sorted({c.season for c in cases}), record))
    for done, (season, training_seasons) in enumerate(folds):
        if progress:
            progress(done, len(folds))
        mine = [c for c in cases if c.season == season and c.wait is not None and c.issued]
        if not mine:
            continue
        fold = _Fold(record, season, training_seasons, question, model, training_pool, fits)
        rows.extend(fold.forecast(case, *issued) for case in mine for issued in case.issued)
        filled += fold.filled_days
    if progress and folds:
        progress(len(folds), len(folds))
    if not rows:
        raise LookError(
            "no tree-season can be forecast: none of the seasons asked for has looks that show "
            f"{question.given} before {question.target}, with weather on record"
        )
    asked = {season for season, _ in folds}
    already = sum(c.already for c in cases if c.season in asked)
    no_weather = sorted({c.season for c in cases} - set(record.seasons))
    return Hindcast(tuple(rows), already, filled, tuple(skipped), tuple(no_weather))


def _folds(
    question: Question, seasons: Sequence[int], record: SeasonWeather
) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Seasons to forecast, each with the seasons the fit may use."""
    within = [s for s in seasons if s in record.seasons]
    if question.train is None or question.test is None:
        for season in within:
            yield season, tuple(s for s in within if s != season)
        return
    train = tuple(s for s in within if question.train[0] <= s <= question.train[1])
    for season in within:
        if question.test[0] <= season <= question.test[1]:
            yield season, tuple(s for s in train if s != season)


class _Fold:
    """One season to forecast, with the fit and the weather record that may be used for it."""

    def __init__(
        self,
        record: SeasonWeather,
        season: int,
        training_seasons: tuple[int, ...],
        question: Question,
        model: RequirementModel,
        pool: Sequence[Wait],
        fits: dict[tuple[int, ...], Requirement],
    ) -> None:
        self.record, self.season, self.question = record, season, question
        self.leave_out = question.train is None
        self.training = [w for w in pool if w.season in training_seasons]
        last = training_seasons[-1] if training_seasons else season - 1
        others = record.without(season) if self.leave_out else record.through(last, 366)
        if training_seasons not in fits:  # a forward hindcast fits once
            thermal_time = others.thermal_time(training_seasons, normals=others.normals)
            fits[training_seasons] = model.fit(self.training, {("", s): h for s, h in thermal_time.items()})
        self.requirement = fits[training_seasons]
        self.others = others
        self._thermal_time: dict[int, tuple[ThermalTime, Array]] = {}
        row = record.row(season)
        days = record.calendar.length(season)
        self.filled_days = int((np.isnan(record.tmin[row, :days]) | np.isnan(record.tmax[row, :days])).sum())

    def forecast(self, case: _Case, issued: int, not_yet: float) -> HindcastRow:
        wait = case.wait
        assert wait is not None
        thermal_time, gap = self._thermal_time_at(issued)

        def requirement(began: float) -> Prediction:
            return self.requirement.predict(wait.species, wait.tree, self.season, wait.later, began)

        step = Step(Transition(self.question.given, self.question.target), requirement, (not_yet, math.inf))
        [[curves]] = propagate([Chain(wait.anchor, [step])], thermal_time, gap)
        arrival = Arrival.over(curves)
        quantiles = self._within(arrival.quantiles())
        return HindcastRow(
            wait,
            case.flush,
            self.record.calendar.date(self.season, issued),
            quantiles,
            arrival.p_not,
            self._within(tuple(usual_date(self.training, wait))),
            self._within(tuple(usual_days_regressed(self.training, wait))),
        )

    def _within(self, quantiles: tuple[float, ...]) -> tuple[float, ...]:
        last = self.record.calendar.length(self.season) + 1
        return tuple(float(min(q, last)) for q in quantiles)

    def _thermal_time_at(self, issued: int) -> tuple[ThermalTime, Array]:
        """Clocks over the traces (or over the weather that came) for forecasts issued on a day."""
        key = -1 if self.question.known_weather else issued
        if key not in self._thermal_time:
            if self.leave_out:
                usable = (
                    self.record
                    if self.question.known_weather
                    else self.record.through_only(self.season, issued)
                )
                normals = self.others.normals
            else:
                known = self.record.through(self.season, issued)
                normals = known.normals
                usable = self.record.through(self.season, 366) if self.question.known_weather else known
            if self.question.known_weather:
                actual = usable.thermal_time([self.season], normals=normals)[self.season]
                self._thermal_time[key] = actual.thermal_time, actual.gap_variance
            else:
                traces = draw_traces(usable, self.season, issued, normals=normals)
                self._thermal_time[key] = traces.thermal_time(), traces.gap_variance
        return self._thermal_time[key]


def _cases(
    sights: Iterable[DatedSight], question: Question, calendar: SeasonCalendar, skip_bad: bool
) -> tuple[list[_Case], list[str]]:
    """Group looks by tree, season and flush, and read each group as given and target."""
    groups: dict[tuple[str, int, int], list[DatedSight]] = defaultdict(list)
    for sight in sights:
        groups[sight.tree, calendar.season_of(sight.latest), sight.flush].append(sight)
    cases, bad = [], []
    for (tree, season, flush), looks in sorted(groups.items(), key=lambda item: (item[0][1], item[0][0])):
        try:
            case = _case(tree, season, flush, _growing(looks, season, calendar), question, calendar)
        except StageOrderError as error:
            bad.append(f"{tree}, season {calendar.label(season)}, flush {flush}: {error}")
            continue
        if case:
            cases.append(case)
    if bad and not skip_bad:
        more = f" (and {len(bad) - 5} more)" if len(bad) > 5 else ""
        raise StageOrderError(
            "looks go backward; correct them or leave them out with --skip-bad:\n  "
            + "\n  ".join(bad[:5])
            + more
        )
    return cases, bad


def _growing(looks: Sequence[DatedSight], season: int, calendar: SeasonCalendar) -> list[DatedSight]:
    """Looks at a season's growth: buds at rest once its leaves have fallen are the next season's."""
    fallen = [v.latest for v in looks if stage_rank(v.stage) >= stage_rank("turning")]
    winter = calendar.end(season) - timedelta(days=CLOSING_DAYS)
    return [
        v
        for v in looks
        if stage_rank(v.stage) >= stage_rank("budbreak")
        or v.earliest <= winter
        or not any(day < v.earliest for day in fallen)
    ]


def _case(
    tree: str,
    season: int,
    flush: int,
    looks: Sequence[DatedSight],
    question: Question,
    calendar: SeasonCalendar,
) -> _Case | None:
    start = calendar.start(season)

    def t(day: date) -> float:
        return float((day - start).days + 1)

    by_day: dict[tuple[date, date], DatedSight] = {}
    for look in looks:  # several looks on one day: the latest stage stands
        key = (look.earliest, look.latest)
        if key not in by_day or stage_rank(look.stage) > stage_rank(by_day[key].stage):
            by_day[key] = look
    seen = [Sight(t(v.earliest), t(v.latest), v.stage, v.kind) for v in by_day.values()]
    target = stage_interval(seen, question.target)
    given = (0.0, 0.0) if question.given == START else stage_interval(seen, question.given)
    if given is None or given[1] == NEVER or target is None or (question.given == START and flush > 1):
        return None
    case = _Case(None, flush, season=season)
    if not question.issued:
        case.issued = ((math.ceil(given[1]), float(math.ceil(given[1]))),)
        known = [v for v in seen if v.latest <= given[1]]  # a vaguer look that ends later is not known yet
        given = stage_interval(known, question.given) or given
    days = [calendar.same_day(date(2024, *on), season) for on in question.issued]
    case.issued += tuple((day, _not_yet(seen, question.target, day)) for day in days if given[1] <= day)
    case.already = target[1] <= given[1] and question.given != START
    if case.already and given[0] == -math.inf:
        case.issued = ()
        return case  # one first look shows both: how long the wait took, nobody knows
    case.issued = tuple(one for one in case.issued if not case.already and one[0] < target[1])
    begun = given if question.given == START else anchored(given)
    case.wait = Wait(looks[0].species, tree, season, flush > 1, begun, (max(target[0], begun[0]), target[1]))
    return case


def _not_yet(seen: Sequence[Sight], stage: str, day: int) -> float:
    """The last day by which looks up to a day show that a stage had not come."""
    known = stage_interval([v for v in seen if v.latest <= day], stage)
    return 0.0 if known is None else max(known[0], 0.0)


def quantile_table(rows: Sequence[HindcastRow]) -> Array:
    """Quantiles of all rows, shape (rows, 5), at `LEVELS`."""
    return np.array([row.quantiles for row in rows]).reshape(len(rows), len(LEVELS))


def observed(rows: Sequence[HindcastRow]) -> Array:
    """Observed intervals of all rows, shape (rows, 2); the second is infinite where the target never came."""
    return np.array([row.wait.target for row in rows]).reshape(len(rows), 2)
