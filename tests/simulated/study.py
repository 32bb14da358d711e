"""How well a simulated garden's hardening would have been forecast, season after season, by the real code."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
from numpy.typing import ArrayLike

from phenology.advice.garden_forecast import forecast_garden
from phenology.forecasting.arrival import LEVELS
from phenology.garden import Garden
from phenology.judging.rivals import usual_date, usual_days_regressed
from phenology.judging.verification import score_dates
from phenology.learning.calibration import average_requirement
from phenology.learning.flush_history import FlushHistory, histories
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from phenology.learning.waits import Wait
from phenology.model.arrays import Array
from phenology.model.stages import stage_rank
from tests.simulated.growers import LAST_LOOK, SimulatedGarden, TrueEvent

_INSTANT = 0.02  # days; the truth is a moment, and scores want an interval


@dataclass(frozen=True)
class Forecasted:
    """One forecast of one flush's hardening beside what truly came.

    Attributes
    ----------
    seasons : int
        Seasons of looks that it rests on.
    flush : int
        1 or 2.
    stops : bool
        Whether its shoots stop before the leaves that stay are hard.
    truth : float
        Day of the season on which this grower would call it hard; the day leaves turn where that never came.
    quantiles, usual, usual_days : tuple of float
        Of the forecast, of the usual date, and of the usual days after the wait began (NaN without a past).
    """

    climate: str
    observer: str
    hardens_by: str
    seed: int
    seasons: int
    flush: int
    stops: bool
    truth: float
    quantiles: tuple[float, ...]
    usual: tuple[float, ...]
    usual_days: tuple[float, ...]


@dataclass(frozen=True)
class Recovered:
    """What was believed of an average requirement, beside the truth. [days at 18 degC]"""

    species: str
    step: str
    seasons: int
    hardens_by: str
    truth: float
    prior: float
    middle: float
    low: float
    high: float


def forecasts(sim: SimulatedGarden, seed: int, *, least: int = 0) -> Iterator[Forecasted]:
    """Forecast each season's hardenings from the seasons before it alone.

    The first flush is forecast on the day its bud break was seen (by growers who write no looks, on the day
    it came), the second on the day of the work that woke it.
    """
    garden, calendar = sim.garden, sim.garden.calendar
    all_seasons = sorted({e.season for e in sim.events})
    for done, season in enumerate(all_seasons):
        if done < least:
            continue
        past = garden.up_to(calendar.start(season) - timedelta(days=1))
        told = [as_told(h) for h in histories(past)]
        last = float(LAST_LOOK)  # "not hard when the leaves turn" counts as then, on both sides
        for event in (e for e in sim.events if e.season == season):
            issued = _issued(sim, event)
            if issued is None or issued > last - 2:
                continue
            now = garden.up_to(calendar.date(season, issued))
            row = next(
                (
                    r
                    for r in forecast_garden(now).rows
                    if (r.tree.id, r.season, r.flush, r.stage)
                    == (event.tree, season, event.number, "hardened")
                ),
                None,
            )
            if row is None or row.arrival is None:
                continue
            hardened = event.truth.came["hardened"] + sim.observer.late
            quantiles = _within(row.arrival.quantiles(), last)
            began = float(event.woken) if event.woken is not None else event.truth.came["budbreak"]
            wait = Wait(row.tree.species, event.tree, season, event.number > 1, (began, began), (began, last))
            begun_by = "work" if event.number > 1 else "budbreak"
            yield Forecasted(
                sim.climate.name,
                sim.observer.name,
                sim.nature.hardens_by,
                seed,
                done,
                event.number,
                event.truth.came["extended"] < event.truth.came["hardened"],
                min(hardened, last),
                quantiles,
                _within(usual_date([w for h in told if (w := told_wait(h, None))], wait), last),
                _within(usual_days_regressed([w for h in told if (w := told_wait(h, begun_by))], wait), last),
            )


def _within(quantiles: Iterable[float], last: float) -> tuple[float, ...]:
    return tuple(float(min(q, last)) if not math.isnan(q) else math.nan for q in quantiles)


def as_told(h: FlushHistory) -> FlushHistory:
    """A history whose hardening, where only work shows it, stands at the day of that work."""
    after, by = h.came.get("hardened", (-math.inf, math.inf))
    if math.isfinite(by) and after == -math.inf:
        return replace(h, came={**h.came, "hardened": (by - 1, by)})
    return h


def told_wait(h: FlushHistory, begun_by: str | None) -> Wait | None:
    """The wait for hardening as the plain forecasters count it."""
    begun, ended = (0.0, 0.0) if begun_by is None else h.begun(begun_by), h.came.get("hardened")
    if begun is None or ended is None or not math.isfinite(ended[1]):
        return None
    return Wait(h.tree.species, h.tree.id, h.flush.season, h.number > 1, begun, ended)


def _issued(sim: SimulatedGarden, event: TrueEvent) -> int | None:
    if event.woken is not None:
        return event.woken
    if sim.observer.only_work:
        came = event.truth.came["budbreak"]
        return math.ceil(came) if math.isfinite(came) else None
    start = sim.garden.calendar.start(event.season)
    seen = [
        (k.latest - start).days + 1
        for k in sim.garden.looks
        if k.flush_id == event.flush_id and stage_rank(k.stage) >= stage_rank("budbreak")
    ]
    shown = [k for k in sim.garden.looks if k.flush_id == event.flush_id and k.stage == "hardened"]
    hard = min(((k.latest - start).days + 1 for k in shown), default=10**6)
    return min(seen) if seen and min(seen) < hard else None


def recovery(sim: SimulatedGarden, garden: Garden | None = None) -> Iterator[Recovered]:
    """What the whole record teaches of each species' average steps, beside the truth."""
    fit = GardenFit(garden or sim.garden)
    for species, needs in sim.needs.items():
        for step in ("start_budbreak", "work_budbreak", "budbreak_extended", "extended_hardened"):
            start, target = step.split("_")
            transition = Transition(start, target)
            seasons = len(fit.seasons_seen(species, transition))
            if seasons:
                middle, low, high = average_requirement(fit.requirement(transition), species)
                yield Recovered(
                    species,
                    step,
                    seasons,
                    sim.nature.hardens_by,
                    needs.days[step],
                    fit.prior(species, transition)[0],
                    middle,
                    low,
                    high,
                )


