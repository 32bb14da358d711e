"""Simulated gardens: trees whose truth is known, and the records that growers of every habit keep of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from data_sources.demo.flushes import TrueFlush, look_days
from phenology.garden import Garden
from phenology.model.arrays import Array
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather
from tests.simulated.climates import Climate
from tests.simulated.observers import Observer
from tests.simulated.truth import Factors, Nature, Needs, draw_factors, run

YEARS_OF_WEATHER = 25
FIRST_SEASON = 2015
SPECIES = ("Ulmus parvifolia", "Carpinus turczaninowii", "Acer buergerianum", "Malus halliana")
LATEST_CUT = 200  # day of season after which nobody cuts to wake a flush
NEVER_STOPS = 0.15  # share of trees whose shoots go on growing while the leaves that stay harden
LOST = 0.03  # share of flushes that frost, wind or slugs take
CUT_EARLY = 0.03  # share of first flushes cut before they are hard, and written down as cut early
LAST_LOOK = 300  # later than this leaves turn, hard or not


@dataclass(frozen=True)
class TrueEvent:
    """One flush as it truly went, with the day on which work woke it (None for the season's own).

    Flushes that were lost, or cut before they were hard, are not among them: they never got so far.
    """

    tree: str
    season: int
    number: int
    flush_id: str
    truth: TrueFlush
    woken: int | None


@dataclass(eq=False)
class SimulatedGarden:
    """A whole garden with its records, and what is true of it."""

    climate: Climate
    observer: Observer
    nature: Nature
    needs: dict[str, Needs]
    garden: Garden
    station: DailyWeather
    warmer: dict[str, float]  # how much warmer than the station each tree stands [degC]
    factors: dict[tuple[str, int], Factors]  # by tree and season
    events: list[TrueEvent] = field(default_factory=list)

    def weather_of(self, tree: str, season: int) -> DailyWeather:
        """The days of a season and of the next where a tree stands."""
        calendar = self.garden.calendar
        return _warmer(
            self.station.between(calendar.start(season), calendar.end(season + 1)), self.warmer[tree]
        )

    def after_cut(self, tree: Tree, season: int, day: float) -> TrueFlush:
        """What a cut on a day of the season would truly wake."""
        days = self.weather_of(tree.id, season)
        year_day = self.garden.calendar.start(season).timetuple().tm_yday
        rates = self.nature.rates(days.tmin, days.tmax, self.climate.latitude, year_day)
        factors = self.factors[tree.id, season]
        return run(*rates, day, "work_budbreak", self.needs[tree.species], factors)


@dataclass(frozen=True)
class Kin:
    """What the gardens of a club have in common: species, and how their trees keep time."""

    nature: Nature
    needs: dict[str, Needs]


def simulate(
    climate: Climate,
    observer: Observer,
    seed: int,
    *,
    seasons: int = 6,
    trees: int = 2,
    kin: Kin | None = None,
    alter: Callable[[Nature], Nature] | None = None,
    benches_differ: bool = True,
) -> SimulatedGarden:
    """A garden of one or two species over some seasons.

    Parameters
    ----------
    climate : Climate
    observer : Observer
    seed : int
        The same seed gives the same garden.
    seasons, trees : int
        Seasons with records, and trees (of one species in one garden of two, else of two).
    kin : Kin, optional
        What the garden has in common with others; its trees are then of those species in turn.
    alter : callable, optional
        Makes another nature of the one drawn, all else drawn alike.
    benches_differ : bool
        Whether every other tree stands by a warmer wall.

    Notes
    -----
    Each past season is missing from the records with one chance in ten.
    """
    rng = np.random.default_rng([seed, 17])
    return _Maker(climate, observer, rng, seed, seasons, trees, kin, alter, benches_differ).made()


class _Maker:
    def __init__(
        self,
        climate: Climate,
        observer: Observer,
        rng: np.random.Generator,
        seed: int,
        seasons: int,
        trees: int,
        kin: Kin | None,
        alter: Callable[[Nature], Nature] | None,
        benches_differ: bool,
    ) -> None:
        self.climate, self.observer, self.rng = climate, observer, rng
        self.calendar = climate.calendar
        self.seasons = range(FIRST_SEASON, FIRST_SEASON + seasons)
        self.nature = Nature.draw(rng) if kin is None else kin.nature
        if alter is not None:
            self.nature = alter(self.nature)
        catalogue = load_species()
        pick = rng.permutation(len(SPECIES))
        kinds = [SPECIES[pick[0]], SPECIES[pick[0] if rng.random() < 0.5 else pick[1]]]
        kinds = kinds if kin is None else list(kin.needs)
        self.trees = [Tree(f"t{k}", f"Tree {k}", kinds[k % len(kinds)]) for k in range(trees)]
        drawn = {name: Needs.draw(catalogue[name], rng) for name in dict.fromkeys(kinds)}
        self.needs = drawn if kin is None else kin.needs
        self.places = [
            Place("open", "Open bench", climate.latitude, 0.0),
            Place("wall", "By the wall", climate.latitude, 0.0),
        ]
        self.offset = {"open": 0.0, "wall": float(rng.uniform(0.5, 2.0)) * benches_differ}
        self.stands = [
            Stand(f"s{k}", tree.id, "wall" if k % 2 else "open") for k, tree in enumerate(self.trees)
        ]
        start = self.calendar.start(FIRST_SEASON - YEARS_OF_WEATHER)
        self.station = climate.weather(start, self.calendar.end(self.seasons[-1]), seed)
        self.factors = draw_factors(self.nature, trees, seasons, rng)
        self.endless = {t.id for t in self.trees if rng.random() < NEVER_STOPS}
        self.flushes: list[Flush] = []
        self.looks: list[Look] = []
        self.works: list[Work] = []
        self.events: list[TrueEvent] = []

    def made(self) -> SimulatedGarden:
        absent = [s for s in self.seasons[:-1] if self.rng.random() < 0.1]
        for i, season in enumerate(self.seasons):
            for k, tree in enumerate(self.trees):
                if season not in absent:
                    self._season(tree, self.stands[k].place_id, season, self.factors[k][i])
        known = self.offset if self.observer.offset_known else dict.fromkeys(self.offset, 0.0)
        weather = {place.id: _warmer(self.station, known[place.id]) for place in self.places}
        garden = Garden(
            self.calendar.end(self.seasons[-1]),
            self.calendar,
            self.places,
            self.trees,
            self.stands,
            [Aim(f"a{t.id}", t.id, "refining") for t in self.trees],
            self.flushes,
            self.looks,
            self.works,
            load_species(),
            weather,
        )
        return SimulatedGarden(
            self.climate,
            self.observer,
            self.nature,
            self.needs,
            garden,
            self.station,
            {stand.tree_id: self.offset[stand.place_id] for stand in self.stands},
            {
                (tree.id, season): factors
                for tree, mine in zip(self.trees, self.factors, strict=True)
                for season, factors in zip(self.seasons, mine, strict=True)
            },
            self.events,
        )

    def _season(self, tree: Tree, place: str, season: int, factors: Factors) -> None:
        """One tree's season: what happens, and what its grower sees, does and writes down."""
        start, end = self.calendar.start(season), self.calendar.end(season)
        days = _warmer(self.station.between(start, end), self.offset[place])
        rates = self.nature.rates(days.tmin, days.tmax, self.climate.latitude, start.timetuple().tm_yday)
        needs = self.needs[tree.species]
        first = self._run(tree, rates, 0.0, "start_budbreak", needs, factors)
        if self.rng.random() < LOST and self._lose(tree, season, first, days.tmax):
            return
        early = self._early_day(first) if self.rng.random() < CUT_EARLY else None
        cut = early or self._cut_day(first, season)
        flush = self._flush(tree, season, 1, first, None, kept=early is None)
        until = LAST_LOOK if cut is None else cut
        self._look_at(flush, first, until, days.tmax)
        if cut is None:
            return
        when = self._plain(season, cut)
        work = Work(f"w{len(self.works)}", tree.id, "cutback", *when, early=early is not None)
        self.works.append(work)
        self.flushes[-1:] = [_ended(flush, work.latest)]
        second = self._run(tree, rates, float(cut), "work_budbreak", needs, factors)
        woken = self._flush(tree, season, 2, second, cut, work)
        halving = self._work_day_after(second.came["hardened"], season)
        self._look_at(woken, second, min(LAST_LOOK, halving or LAST_LOOK), days.tmax)
        if halving is not None and halving <= LAST_LOOK:
            self.works.append(Work(f"w{len(self.works)}", tree.id, "halving", *self._plain(season, halving)))

    def _run(
        self,
        tree: Tree,
        rates: tuple[Array, Array],
        began: float,
        first: str,
        needs: Needs,
        factors: Factors,
    ) -> TrueFlush:
        """A flush as it goes; of a tree that never stops, nobody sees `extended` before hard leaves."""
        flush = run(*rates, began, first, needs, factors)
        if tree.id not in self.endless:
            return flush
        return TrueFlush(began, {**flush.came, "extended": flush.came["hardened"]})

    def _lose(self, tree: Tree, season: int, truth: TrueFlush, tmax: Array) -> bool:
        """Take a flush some days after its buds broke; its grower sees it at the next look."""
        gone = (
            int(truth.came["budbreak"] + self.rng.integers(4, 30)) if truth.came["budbreak"] < 200 else None
        )
        if gone is None or gone >= truth.came["hardened"]:
            return False
        flush = self._flush(tree, season, 1, truth, None, kept=False)
        self._look_at(flush, truth, gone, tmax)
        when = self._plain(season, gone + int(self.rng.integers(1, 6)))
        if not self.observer.only_work:
            stage = truth.stage_at(gone)
            self.looks.append(Look(f"k{len(self.looks)}", tree.id, flush.id, stage, *when, lost=True))
        self.flushes[-1:] = [replace(flush, ended_on=when[2], ended_why="lost")]
        return True

    def _early_day(self, first: TrueFlush) -> int | None:
        """A day on which an impatient grower cuts: two to ten days before the leaves are hard."""
        day = first.came["hardened"] - self.rng.integers(2, 11)
        return int(day) if first.came["budbreak"] + 10 < day <= LATEST_CUT else None

    def _cut_day(self, first: TrueFlush, season: int) -> int | None:
        """When the first flush is cut back: some time after it was hard; never late in the season."""
        day = self._work_day_after(first.came["hardened"], season)
        return day if day is not None and day <= LATEST_CUT else None

    def _work_day_after(self, hardened: float, season: int) -> int | None:
        """The first day for work, some days after the leaves were (called) hard."""
        if not np.isfinite(hardened):
            return None
        day = int(np.ceil(hardened + self._late(season))) + int(self.rng.integers(1, 9))
        start = self.calendar.start(season)
        while self.observer.weekends and (start + timedelta(days=day - 1)).weekday() < 5:
            day += 1
        return day

    def _late(self, season: int) -> float:
        return self.observer.late + self.observer.drift * (season - FIRST_SEASON)

    def _flush(
        self,
        tree: Tree,
        season: int,
        number: int,
        truth: TrueFlush,
        woken: int | None,
        work: Work | None = None,
        *,
        kept: bool = True,
    ) -> Flush:
        name = f"f-{tree.id}-{season}-{number}"
        if work is None:
            flush = Flush(name, tree.id, season, "season")
        else:
            flush = Flush(name, tree.id, season, "work", work.latest, work.id)
        self.flushes.append(flush)
        if kept:
            self.events.append(TrueEvent(tree.id, season, number, name, truth, woken))
        return flush

    def _look_at(self, flush: Flush, truth: TrueFlush, until: int, tmax: Array) -> None:
        if self.observer.only_work:
            return
        budbreak = truth.came["budbreak"]
        first = int(truth.began) + 3 if truth.began else int(max(5, min(budbreak, 300) - 25))
        hard_seen = False
        for day in look_days(first, until, self.observer.every, self.rng):
            if self.rng.random() < self.observer.missed:
                continue
            late = self._late(flush.season) if truth.stage_at(day) == "hardened" else 0.0
            stage = truth.stage_at(day - late)
            waiting = flush.started_by == "work" and stage == "dormant"
            if hard_seen or (waiting and not self.observer.notes_waiting):
                continue
            hard_seen = stage == "hardened"
            stalled = bool((tmax[max(0, day - 4) : day] > self.nature.stall).any()) and stage == "extending"
            vague = self.observer.vague
            near = any(abs(day - at) <= vague for at in truth.came.values())
            if vague and near:
                continue  # too near a change for a vague date to say on which side it lies
            earliest, latest = (self._day(flush.season, day + d) for d in (-vague, vague))
            text = earliest.isoformat() if not vague else f"{earliest.isoformat()}..{latest.isoformat()}"
            self.looks.append(
                Look(
                    f"k{len(self.looks)}",
                    flush.tree_id,
                    flush.id,
                    stage,
                    text,
                    earliest,
                    latest,
                    checked=stalled,
                )
            )

    def _plain(self, season: int, day: int) -> tuple[str, date, date]:
        when = self._day(season, day)
        return when.isoformat(), when, when

    def _day(self, season: int, day: int) -> date:
        return self.calendar.start(season) + timedelta(days=day - 1)


def _ended(flush: Flush, day: date) -> Flush:
    return replace(flush, ended_on=day, ended_why="cutback")


def _warmer(weather: DailyWeather, by: float) -> DailyWeather:
    return DailyWeather(weather.first_day, weather.tmin + by, weather.tmax + by, weather.source)
