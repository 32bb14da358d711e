"""Growers of every habit, and the records they keep of trees whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from phenology.garden import Garden
from phenology.records.rows import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.simulated.climates import Climate
from phenology.simulated.simulation import TrueFlush, look_days
from phenology.simulated.truth import Factors, Nature, Needs, draw_factors, run
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather

Array = NDArray[np.float64]

YEARS_OF_WEATHER = 25
FIRST_SEASON = 2015
SPECIES = ("Ulmus parvifolia", "Carpinus turczaninowii", "Acer buergerianum", "Malus halliana")
LATEST_CUT = 200  # day of season after which nobody cuts to wake a flush
LAST_LOOK = 300  # later than this leaves turn, hard or not


@dataclass(frozen=True)
class Observer:
    """A grower's way of looking and writing down.

    Attributes
    ----------
    every : float
        Usual days between looks.
    missed : float
        Share of looks left out.
    vague : int
        Half-width of the dates written down, 0 for plain dates. [days]
    late : float
        Days after the truth that leaves are called hardened.
    only_work : bool
        Whether only work is written down.
    weekends : bool
        Whether work waits for the weekend after the leaves were hard.
    notes_waiting : bool
        Whether looks at a cut tree are written down before its buds have broken.
    offset_known : bool
        Whether readings at the bench have told how it differs from the station.
    """

    name: str
    every: float
    missed: float = 0.0
    vague: int = 0
    late: float = 0.0
    only_work: bool = False
    weekends: bool = True
    notes_waiting: bool = True
    offset_known: bool = True


OBSERVERS: tuple[Observer, ...] = (
    Observer("careful, every 4 days", 4.0),
    Observer("weekly, some missed", 7.5, missed=0.15),
    Observer("sloppy, every 20 days", 20.0, missed=0.15, notes_waiting=False),
    Observer("vague dates", 8.0, missed=0.15, vague=5, notes_waiting=False),
    Observer("hardening called late", 7.5, missed=0.15, late=7.0),
    Observer("bench warmer, not measured", 7.5, missed=0.15, offset_known=False),
    Observer("only work dates", 7.5, only_work=True),
)


@dataclass(frozen=True)
class TrueEvent:
    """One flush as it truly went, with the day on which work woke it (None for the season's own)."""

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
    events: list[TrueEvent] = field(default_factory=list)


def simulate(
    climate: Climate, observer: Observer, seed: int, *, seasons: int = 6, trees: int = 2
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

    Notes
    -----
    Each past season is missing from the records with one chance in ten.
    """
    return _Maker(climate, observer, np.random.default_rng([seed, 17]), seed, seasons, trees).made()


class _Maker:
    def __init__(
        self,
        climate: Climate,
        observer: Observer,
        rng: np.random.Generator,
        seed: int,
        seasons: int,
        trees: int,
    ) -> None:
        self.climate, self.observer, self.rng = climate, observer, rng
        self.calendar = climate.calendar
        self.seasons = range(FIRST_SEASON, FIRST_SEASON + seasons)
        self.nature = Nature.draw(rng)
        catalogue = load_species()
        pick = rng.permutation(len(SPECIES))
        kinds = [SPECIES[pick[0]], SPECIES[pick[0] if rng.random() < 0.5 else pick[1]]]
        self.trees = [Tree(f"t{k}", f"Tree {k}", kinds[k % 2]) for k in range(trees)]
        self.needs = {name: Needs.draw(catalogue[name], rng) for name in dict.fromkeys(kinds)}
        self.places = [
            Place("open", "Open bench", climate.latitude, 0.0),
            Place("wall", "By the wall", climate.latitude, 0.0),
        ]
        self.offset = {"open": 0.0, "wall": float(rng.uniform(0.5, 2.0))}
        self.stands = [
            Stand(f"s{k}", tree.id, "wall" if k % 2 else "open") for k, tree in enumerate(self.trees)
        ]
        start = self.calendar.start(FIRST_SEASON - YEARS_OF_WEATHER)
        self.station = climate.weather(start, self.calendar.end(self.seasons[-1]), seed)
        self.factors = draw_factors(self.nature, trees, seasons, rng)
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
        return SimulatedGarden(self.climate, self.observer, self.nature, self.needs, garden, self.events)

    def _season(self, tree: Tree, place: str, season: int, factors: Factors) -> None:
        """One tree's season: what happens, and what its grower sees, does and writes down."""
        start, end = self.calendar.start(season), self.calendar.end(season)
        days = _warmer(self.station.between(start, end), self.offset[place])
        rates = self.nature.rates(days.tmin, days.tmax, self.climate.latitude, start.timetuple().tm_yday)
        needs = self.needs[tree.species]
        first = run(*rates, 0.0, "start_budbreak", needs, factors)
        cut = self._cut_day(first, season)
        flush = self._flush(tree, season, 1, first, None)
        until = LAST_LOOK if cut is None else cut
        self._look_at(flush, first, until, days.tmax)
        if cut is None:
            return
        work = Work(f"w{len(self.works)}", tree.id, "cutback", *self._plain(season, cut))
        self.works.append(work)
        self.flushes[-1:] = [_ended(flush, work.latest)]
        second = run(*rates, float(cut), "work_budbreak", needs, factors)
        woken = self._flush(tree, season, 2, second, cut, work)
        halving = self._work_day_after(second.came["hardened"], season)
        self._look_at(woken, second, min(LAST_LOOK, halving or LAST_LOOK), days.tmax)
        if halving is not None and halving <= LAST_LOOK:
            self.works.append(Work(f"w{len(self.works)}", tree.id, "halving", *self._plain(season, halving)))

    def _cut_day(self, first: TrueFlush, season: int) -> int | None:
        """When the first flush is cut back: some time after it was hard; never late in the season."""
        day = self._work_day_after(first.came["hardened"], season)
        return day if day is not None and day <= LATEST_CUT else None

    def _work_day_after(self, hardened: float, season: int) -> int | None:
        """The first day for work, some days after the leaves were (called) hard."""
        if not np.isfinite(hardened):
            return None
        day = int(np.ceil(hardened + self.observer.late)) + int(self.rng.integers(1, 9))
        start = self.calendar.start(season)
        while self.observer.weekends and (start + timedelta(days=day - 1)).weekday() < 5:
            day += 1
        return day

    def _flush(
        self,
        tree: Tree,
        season: int,
        number: int,
        truth: TrueFlush,
        woken: int | None,
        work: Work | None = None,
    ) -> Flush:
        name = f"f-{tree.id}-{season}-{number}"
        if work is None:
            flush = Flush(name, tree.id, season, "season")
        else:
            flush = Flush(name, tree.id, season, "work", work.latest, work.id)
        self.flushes.append(flush)
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
            late = self.observer.late if truth.stage_at(day) == "hardened" else 0.0
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
    return Flush(flush.id, flush.tree_id, flush.season, flush.started_by, ended_on=day, ended_why="cutback")


def _warmer(weather: DailyWeather, by: float) -> DailyWeather:
    return DailyWeather(weather.first_day, weather.tmin + by, weather.tmax + by, weather.source)
