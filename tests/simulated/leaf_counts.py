"""Growers who count leaves on trees whose phyllochron is known, and what the counts do for their forecasts.

The truth is drawn apart from the model that learns from it: leaves are whole, the first two come quicker than
the rest, the flush goes on growing for a while after its last leaf unfolds, days that are too hot count for
nothing, and growth follows a base temperature (or a response) that the model has no clock for. All numbers
are ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from data_sources.demo.flushes import TrueFlush, look_days
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.model.arrays import Array
from phenology.model.records import Flush, Look, Place, Stand, Tree, Work
from phenology.species.catalogue import load_species
from tests.simulated.climates import Climate
from tests.simulated.truth import Nature, Needs

FIRST_SEASON, YEARS_OF_WEATHER = 2015, 25
SPECIES = ("Ulmus parvifolia", "Carpinus turczaninowii", "Acer buergerianum", "Malus halliana")
PREFORMED, QUICK = 2, 0.6  # so many first leaves come so much quicker: laid down in the bud
LATEST_CUT, LATEST_LOOK = 200, 300


@dataclass(frozen=True)
class Counter:
    """A grower's way of counting leaves.

    Attributes
    ----------
    every : float
        Usual days between looks.
    shoots : int
        Shoots counted at a look.
    slips : float
        Share of shoots counted one too many or one too few.
    absurd : float
        Share of looks at which the count is of something else (all leaves of a branch, the new ones alone).
    """

    name: str
    every: float
    shoots: int
    slips: float
    absurd: float


CAREFUL = Counter("careful: three shoots", 5.0, 3, 0.10, 0.0)
SLOPPY = Counter("sloppy: one shoot", 9.0, 1, 0.40, 0.08)


@dataclass(frozen=True)
class LeafTruth:
    """One flush as it went.

    Attributes
    ----------
    stages : TrueFlush
    leaves : int
        On an average shoot at the end.
    interval : float
        Phyllochron, after the preformed leaves. [days at 18 degC]
    unfolded : ndarray
        Day on which each leaf of an average shoot was unfolded.
    """

    tree: str
    season: int
    number: int
    flush_id: str
    stages: TrueFlush
    leaves: int
    interval: float
    unfolded: Array


@dataclass(eq=False)
class CountedGarden:
    """A garden whose grower counted, what is true of it, and its species' average phyllochron and leaves."""

    climate: Climate
    counter: Counter
    garden: Garden
    flushes: list[LeafTruth]
    species: str
    interval: float
    leaves: float
    base: float


def simulate(
    climate: Climate, counter: Counter, seed: int, *, seasons: int = 4, trees: int = 3
) -> CountedGarden:
    """A garden of one species, cut back when the first flush is hard; one seed, one garden."""
    return _Maker(climate, counter, np.random.default_rng([seed, 29]), seed, seasons, trees).made()


