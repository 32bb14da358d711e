"""Partial records: a simulated garden whose grower wrote down only some of it, and how it is forecast."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from phenology.forecasting.arrival import LEVELS
from phenology.forecasting.flush_forecast import forecast_stages
from phenology.garden import Garden
from phenology.judging.rivals import usual_date
from phenology.judging.verification import score_dates
from phenology.learning.garden_fit import GardenFit
from phenology.learning.waits import Wait
from phenology.model.records import Look
from tests.simulated.growers import LAST_LOOK, SimulatedGarden, TrueEvent

VAGUE = 3  # "about 10 June": a week in all
MOMENT = 0.02  # the truth is a moment, and scores want an interval [d]


def dates_of(sim: SimulatedGarden, stages: Sequence[str], rng: np.random.Generator) -> Garden:
    """The garden of a grower who keeps first flushes alone: about when each of these stages came."""
    garden, looks = sim.garden, []
    for event in sim.events:
        came = {stage: event.truth.came[stage] for stage in stages if event.number == 1}
        for stage, day in came.items():
            if np.isfinite(day) and day < 300:
                at = garden.calendar.date(event.season, round(day + rng.uniform(-VAGUE, VAGUE)))
                first, last = (at + timedelta(days=d) for d in (-VAGUE, VAGUE))
                looks.append(
                    Look(f"{event.flush_id}-{stage}", event.tree, event.flush_id, stage, f"about {at}",
                         first, last, kind="happened")
                )  # fmt: skip
    kept = {look.flush_id for look in looks}
    flushes = [replace(f, ended_on=None, ended_why=None) for f in garden.flushes if f.id in kept]
    return replace(garden, looks=looks, works=[], flushes=flushes)


@dataclass(frozen=True)
class Told:
    """Quantiles of one first flush's hardening, beside the day it truly came. [day of season]"""

    tree: str
    season: int
    quantiles: tuple[float, ...]
    truth: float


def leave_one_out(garden: Garden, events: Sequence[TrueEvent], issued: int) -> Iterator[Told]:
    """Forecast each first flush from all other seasons, and from its own up to a day of it."""
    fits: dict[date, tuple[Garden, GardenFit]] = {}
    for event in (e for e in events if e.number == 1 and e.truth.came["hardened"] < LAST_LOOK):
        day = garden.calendar.date(event.season, issued)
        if day not in fits:
            known = garden.known_on(day)
            fits[day] = known, GardenFit(known)
        known, fit = fits[day]
        trees = [t for t in known.trees if t.id == event.tree]
        for one in forecast_stages(known, fit, trees):
            if (
                one.stage == "hardened"
                and one.history.number == 1
                and one.history.flush.season == event.season
            ):
                yield Told(event.tree, event.season, one.arrival.quantiles(), event.truth.came["hardened"])


def usual(garden: Garden, told: Sequence[Told]) -> list[Told]:
    """The usual date of the same flushes, from the other seasons' dates."""
    species = {t.id: t.species for t in garden.trees}
    season = {f.id: f.season for f in garden.flushes}
    dates = [
        Wait(species[k.tree_id], k.tree_id, season[k.flush_id], False, (0.0, 0.0),
             (garden.calendar.day(k.earliest) - 1.0, float(garden.calendar.day(k.latest))))
        for k in garden.looks if k.stage == "hardened"
    ]  # fmt: skip
    out = []
    for one in told:
        asked = Wait(species[one.tree], one.tree, one.season, False, (0.0, 0.0), (0.0, 366.0))
        others = [w for w in dates if w.season != one.season]
        out.append(replace(one, quantiles=tuple(usual_date(others, asked))))
    return out


def crps(told: Sequence[Told]) -> np.ndarray:
    """CRPS of each. [d]"""
    truth = np.array([t.truth for t in told])
    q = np.minimum(np.array([t.quantiles for t in told]).reshape(-1, len(LEVELS)), 366.0)
    return score_dates(q, truth - MOMENT, truth).crps


@dataclass(frozen=True)
class Removal:
    """A hardening forecast with one true look and without it: CRPS of both. [d]"""

    stage: str
    having: float
    lacking: float

    @property
    def gain(self) -> float:
        """By how much the look brings the forecast closer; negative where it takes it away. [d]"""
        return self.lacking - self.having


def removals(sim: SimulatedGarden, rng: np.random.Generator, looks: int = 4) -> Iterator[Removal]:
    """A flush of the last season, forecast on a day of its growth, without one look or another."""
    garden, calendar = sim.garden, sim.garden.calendar
    grown = [e for e in sim.events if e.truth.came["hardened"] < LAST_LOOK]
    last = max((e.season for e in grown), default=None)
    if last is None:
        return
    mine = [e for e in grown if e.season == last]
    event = mine[int(rng.integers(len(mine)))]
    began, hardened = event.woken or event.truth.came["budbreak"], event.truth.came["hardened"]
    day = calendar.date(last, int(rng.integers(int(began) + 1, max(int(began) + 2, int(hardened)))))
    known = [look for look in garden.looks if look.latest <= day]
    having = _hardening(garden.up_to(day), event)
    for k in rng.permutation(len(known))[:looks]:
        fewer = [look for look in garden.looks if look.id != known[k].id]
        lacking = _hardening(replace(garden, looks=fewer).up_to(day), event)
        if having is not None and lacking is not None:
            truth = min(hardened + sim.observer.late, LAST_LOOK)
            scores = crps([Told(event.tree, last, q, truth) for q in (having, lacking)])
            yield Removal(known[k].stage, float(scores[0]), float(scores[1]))


def _hardening(now: Garden, event: TrueEvent) -> tuple[float, ...] | None:
    trees = [t for t in now.trees if t.id == event.tree]
    for one in forecast_stages(now, GardenFit(now), trees):
        h = one.history
        if (one.stage, h.flush.season, h.number) == ("hardened", event.season, event.number):
            return one.arrival.quantiles()
    return None
