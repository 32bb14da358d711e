"""Where a lesson is given or followed: a place, and in it a tree of the species that nobody has looked at."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from phenology.advice.forecast_rows import NEVER, Dates
from phenology.advice.plan import Plan, Planner
from phenology.garden import Garden
from phenology.heat.clocks import ThermalTime
from phenology.learning.garden_fit import GardenFit
from phenology.learning.requirement import Requirement
from phenology.learning.transitions import Transition
from phenology.model.errors import InputError, WeatherError
from phenology.model.limits import Limits
from phenology.model.records import Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import Species
from phenology.weather.series import DailyWeather
from phenology.weather.traces import Traces

STAND_IN = "lesson"
"""Id of the tree that stands for any of its species."""

SWING = 4.0  # a yearly swing smaller than this does not tell the hemisphere [degC] (ours)
KNOWN_SHARE = 0.9  # a season known less is no year of a lesson (ours)


@dataclass(eq=False)
class CarriedFit(GardenFit):
    """What a garden has learned, taken to a place where nobody knows when waits usually begin.

    `garden` is that place, `home` what was learned.
    """

    home: GardenFit

    def __post_init__(self) -> None:
        self.histories = []

    def requirement(self, transition: Transition) -> Requirement:
        """As learned, but nothing keeps to a date of the place where it was learned."""
        found = self.home.requirement(transition)
        return replace(found, columns=replace(found.columns, centre={}))

    def seasons_seen(self, species: str, transition: Transition) -> set[int]:
        """As at home."""
        return self.home.seasons_seen(species, transition)


@dataclass(eq=False)
class LessonSeason:
    """One season of a place, as the forecast sees it on a day."""

    garden: Garden  # as known on the day
    planner: Planner
    tree: Tree  # the one that stands for any of its species

    @cached_property
    def plan(self) -> Plan:
        """Its flushes, each worked when it is ready."""
        return self.planner.plan(self.tree)

    def plan_of(self, tree: Tree) -> Plan:
        """The same of any tree."""
        return self.plan if tree.id == self.tree.id else self.planner.plan(tree)

    @property
    def kind(self) -> Species:
        """Its species."""
        return self.garden.species_of(self.tree)

    def first_budbreak(self, tree: Tree) -> Dates:
        """When buds break in spring; all None where they were seen to."""
        first = next((f for f in self.plan_of(tree).flushes if f.number == 1), None)
        return NEVER if first is None else first.stages.get("budbreak", NEVER)

    @cached_property
    def growth_ends(self) -> date:
        """When growth usually ends; the season's last day where nothing ends it in the season."""
        end = self.garden.calendar.end(self.garden.season)
        return min(self.planner.growth_ends(self.tree) or end, end)

    @property
    def drawn(self) -> tuple[Traces, ThermalTime]:
        """Possible courses of the season, and the clocks over them."""
        garden = self.garden
        site = garden.site(self.tree, garden.season)
        return self.planner.forecasts.drawn(site, garden.season, garden.today)

    def day(self, when: date | None) -> float:
        """Day of the season of a date; infinite for none."""
        return math.inf if when is None else self.garden.calendar.time(self.garden.season, when)


