"""An invented garden: place, trees, looks, work and weather, the same for the same date.

Nothing in it is real. The trees follow heat, each species and each tree in its own way; the grower walks the
benches about once a week and misses some weeks.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import numpy as np

from data_sources.demo.climate import synthetic_weather
from data_sources.demo.flushes import TRUE_CLOCK, TrueFlush, look_days, run_flush
from data_sources.garden import SETTINGS_NAME, GardenSettings, create_garden, read_settings
from data_sources.weather.store.records import Origin
from data_sources.weather.store.weather_store import WeatherStore
from phenology.heat.clocks import ThermalTime, accumulate
from phenology.model.errors import StoreError
from phenology.model.operations import Operation
from phenology.model.records import Aim, Flush, GrowthAim, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.flushes import TreeRecord, wake
from phenology.records.placing import place_look
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather

NAME = "Larkfield (invented)"
PLACE = ("Larkfield benches", 48.2, 5.9, 310.0, "Europe/Paris")
YEARS_OF_WEATHER = 30
PAST_SEASONS = 4

STRONG = ("Elm", "Quince 1")
"""Trees that are strong enough to be bared outside at their first flush."""

# label, species, aim
TREES = (
    ("Maple 1", "Acer buergerianum", "refining"),
    ("Maple 2", "Acer buergerianum", "building"),
    ("Hornbeam 1", "Carpinus turczaninowii", "refining"),
    ("Hornbeam 2", "Carpinus turczaninowii", "refining"),
    ("Hornbeam 3", "Carpinus turczaninowii", "refining"),
    ("Elm", "Ulmus parvifolia", "refining"),
    ("Zelkova", "Zelkova serrata", "refining"),
    ("Beech", "Fagus crenata", "refining"),
    ("Quince 1", "Pseudocydonia sinensis", "refining"),
    ("Quince 2", "Pseudocydonia sinensis", "building"),
    ("Crab apple", "Malus halliana", "refining"),
    ("Azalea", "Rhododendron indicum", "refining"),
)
PACE = {"Pseudocydonia sinensis": -0.35}
"""Logs of how much sooner than the catalogue says a species takes its steps here; others vary at random."""
NO_LATER_CUT_THAN = 225  # day of season after which the invented grower cuts no more


@dataclass
class DemoGarden:
    """All records of the invented garden, ready to be stored."""

    as_of: date
    place: Place
    weather: DailyWeather
    trees: list[Tree] = field(default_factory=list)
    stands: list[Stand] = field(default_factory=list)
    aims: list[Aim] = field(default_factory=list)
    works: list[Work] = field(default_factory=list)
    flushes: dict[str, Flush] = field(default_factory=dict)
    looks: dict[str, Look] = field(default_factory=dict)


def demo_garden(as_of: date, *, south: bool = False) -> DemoGarden:
    """The invented garden as it stands at the end of a day; `south`: mirrored to the southern hemisphere."""
    name, latitude, longitude, elevation, zone = PLACE
    latitude = -latitude if south else latitude
    calendar = SeasonCalendar.for_latitude(latitude)
    start = date(as_of.year - YEARS_OF_WEATHER, 1, 1)
    weather = synthetic_weather(start, as_of, latitude, seed=11)
    place = Place(_id("place"), name, latitude, longitude, elevation, None if south else zone)
    garden = DemoGarden(as_of, place, weather)
    for label, species, aim in TREES:
        tree = Tree(_id("tree", label), label, species, vigour="strong" if label in STRONG else None)
        garden.trees.append(tree)
        garden.stands.append(Stand(_id("stand", label), tree.id, place.id))
        garden.aims.append(Aim(_id("aim", label), tree.id, GrowthAim(aim)))
    season = calendar.season_of(as_of)
    for year in range(season - PAST_SEASONS, season + 1):
        # a season still under way is run to its end on the weather that will come, then cut at today
        whole = synthetic_weather(calendar.start(year), calendar.end(year), latitude, seed=11)
        thermal_time = accumulate(whole.tmin, whole.tmax, (TRUE_CLOCK,))
        for tree, aim_row in zip(garden.trees, garden.aims, strict=True):
            _Season(garden, calendar, year, thermal_time, tree, aim_row.aim).run()
    return garden


def _id(*parts: object) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_URL, "flushcast demo/" + "/".join(map(str, parts))))


class _Season:
    """One tree's season: what happens, and what its grower sees, does and writes down."""

    def __init__(
        self,
        garden: DemoGarden,
        calendar: SeasonCalendar,
        year: int,
        thermal_time: ThermalTime,
        tree: Tree,
        aim: str,
    ) -> None:
        self.garden, self.calendar, self.year, self.thermal_time, self.tree, self.aim = (
            garden, calendar, year, thermal_time, tree, aim,
        )  # fmt: skip
        self.species = load_species()[tree.species]
        self.chance = np.random.default_rng([sum(map(ord, tree.label)), year, 7])
        own = np.random.default_rng([sum(map(ord, tree.species)), 3])
        self.steps = {
            step: self.species.priors[key].days * float(np.exp(PACE.get(tree.species, own.normal(0, 0.15))))
            for step, key in (
                ("budbreak", "start_budbreak"),
                ("extended", "budbreak_extended"),
                ("hardened", "extended_hardened"),
                ("woken", "work_budbreak"),
            )
        }
        of_tree = np.random.default_rng([sum(map(ord, tree.label)), 5]).normal(0, 0.05)
        of_season = np.random.default_rng([year, 9]).normal(0, 0.06)
        self.factor = float(np.exp(of_tree + of_season))
        self.written = 0

    def run(self) -> None:
        # the season's own flush wakes after winter, so its bud break does not vary as growth does
        flush = run_flush(self.thermal_time, 0.0, self.steps, self.factor)
        last = self.calendar.length(self.year)
        for day in look_days(max(20, int(flush.came["budbreak"]) - 25), last, 7.5, self.chance):
            if self.date(day) > self.garden.as_of:
                return
            if self.chance.random() < 0.12:
                continue  # away, or raining
            stage = self.stage(flush, day)
            if not self.worth_writing(stage, day):
                continue
            self.look(day, stage)
            if stage == "hardened" and self.aim == "refining" and day <= NO_LATER_CUT_THAN:
                flush = self.work(flush, day)
            if stage == "bare":
                return

    def stage(self, flush: TrueFlush, day: int) -> str:
        """What is seen; leaves turn and fall by date in late autumn unless the tree is evergreen."""
        if self.species.habit == "deciduous" and day > 305:
            return "bare" if day > 325 else "turning"
        seen = flush.stage_at(day)
        if seen == "dormant" and flush.began == 0 and day > flush.came["budbreak"] - 9:
            return "swelling"
        return seen

    def worth_writing(self, stage: str, day: int) -> bool:
        """Once hard, a tree is looked at in passing and not written about again, until it turns."""
        mine = [v for v in self.garden.looks.values() if v.tree_id == self.tree.id]
        last = max(mine, key=lambda v: v.latest, default=None)
        if last is None:
            return True
        if stage in ("hardened", "turning", "bare") and last.stage == stage:
            return False
        return not (stage == "dormant" and self.woken_lately(day))

    def woken_lately(self, day: int) -> bool:
        mine = [w for w in self.garden.works if w.tree_id == self.tree.id]
        return bool(mine) and (self.date(day) - mine[-1].latest).days < 12

    def work(self, flush: TrueFlush, day: int) -> TrueFlush:
        """Cut what is firm; what wakes then grows from that day."""
        first = flush.began == 0
        if self.species.bloom_led:  # shaped as its flowers fade, which nobody wrote down
            return flush
        if self.species.growth == "fixed":  # one flush a year: let in light, wake nothing
            self.add_work(day, "halving")
            return flush
        if first and self.tree.label in STRONG:
            return self.wake(day, "partial-defoliation")
        woken = self.wake(day, "cutback")
        self.add_work(day, "halving")
        return woken

    def wake(self, day: int, operation: str) -> TrueFlush:
        work = self.add_work(day, operation)
        waking = wake(work, self.record(), self.calendar, new_id=self.new_id)
        for changed in (*waking.also, *waking.changed, *((waking.flush,) if waking.flush else ())):
            self.garden.flushes[changed.id] = changed
        for moved in waking.moved:
            self.garden.looks[moved.id] = moved
        steps = {**self.steps, "budbreak": self.steps["woken"]}
        return run_flush(self.thermal_time, float(day), steps, self.factor)

    def add_work(self, day: int, operation: str) -> Work:
        when = self.date(day)
        work = Work(self.new_id(), self.tree.id, Operation(operation), when.isoformat(), when, when)
        self.garden.works.append(work)
        return work

    def look(self, day: int, stage: str) -> None:
        when = self.date(day)
        look = Look(self.new_id(), self.tree.id, "", Stage(stage), when.isoformat(), when, when)
        placed = place_look(look, self.record(), self.calendar, today=self.garden.as_of, new_id=self.new_id)
        for flush in (*placed.also, *placed.changed, placed.flush):
            self.garden.flushes[flush.id] = flush
        for moved in placed.moved:
            self.garden.looks[moved.id] = moved
        self.garden.looks[look.id] = replace(look, flush_id=placed.flush.id)

    def record(self) -> TreeRecord:
        return TreeRecord(
            self.tree.label,
            [f for f in self.garden.flushes.values() if f.tree_id == self.tree.id],
            [v for v in self.garden.looks.values() if v.tree_id == self.tree.id],
        )

    def date(self, day: int) -> date:
        return self.calendar.start(self.year) + timedelta(days=day - 1)

    def new_id(self) -> str:
        self.written += 1
        return _id(self.tree.label, self.year, self.written)