@dataclass(frozen=True)
class Summary:
    """Scores of a set of forecasts.

    Attributes
    ----------
    n : int
    inside50, inside80 : float
        Share of truths inside the 50 % and 80 % ranges.
    crps, usual, usual_days : float
        Means over the forecasts whose rivals have a past. [days]
    bias : float
        Mean of median minus truth. [days]
    """

    n: int
    inside50: float
    inside80: float
    crps: float
    usual: float
    usual_days: float
    bias: float


def summarise(rows: Sequence[Forecasted]) -> Summary:
    """Coverage over all rows; scores over those with something to compare with."""
    truth = np.array([r.truth for r in rows])
    q = np.array([r.quantiles for r in rows]).reshape(len(rows), len(LEVELS))
    inside = [np.mean((q[:, a] <= truth) & (truth <= q[:, b])) for a, b in ((1, 3), (0, 4))]
    both = [r for r in rows if np.isfinite([*r.usual, *r.usual_days]).all()]
    ours, usual, usual_days = (
        _mean(crps([getattr(r, name) for r in both], [r.truth for r in both])) for name in RIVALRY
    )
    bias = float(np.mean(q[:, 2] - truth))
    return Summary(len(rows), float(inside[0]), float(inside[1]), ours, usual, usual_days, bias)


def mean_by_garden(gardens: Sequence[int], values: ArrayLike) -> tuple[float, float]:
    """Mean over all and its standard error, those of one garden taken together; NaN of none."""
    value, garden = np.asarray(values, dtype=float), np.asarray(gardens)
    if not len(value):
        return math.nan, math.nan
    middle = value.mean()
    sums = np.array([(value[garden == g] - middle).sum() for g in np.unique(garden)])
    return float(middle), float(np.sqrt((sums**2).sum() * len(sums) / max(len(sums) - 1, 1)) / len(value))


def _mean(values: Array) -> float:
    return float(values.mean()) if len(values) else math.nan


RIVALRY = ("quantiles", "usual", "usual_days")


def crps(quantiles: Sequence[Sequence[float]], truth: Sequence[float]) -> Array:
    """CRPS of five quantiles against a moment. [days]"""
    q, t = np.array(quantiles).reshape(-1, len(LEVELS)), np.array(truth)
    return score_dates(q, t - _INSTANT, t).crps if len(t) else np.empty(0)
