"""Invented gardens built from records, for tests of what a whole garden's forecast does with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache
from itertools import cycle

from data_sources.demo.climate import synthetic_weather
from phenology.garden import Garden
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather

ELM, MAPLE, BEECH = "Ulmus parvifolia", "Acer buergerianum", "Fagus sylvatica"
NORTH = SeasonCalendar()


@cache
def weather(latitude: float = 45.0, seed: int = 3) -> DailyWeather:
    """Twenty-five invented years."""
    return synthetic_weather(date(1996, 1, 1), date(2020, 12, 31), latitude, seed=seed)


def day(season: int, n: float, calendar: SeasonCalendar = NORTH) -> date:
    """Day n of a season as a date."""
    return calendar.start(season) + timedelta(days=int(n) - 1)


@dataclass
class Records:
    """Records of one garden with one open bench, added a line at a time."""

    calendar: SeasonCalendar = NORTH
    places: list[Place] = field(default_factory=lambda: [Place("bench", "Bench", 45.0, 7.0)])
    trees: list[Tree] = field(default_factory=list)
    stands: list[Stand] = field(default_factory=list)
    aims: list[Aim] = field(default_factory=list)
    flushes: list[Flush] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    works: list[Work] = field(default_factory=list)

    @classmethod
    def of(
        cls, *names: str, species: str = ELM, past: Sequence[int] = (), late: Sequence[int] = (0,),
        days: tuple[int, int, int] = (100, 130, 160), **more,
    ) -> Records:  # fmt: skip
        """Trees of one species on the bench, with past seasons that saw buds, shoots and leaves on `days`.

        `late` says in turn by how many days each season was.
        """
        records = cls()
        for name in names:
            records.tree(name, species, **more)
            for season, shift in zip(past, cycle(late), strict=False):
                records.a_season(name, season, *(day + shift for day in days))
        return records

    def tree(self, name: str, species: str = ELM, place: str = "bench", **more) -> str:
        self.trees.append(Tree(name, name, species, **more))
        self.stands.append(Stand(f"s-{name}", name, place))
        return name

    def flush(self, tree: str, season: int, started_by: str = "season", **more) -> str:
        name = f"f{len(self.flushes)}-{tree}-{season}"
        self.flushes.append(Flush(name, tree, season, started_by, **more))
        return name

    def look(self, flush: str, n: float, stage: str, **more) -> None:
        f = next(f for f in self.flushes if f.id == flush)
        when = day(f.season, n, self.calendar)
        last = more.pop("until", None)
        latest = when if last is None else day(f.season, last, self.calendar)
        self.looks.append(
            Look(f"k{len(self.looks)}", f.tree_id, flush, stage, str(when), when, latest, **more)
        )

    def seen(self, tree: str, season: int, *looks: tuple[float, str], **more) -> str:
        """A flush seen at stages on days of its season."""
        flush = self.flush(tree, season, **more)
        for n, stage in looks:
            self.look(flush, n, stage)
        return flush

    def work(self, tree: str, season: int, n: float, operation: str, **more) -> str:
        when = day(season, n, self.calendar)
        self.works.append(Work(f"w{len(self.works)}", tree, operation, str(when), when, when, **more))
        return self.works[-1].id

    def a_season(self, tree: str, season: int, bud: float, extended: float, hardened: float) -> str:
        """A flush seen from closed buds to hard leaves, a look two days before and after each change."""
        flush = self.flush(tree, season)
        stages = ("dormant", "budbreak", "extended", "hardened")
        for before, after, at in zip(stages, stages[1:], (bud, extended, hardened), strict=False):
            self.look(flush, at - 2, before)
            self.look(flush, at + 2, after)
        return flush

    def garden(self, as_of: date, **more) -> Garden:
        """The garden as known on a date, with weather up to it."""
        series = more.pop("weather", {p.id: weather(p.latitude) for p in self.places})
        whole = Garden(
            as_of,
            self.calendar,
            self.places,
            self.trees,
            self.stands,
            self.aims,
            self.flushes,
            self.looks,
            self.works,
            more.pop("species", load_species()),
            series,
        )
        return whole.up_to(as_of)