def demo_day(today: date, *, south: bool = False) -> date:
    """The day on which the demo stands unless another is asked for: the latest 14 June (south: December)."""
    month = 12 if south else 6
    this_year = date(today.year, month, 14)
    return this_year if this_year <= today else date(today.year - 1, month, 14)


def store_demo(folder: Path, as_of: date, *, south: bool = False) -> bool:
    """Make the invented garden in a folder; False when that very garden is there already, and left as it is.

    Raises `StoreError` if another garden is there, or the folder cannot be written.
    """
    if (folder / SETTINGS_NAME).is_file():
        settings = read_settings(folder)
        if settings.name == NAME and settings.stands_on == as_of:
            return False
        raise StoreError(f"{folder} holds another garden already; choose another folder with --dir")
    garden = demo_garden(as_of, south=south)
    settings = GardenSettings(name=NAME, stands_on=as_of)
    create_garden(folder, settings, list(all_records(garden)), "made the demo garden")
    with WeatherStore.open(folder, create=True) as store:
        noon = datetime.combine(as_of, time(12), tzinfo=UTC)
        store.add(garden.place.id, garden.weather, Origin("invented", "for the demo"), fetched_at=noon)
    return True


def all_records(garden: DemoGarden) -> Iterator[Place | Tree | Stand | Aim | Work | Flush | Look]:
    """Every record in an order in which none points at one that comes later."""
    yield garden.place
    yield from garden.trees
    yield from garden.stands
    yield from garden.aims
    yield from garden.works
    yield from garden.flushes.values()
    yield from garden.looks.values()
