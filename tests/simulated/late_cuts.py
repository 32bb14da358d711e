"""Late cuts in simulated gardens: the odds told that new growth ripens, beside what truly becomes of it.

The truth is that of `truth.py`, which is not the model's, made harder for late cuts by rules of its own: buds
break the later the more days have shortened, and below some daylength they rest until spring. Tables for
docs/simulated-growers.md:

python -m tests.simulated.late_cuts GARDENS_A_CLIMATE [TIMES]

TIMES: what all waits truly take, against what the catalogue says (1 by default).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

import numpy as np

from phenology.advice.adviser import late_seasons
from phenology.heat.daylength import daylength
from phenology.mathematics.distributions import normal_cdf
from tests.simulated.climates import CLIMATES
from tests.simulated.growers import FIRST_SEASON, Kin, SimulatedGarden, simulate
from tests.simulated.observers import OBSERVERS
from tests.simulated.study import mean_by_garden

ISSUED = 152  # the day of the season on which the garden is asked: 1 June, in the south 29 November
LONGEST = 172  # the day with the longest daylight [day of season]
WARMEST = 200  # frosts and cool nights are looked for from here on [day of season]
KNOWN = (0, 1, 2, 4)  # seasons of records
BINS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0)


@dataclass(frozen=True)
class Cut:
    """A cut, the odds told of it on `ISSUED`, and what it would truly have made."""

    climate: str
    garden: int
    known: int  # seasons of records
    hardens_by: str
    odds: float
    ripe: bool  # hard so long before the first frost as the odds ask
    hard: bool  # hard before the first frost at all
    limit: str  # what ruled, where it is the last safe day; else empty


@dataclass(frozen=True)
class LateBuds:
    """How late cuts are answered in one garden."""

    days_a_month: float  # by how much bud break is put off for each month past the longest day
    rest_hours: float  # daylength at which every other cut rests until spring [h]

    @classmethod
    def draw(cls, rng: np.random.Generator) -> LateBuds:
        return cls(float(rng.uniform(0, 5)), float(rng.uniform(11.5, 13.0)))

    def wake(self, day: float, hours: float, luck: float) -> float:
        """The day from which buds swell after a cut on a day of so many hours; infinite where they rest."""
        rest = float(normal_cdf(np.array([2 * (self.rest_hours - hours)]))[0])
        return math.inf if luck < rest else day + self.days_a_month * max(0.0, day - LONGEST) / 30


def growth_ends(low: np.ndarray, cool_c: float) -> tuple[float, bool]:
    """The first frost, the first cool week where none comes before midsummer; and whether it is a frost."""
    year = low[WARMEST : WARMEST + 365]
    if (year <= 0).any():
        return WARMEST + 1.0 + float(np.argmax(year <= 0)), True
    week = np.convolve(low, np.ones(7) / 7)[WARMEST : WARMEST + 365]
    return (WARMEST + 1.0 + float(np.argmax(week < cool_c)) if (week < cool_c).any() else math.inf), False


def cuts(sim: SimulatedGarden, garden: int, known: int) -> Iterator[Cut]:
    """Cuts every other week from the day of asking, and on the last safe day that is told on it."""
    calendar, season, rng = sim.garden.calendar, FIRST_SEASON + known, np.random.default_rng([garden, 31])
    buds, first = LateBuds.draw(rng), sim.garden.calendar.start(season).timetuple().tm_yday
    now = sim.garden.up_to(calendar.date(season, ISSUED))
    seasons, limits = late_seasons(now), now.limits
    for tree in sim.garden.trees:
        late, luck = seasons.late(tree.species, now.site(tree, season)), float(rng.random())
        end, freezes = growth_ends(sim.weather_of(tree.id, season).tmin, limits.cool_night_c)
        deadline = end - limits.days_before_frost * freezes
        asked = [(float(day), "") for day in late.curve.days if day >= ISSUED]
        stop = late.stop()
        if ISSUED <= stop.day < math.inf:
            asked.append((stop.day, stop.limit))
        for day, limit in asked:
            hours = daylength(np.array([(first + day - 2) % 365 + 1]), sim.climate.latitude)
            woken = buds.wake(day, float(hours[0]), luck)
            came = math.inf if math.isinf(woken) else sim.after_cut(tree, season, woken).came["hardened"]
            ripe, hard = (math.isfinite(came) and came <= by for by in (deadline, end))
            by = sim.nature.hardens_by
            yield Cut(sim.climate.name, garden, known, by, late.odds_on(day), ripe, hard, limit)


def study(gardens: int, times: float = 1.0, known: Sequence[int] = KNOWN) -> Iterator[Cut]:
    """So many gardens a climate, each asked after some seasons of records."""
    for c, climate in enumerate(CLIMATES):
        for g in range(gardens):
            seed, observer = 1 + 1000 * c + g, OBSERVERS[g % len(OBSERVERS)]
            sim = simulate(climate, observer, seed, seasons=max(known) + 2)
            if times != 1:
                needs = {
                    name: replace(need, days={step: days * times for step, days in need.days.items()})
                    for name, need in sim.needs.items()
                }
                sim = simulate(climate, observer, seed, seasons=max(known) + 2, kin=Kin(sim.nature, needs))
            for seasons in known:
                yield from cuts(sim, seed, seasons)


def bin_of(cut: Cut) -> str:
    k = min(int(np.searchsorted(BINS, cut.odds, side="right")) - 1, len(BINS) - 2)
    return f"{BINS[k]:.2f} to {BINS[k + 1]:.2f}"


def table(title: str, some: Iterable[Cut], of: Callable[[Cut], object]) -> None:
    some = list(some)
    print(f"\n| {title} | cuts | odds told | ripened | hard before the frost |\n|---|---|---|---|---|")
    for key in sorted({of(c) for c in some}, key=str):
        mine = [c for c in some if of(c) == key]
        of_garden = [c.garden for c in mine]
        shares = (mean_by_garden(of_garden, [getattr(c, name) for c in mine]) for name in ("ripe", "hard"))
        cells = " | ".join(f"{mean:.2f} ± {error:.2f}" for mean, error in shares)
        print(f"| {key} | {len(mine)} | {np.mean([c.odds for c in mine]):.2f} | {cells} |")


def main(gardens: int = 20, times: float = 1.0) -> None:
    found = list(study(gardens, times))
    asked, last = [c for c in found if not c.limit], [c for c in found if c.limit]
    table("odds told", asked, bin_of)
    for known in KNOWN:
        table(f"odds told, {known} seasons", [c for c in asked if c.known == known], bin_of)
    table("hardening, odds .7 to .95", [c for c in asked if 0.7 <= c.odds < 0.95], lambda c: c.hardens_by)
    for name in ("limit", "known", "climate", "hardens_by"):
        table(f"last safe day, {name}", last, attrgetter(name))


if __name__ == "__main__":
    main(int(sys.argv[1]), *map(float, sys.argv[2:]))