class _Maker:
    def __init__(
        self,
        climate: Climate,
        counter: Counter,
        rng: np.random.Generator,
        seed: int,
        seasons: int,
        trees: int,
    ) -> None:
        self.climate, self.counter, self.rng = climate, counter, rng
        self.calendar = climate.calendar
        self.nature = Nature.draw(rng)
        self.kind = load_species()[SPECIES[int(rng.integers(len(SPECIES)))]]
        self.needs = Needs.draw(self.kind, rng)
        low, high = self.kind.leaves
        self.mean_leaves = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        self.after = float(rng.uniform(0.3, 1.5))  # leaf intervals from last leaf to extended
        self.interval = self.needs.days["budbreak_extended"] / self._intervals(self.mean_leaves)
        self.leaf_sd = float(rng.uniform(0.06, 0.15))
        self.trees = [Tree(f"t{k}", f"Tree {k}", self.kind.latin) for k in range(trees)]
        self.tree_pace = np.exp(self.nature.tree * rng.normal(size=trees))
        self.season_pace = np.exp(self.nature.season * rng.normal(size=(seasons, 4)))
        self.seasons = range(FIRST_SEASON, FIRST_SEASON + seasons)
        start = self.calendar.start(FIRST_SEASON - YEARS_OF_WEATHER)
        self.weather = climate.weather(start, self.calendar.end(self.seasons[-1]), seed)
        self.flushes: list[Flush] = []
        self.looks: list[Look] = []
        self.works: list[Work] = []
        self.truths: list[LeafTruth] = []

    def made(self) -> CountedGarden:
        for i, season in enumerate(self.seasons):
            for k, tree in enumerate(self.trees):
                self._season(tree, season, self.tree_pace[k] * self.season_pace[i])
        garden = Garden(
            self.calendar.end(self.seasons[-1]),
            self.calendar,
            [Place("bench", "Bench", self.climate.latitude, 0.0)],
            self.trees,
            [Stand(f"s-{tree.id}", tree.id, "bench") for tree in self.trees],
            [],
            self.flushes,
            self.looks,
            self.works,
            load_species(),
            {"bench": self.weather},
        )
        return CountedGarden(
            self.climate,
            self.counter,
            garden,
            self.truths,
            self.kind.latin,
            self.interval,
            self.mean_leaves,
            self.nature.growth.base,
        )

    def _season(self, tree: Tree, season: int, pace: Array) -> None:
        start, end = self.calendar.start(season), self.calendar.end(season)
        days = self.weather.between(start, end)
        growth, _ = self.nature.rates(days.tmin, days.tmax, self.climate.latitude, start.timetuple().tm_yday)
        sums = np.concatenate([[0.0], np.cumsum(growth)])
        name = f"f-{tree.id}-{season}"
        first = self._grow(tree, season, 1, f"{name}-1", sums, 0.0, pace)
        flush = Flush(f"{name}-1", tree.id, season, "season")
        hard = first.stages.came["hardened"]
        cut = int(np.ceil(hard)) + int(self.rng.integers(2, 9)) if np.isfinite(hard) else LATEST_LOOK
        if cut > LATEST_CUT:
            self.flushes.append(flush)
            self._look(first, LATEST_LOOK)
            return
        when = start + timedelta(days=cut - 1)
        self.works.append(Work(f"w-{name}", tree.id, "cutback", str(when), when, when))
        self.flushes.append(replace(flush, ended_on=when, ended_why="cutback"))
        self._look(first, cut - 1)
        second = self._grow(tree, season, 2, f"{name}-2", sums, float(cut), pace)
        self.flushes.append(Flush(f"{name}-2", tree.id, season, "work", when, f"w-{name}"))
        self._look(second, LATEST_LOOK)

    def _grow(
        self, tree: Tree, season: int, number: int, flush: str, sums: Array, began: float, pace: Array
    ) -> LeafTruth:
        """One flush: its phyllochron and its number of leaves vary apart from each other."""
        noise = np.exp(self.nature.noise * self.rng.normal(size=4))
        mean = self.mean_leaves * (0.85 if number > 1 else 1.0)
        leaves = max(2, round(mean * float(np.exp(self.leaf_sd * self.rng.normal()))))
        interval = self.interval * float(pace[1] * noise[1])
        step = "start_budbreak" if number == 1 else "work_budbreak"
        bud = _reach(sums, began, self.needs.days[step] * float(pace[0] * noise[0]))
        unfolded = np.array([_reach(sums, bud, interval * self._unfolds(k)) for k in range(1, leaves + 1)])
        extended = _reach(sums, bud, interval * self._intervals(leaves))
        hard = _reach(sums, extended, self.needs.days["extended_hardened"] * float(pace[2] * noise[2]))
        came = {"budbreak": bud, "extending": float(unfolded[0]), "extended": extended, "hardened": hard}
        truth = LeafTruth(tree.id, season, number, flush, TrueFlush(began, came), leaves, interval, unfolded)
        self.truths.append(truth)
        return truth

    @staticmethod
    def _unfolds(leaf: float) -> float:
        """Leaf intervals from bud break to a leaf unfolded: the preformed ones come quicker."""
        return QUICK * min(leaf, PREFORMED) + max(leaf - PREFORMED, 0.0)

    def _intervals(self, leaves: float) -> float:
        """Leaf intervals from bud break to extended."""
        return self._unfolds(leaves) + self.after

    def _look(self, truth: LeafTruth, until: int) -> None:
        """Looks from bud break on, with counts until the leaves are hard."""
        came = truth.stages.came
        if not np.isfinite(came["budbreak"]):
            return
        first = int(truth.stages.began) + 4 if truth.stages.began else max(1, int(came["budbreak"]) - 12)
        start = self.calendar.start(truth.season)
        for day in look_days(first, until, self.counter.every, self.rng):
            stage = truth.stages.stage_at(day)
            when = start + timedelta(days=day - 1)
            counts = self._counted(truth, day) if stage in ("budbreak", "extending", "extended") else None
            name = f"k{len(self.looks)}"
            self.looks.append(
                Look(name, truth.tree, truth.flush_id, stage, str(when), when, when, leaves=counts)
            )
            if stage == "hardened":
                return

    def _counted(self, truth: LeafTruth, day: int) -> str:
        """What is written down: shoots differ by a leaf or so, and so do counters."""
        counter, rng = self.counter, self.rng
        out = []
        for _ in range(counter.shoots):
            own = round(float(rng.normal(0, 0.6)))  # this shoot against the average one
            there = int((truth.unfolded <= day).sum())
            there = min(there + own, truth.leaves + own) if there else 0
            slip = int(rng.choice((-1, 1))) if rng.random() < counter.slips else 0
            out.append(max(0, there + slip))
        if rng.random() < counter.absurd:
            out = [v * int(rng.integers(3, 6)) if rng.random() < 0.5 else min(v, 1) for v in out]
        return " ".join(map(str, out))