class LessonPlace:
    """A place of a lesson: the first place of a garden, on its day; for a species by its Latin name.

    `learned` is what another garden has learned of the species.
    """

    def __init__(self, garden: Garden, species: str, learned: GardenFit | None = None) -> None:
        self.place = garden.places[0]
        self.tree = Tree(STAND_IN, "", species)
        stand = Stand(STAND_IN, STAND_IN, self.place.id)
        self.garden = replace(garden, trees=[*garden.trees, self.tree], stands=[*garden.stands, stand])
        self._past: dict[int, LessonSeason] = {}
        self.fit = GardenFit(self.garden) if learned is None else CarriedFit(self.garden, learned)

    @classmethod
    def elsewhere(
        cls,
        place: Place,
        series: DailyWeather | None,
        today: date,
        kinds: Mapping[str, Species],
        species: str,
        home: LessonPlace | None = None,
    ) -> LessonPlace:
        """A place of which there are no records; what the garden at home has learned is taken along.

        Raises
        ------
        InputError
            If the weather is that of the other side of the equator.
        """
        if series is not None and (hemisphere(series) or place.latitude) * place.latitude < 0:
            raise InputError(
                f"{place.name} is given as {'north' if place.latitude > 0 else 'south'} of the equator, but "
                "its weather is that of the other side: check the file, or the latitude"
            )
        calendar = SeasonCalendar.for_latitude(place.latitude)
        limits, learned = Limits(), None
        if home is not None:
            learned, limits = home.fit, home.garden.limits
            calendar = _turned(home.garden.calendar, home.place.latitude * place.latitude < 0)
        weather = {} if series is None else {place.id: series}
        bare = Garden(today, calendar, [place], [], [], [], [], [], [], kinds, weather, limits)
        return cls(bare, species, learned)

    @property
    def name(self) -> str:
        """What it is called."""
        return self.place.name

    @property
    def own_trees(self) -> list[Tree]:
        """Trees of the species on record that stand here."""
        garden, species = self.garden, self.tree.species
        return [
            tree
            for tree in garden.standing_trees
            if tree.id != STAND_IN
            and tree.species == species
            and garden.place_of(tree, garden.as_of).id == self.place.id
        ]

    @property
    def years(self) -> tuple[int, ...]:
        """Past seasons of which the daily weather is known."""
        record = self.garden.record_at(((0, self.place.id),))
        return tuple(
            s for s in record.seasons if s < self.garden.season and record.known_share(s) >= KNOWN_SHARE
        )

    @property
    def zonal(self) -> bool:
        """Whether the usual warmth of its latitude stands in for years that are not known."""
        return self.garden.record_at(((0, self.place.id),)).possible is not None

    @cached_property
    def under_way(self) -> LessonSeason:
        """The season under way, as known today or on the last day measured."""
        start, today = self.garden.calendar.start(self.garden.season), self.garden.as_of
        if self.garden.looks or self.garden.works:
            return self._season(today)
        return self._season(min(today, max(start, self.garden.weather_through() or start)))

    @cached_property
    def after(self) -> LessonSeason:
        """The season after it."""
        return self._season(self.garden.calendar.start(self.garden.season + 1))

    @cached_property
    def usual(self) -> LessonSeason:
        """A season like those of past years, none of it known."""
        start = self.garden.calendar.start(self.garden.season)
        return self._season(start, known=self.garden.up_to(start).weather)

    def of_lesson(self, season: int | None) -> LessonSeason:
        """The season of a lesson given here, its weather known.

        Without one, one like past years; at home that under way.

        Raises
        ------
        WeatherError
            If its weather is not known.
        """
        if season is None:
            return self.under_way if self.garden.looks or self.garden.works else self.usual
        label = self.garden.calendar.label
        if season not in self.years:
            raise WeatherError(
                f"there is no whole season {label(season)} of weather for {self.name}; it has "
                f"{', '.join(map(label, self.years)) or 'none'}"
            )
        if season not in self._past:
            self._past[season] = self._season(self.garden.calendar.start(season))
        return self._past[season]

    def _season(self, as_of: date, known: Mapping[str, DailyWeather] | None = None) -> LessonSeason:
        garden = replace(self.garden, as_of=as_of, weather=self.garden.weather if known is None else known)
        return LessonSeason(garden, Planner(garden, self.fit), self.tree)


def _turned(calendar: SeasonCalendar, over_the_equator: bool) -> SeasonCalendar:
    month = (calendar.start_month + 5) % 12 + 1 if over_the_equator else calendar.start_month
    return SeasonCalendar(month, min(calendar.start_day, 28) if over_the_equator else calendar.start_day)


def hemisphere(weather: DailyWeather) -> float | None:
    """A latitude of the hemisphere that the weather shows: 45 where July is warmer than January, else -45.

    None where the year swings too little to tell, or summer or winter is not known.
    """
    months = np.array([date.fromordinal(int(day)).month for day in weather.ordinals])
    mean = (weather.tmin + weather.tmax) / 2
    summer, winter = (mean[np.isin(months, m) & np.isfinite(mean)] for m in ((6, 7, 8), (12, 1, 2)))
    if len(summer) and len(winter) and abs(summer.mean() - winter.mean()) >= SWING:
        return math.copysign(45.0, float(summer.mean() - winter.mean()))
    return None
