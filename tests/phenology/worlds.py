"""Small invented gardens that several tests share: a climate, and waits that follow a clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import cache

import numpy as np

from data_sources.demo.climate import synthetic_weather
from phenology.heat.clocks import CLOCKS, Clock
from phenology.learning.requirement import Requirement, RequirementModel
from phenology.learning.waits import Wait
from phenology.model.records import Site
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonThermalTime, SeasonWeather

CALENDAR = SeasonCalendar()
FIRST, LAST = 1996, 2015


@cache
def record(seed: int = 3, latitude: float = 45.0) -> SeasonWeather:
    """Twenty invented seasons without a gap."""
    weather = synthetic_weather(date(FIRST, 1, 1), date(LAST, 12, 31), latitude, seed=seed)
    return SeasonWeather.cut(weather, CALENDAR)


def hands_for(
    waits: Sequence[Wait], clocks: Sequence[Clock] = CLOCKS
) -> dict[tuple[Site, int], SeasonThermalTime]:
    """The clocks over the seasons that the waits name."""
    thermal_time = record().thermal_time({w.season for w in waits}, tuple(clocks))
    return {("", season): h for season, h in thermal_time.items()}


def a_wait(
    season: int,
    after: float,
    by: float,
    *,
    anchor: tuple[float, float] = (120.0, 120.0),
    tree: str = "t1",
    species: str = "A",
    later: bool = False,
) -> Wait:
    """One wait, most of it usual."""
    return Wait(species, tree, season, later, anchor, (after, by))


def fit(
    waits: Sequence[Wait],
    prior: tuple[float, float] = (30.0, 0.3),
    clocks: Sequence[Clock] = CLOCKS,
    temper: float = 1.0,
) -> Requirement:
    """A requirement learned from the waits in the invented climate, by the full evidence unless tempered."""
    return RequirementModel(lambda species: prior, clocks, temper=temper).fit(waits, hands_for(waits, clocks))


def simulated_waits(
    clock: Clock,
    seasons: Sequence[int],
    *,
    need: float = 35.0,
    trees: int = 3,
    spread: float = 0.08,
    between_seasons: float = 0.07,
    visits: int = 5,
    seed: int = 0,
    anchors: tuple[int, int] = (95, 125),
) -> list[Wait]:
    """Waits of trees that keep time by one clock, looked at every few days from an uneven start."""
    rng = np.random.default_rng(seed)
    waits = []
    for season in seasons:
        here = need * np.exp(between_seasons * rng.normal())
        sums = record().thermal_time([season], (clock,))[season].thermal_time.sums[0]
        for k in range(trees):
            began = float(rng.integers(*anchors))
            wanted = sums[int(began)] + here * np.exp(spread * rng.normal())
            came = float(np.interp(wanted, sums, np.arange(len(sums))))
            after = began + visits * np.floor((came - began) / visits)
            waits.append(a_wait(season, after, after + visits, anchor=(began, began), tree=f"t{k}"))
    return waits