def _reach(sums: Array, start: float, amount: float) -> float:
    """Time at which the sums have run `amount` further than at `start`; infinite past the season."""
    if not np.isfinite(start):
        return float("inf")
    days = np.arange(len(sums))
    wanted = float(np.interp(start, days, sums)) + amount
    return float("inf") if wanted > sums[-1] else float(np.interp(wanted, sums, days))


@dataclass(frozen=True)
class Compared:
    """One forecast of `extended` in mid-flush, made with the counts and without.

    Attributes
    ----------
    seasons : int
        Finished seasons of records.
    truth : float
        Day of the season.
    counted, plain : tuple of float
        Quantiles with and without the counts.
    """

    climate: str
    counter: str
    seed: int
    seasons: int
    flush: int
    truth: float
    counted: tuple[float, ...]
    plain: tuple[float, ...]


def compared(sim: CountedGarden, seed: int) -> Iterator[Compared]:
    """Forecasts on the first look that finds half the leaves of a flush out, with counts and without.

    A flush that has not stopped when leaves turn counts as stopping that day, on all sides.
    """
    plain = without_counts(sim.garden)
    calendar = sim.garden.calendar
    for truth in sim.flushes:
        issued = _mid_flush(sim, truth)
        extended = truth.stages.came["extended"]
        if issued is None or issued > LATEST_LOOK - 2:
            continue
        day = calendar.date(truth.season, issued)
        quantiles = [_extended(garden.up_to(day), truth) for garden in (sim.garden, plain)]
        if quantiles[0] is not None and quantiles[1] is not None:
            yield Compared(
                sim.climate.name,
                sim.counter.name,
                seed,
                truth.season - FIRST_SEASON,
                truth.number,
                min(extended, float(LATEST_LOOK)),
                quantiles[0],
                quantiles[1],
            )


def without_counts(garden: Garden) -> Garden:
    """The same garden whose grower never counted."""
    return replace(garden, looks=[replace(look, leaves=None) for look in garden.looks])


def _mid_flush(sim: CountedGarden, truth: LeafTruth) -> int | None:
    start = sim.garden.calendar.start(truth.season)
    half = truth.unfolded[(truth.leaves - 1) // 2]
    for look in sim.garden.looks:
        t = _day(start, look.latest)
        if look.flush_id == truth.flush_id and look.stage == "extending" and t >= half:
            return t
    return None


def _day(start: date, when: date) -> int:
    return (when - start).days + 1


def _extended(garden: Garden, truth: LeafTruth) -> tuple[float, ...] | None:
    """Quantiles of `extended` for one flush."""
    rows = forecast_garden(garden).rows
    for row in rows:
        if (row.tree.id, row.season, row.flush, row.stage) == (
            truth.tree,
            truth.season,
            truth.number,
            "extended",
        ):
            assert row.arrival is not None
            return tuple(min(q, float(LATEST_LOOK)) for q in row.arrival.quantiles())
    return None
