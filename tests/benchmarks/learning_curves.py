"""How a grower's forecasts get better: by seasons and trees of records, and by lead time within a season.

python -m tests.benchmarks.learning_curves [SUBSETS]

Run by hand. Bud break to full-sized leaves at Harvard Forest (O'Keefe HF003; Boose & Gould HF000/HF001),
species masked. Gardens of one species are drawn out of the other seasons, SUBSETS times for each test season
(1 by default, some ten minutes); forecasts are issued when bud break was seen, on past years' weather.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from phenology.forecasting.arrival import Arrival
from phenology.forecasting.propagation import Chain, Step, propagate
from phenology.heat.clocks import ThermalTime
from phenology.judging.hindcast import Question, hindcast
from phenology.judging.verification import score_dates
from phenology.learning.requirement import Requirement, RequirementModel
from phenology.learning.transitions import Transition
from phenology.learning.waits import Wait
from phenology.model.season import NEVER, SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.traces import draw_traces
from tests.reference.test_harvard_forest_hindcast import forest

SEASONS, TREES = (1, 2, 3, 5, 10), (1, 3, 5)
LEADS = (21, 14, 7)
PRIOR = (20.0, 0.4)


@dataclass(frozen=True)
class Case:
    """One tree-season: its wait, and the day bud break was first seen."""

    wait: Wait
    issued: int


@cache
def cases() -> tuple[Case, ...]:
    """All tree-seasons of the set."""
    sights, weather = forest()
    calendar = SeasonCalendar()
    question = Question("budbreak", "extended", known_weather=True, train=(1990, 1990), test=(1990, 2006))
    rows = hindcast(sights, weather, question, calendar=calendar, prior_of=lambda name: PRIOR).rows
    return tuple(Case(row.wait, calendar.day(row.issued)) for row in rows)


@cache
def record() -> SeasonWeather:
    return SeasonWeather.cut(forest()[1], SeasonCalendar())


@cache
def drawn(season: int, issued: int) -> tuple[ThermalTime, np.ndarray]:
    """The clocks over the other years as they might run from a day on."""
    known = record().through_only(season, issued)
    traces = draw_traces(known, season, issued, normals=record().without(season).normals)
    return traces.thermal_time(), traces.gap_variance


def fit(waits: Sequence[Wait]) -> Requirement:
    thermal_time = record().thermal_time({w.season for w in waits})
    return RequirementModel(lambda name: PRIOR).fit(waits, {("", s): h for s, h in thermal_time.items()})


def forecast(requirement: Requirement, wait: Wait, day: int, not_by: float) -> Arrival:
    """When the wait ends, as known at the end of a day, with the last look that showed it had not."""
    thermal_time, gap = drawn(wait.season, day)
    prediction = requirement.predict(wait.species, wait.tree, wait.season, False, wait.anchor_middle)
    step = Step(Transition("budbreak", "extended"), lambda began: prediction, (not_by, NEVER))
    [[curves]] = propagate([Chain(wait.anchor, [step])], thermal_time, gap)
    return Arrival.over(curves)


def score(arrivals: Sequence[Arrival], waits: Sequence[Wait]) -> np.ndarray:
    quantiles = [[min(q, 367.0) for q in a.quantiles()] for a in arrivals]
    return score_dates(quantiles, [w.target[0] for w in waits], [w.target[1] for w in waits]).crps


@dataclass(frozen=True)
class Point:
    """One subset's mean CRPS on a season it had not seen, and the prior's on the same trees. [days]"""

    species: str
    season: int
    seasons: int
    trees: int
    crps: float
    prior: float


def learning_curve(
    subsets: int,
    seasons: Sequence[int] = SEASONS,
    trees: Sequence[int] = TREES,
    species: str = "ABCD",
    every: int = 1,
) -> Iterator[Point]:
    """Gardens of one species and a few trees, each tested on one season left out (every so many of them)."""
    rng = np.random.default_rng(0)
    prior = fit(())
    for kind in species:
        mine = [c for c in cases() if c.wait.species == kind]
        years = sorted({c.wait.season for c in mine})
        for test in years[::every]:
            there = sorted({c.wait.tree for c in mine if c.wait.season == test})
            for n in seasons:
                for m in (m for m in trees if m <= len(there)):
                    for _ in range(subsets):
                        past = set(rng.choice([y for y in years if y != test], n, replace=False).tolist())
                        few = set(rng.choice(there, m, replace=False).tolist())
                        known = [c.wait for c in mine if c.wait.season in past and c.wait.tree in few]
                        tested = [c for c in mine if c.wait.season == test and c.wait.tree in few]
                        waits = [c.wait for c in tested]
                        learned = fit(known)
                        ours, guess = (
                            score([forecast(r, c.wait, c.issued, c.issued) for c in tested], waits).mean()
                            for r in (learned, prior)
                        )
                        yield Point(kind, test, n, m, float(ours), float(guess))


@dataclass(frozen=True)
class Lead:
    """Trees of one season some days before the event, with and without this season's looks. [days]"""

    season: int
    lead: int
    trees: int
    weather_alone: float
    with_looks: float


def lead_times(leads: Sequence[int] = LEADS, species: str = "ABCD", every: int = 1) -> Iterator[Lead]:
    """Forecasts some days before a species' middle date, for its trees not yet seen there."""
    for kind in species:
        mine = [c for c in cases() if c.wait.species == kind]
        for season in sorted({c.wait.season for c in mine})[::every]:
            here = [c for c in mine if c.wait.season == season]
            others = [c.wait for c in mine if c.wait.season != season]
            middle = float(np.median([np.mean(c.wait.target) for c in here]))
            before = fit(others)
            for lead in leads:
                day = math.floor(middle) - lead
                open_yet = [c for c in here if c.issued <= day and c.wait.target[1] > day]
                if not open_yet:
                    continue
                seen = [w for c in here if c.issued <= day and (w := as_known(c.wait, day)) is not None]
                during = fit([*others, *seen])
                waits = [c.wait for c in open_yet]
                alone = score(
                    [forecast(before, w, day, c.issued) for w, c in zip(waits, open_yet, strict=True)], waits
                )
                looked = [forecast(during, c.wait, day, last_look(c, day)) for c in open_yet]
                yield Lead(season, lead, len(waits), float(alone.mean()), float(score(looked, waits).mean()))


def as_known(wait: Wait, day: int) -> Wait | None:
    """A wait of the season under way as its looks told it at the end of a day; None before any told."""
    by = wait.target[1]
    if by <= day:
        return wait
    last = max(look for look in looked_on(wait.tree, wait.season) if look <= day)
    return wait._replace(target=(float(last), NEVER)) if last > wait.anchor[1] else None


def last_look(case: Case, day: int) -> float:
    return float(max(look for look in looked_on(case.wait.tree, case.wait.season) if look <= day))


@cache
def looked_on(tree: str, season: int) -> tuple[int, ...]:
    calendar = SeasonCalendar()
    return tuple(
        calendar.day(v.latest)
        for v in forest()[0]
        if v.tree == tree and calendar.season_of(v.latest) == season
    )


def by_season(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Mean CRPS, the prior's, and their difference with its standard error; seasons count alike."""
    seasons = sorted({p.season for p in points})
    ours, guess = (
        np.array([np.mean([getattr(p, name) for p in points if p.season == s]) for s in seasons])
        for name in ("crps", "prior")
    )
    gain = guess - ours
    error = gain.std(ddof=1) / math.sqrt(len(gain)) if len(gain) > 1 else math.nan
    return float(ours.mean()), float(guess.mean()), float(gain.mean()), float(error)


def main(subsets: int = 1) -> None:
    points = []
    for point in learning_curve(subsets):
        points.append(point)
        print(f"\r{len(points)} gardens", end="", file=sys.stderr)
    print(file=sys.stderr)
    print("| seasons | trees | CRPS | prior alone | gain | standard error |\n|---|---|---|---|---|---|")
    for n in SEASONS:
        for m in TREES:
            ours, guess, gain, error = by_season([p for p in points if (p.seasons, p.trees) == (n, m)])
            print(f"| {n} | {m} | {ours:.2f} | {guess:.2f} | {gain:+.2f} | {error:.2f} |")
    print("\n| days ahead | trees | weather alone | with this season's looks |\n|---|---|---|---|")
    leads = list(lead_times())
    for lead in LEADS:
        mine = [v for v in leads if v.lead == lead]
        seasons = sorted({v.season for v in mine})
        alone, looks = (
            np.mean([np.mean([getattr(v, name) for v in mine if v.season == s]) for s in seasons])
            for name in ("weather_alone", "with_looks")
        )
        print(f"| {lead} | {sum(v.trees for v in mine)} | {alone:.2f} | {looks:.2f} |")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
