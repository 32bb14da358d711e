"""A garden as the forecast sees it: its records and the weather of its places, on one date."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from operator import attrgetter
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from phenology.model.limits import Limits
from phenology.model.records import Aim, Flush, Look, Place, Site, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.track_record import TrackRecord
from phenology.species.catalogue import Species, neutral_species
from phenology.weather.outlook import Outlook
from phenology.weather.season_weather import SeasonThermalTime, SeasonWeather
from phenology.weather.series import DailyWeather
from phenology.weather.site_weather import PlaceWeather, place_beside, site_record

if TYPE_CHECKING:
    from phenology.model.shared_calibration import SharedCalibration, SharedClimate

T = TypeVar("T")


@dataclass(frozen=True, eq=False, repr=False)
class Garden:
    """Everything known of a garden at the end of `as_of`."""

    as_of: date
    calendar: SeasonCalendar
    places: Sequence[Place]
    trees: Sequence[Tree]
    stands: Sequence[Stand]
    aims: Sequence[Aim]
    flushes: Sequence[Flush]
    looks: Sequence[Look]
    works: Sequence[Work]
    species: Mapping[str, Species]  # by Latin name
    # by place id, dated up to `as_of`, and the newest forecast known by then
    weather: Mapping[str, DailyWeather]
    limits: Limits = field(default_factory=Limits)  # what the garden asks of late work
    # by Latin name, how past forecasts did
    skills: Mapping[str, TrackRecord] = field(default_factory=dict)
    # by place id, when the forecast was made, and how far it may be trusted
    outlooks: Mapping[str, Outlook] = field(default_factory=dict)
    # the lines that whoever shows the weather, or what comes of it, must show
    attribution: Sequence[str] = ()
    shared: Sequence[SharedCalibration] = ()  # what other gardens teach
    # what was worked out of records, kept with what it rests on; shared with gardens made of this one
    worked_out: dict[object, object] = field(default_factory=dict)
    # what was worked out for trees of this garden alone
    by_tree: dict[object, object] = field(default_factory=dict, init=False)

    def up_to(self, as_of: date) -> Garden:
        """The garden as it was known on an earlier date: looks, work, flushes and weather up to it.

        A flush that had not begun to be known is left out; how a flush ended later is forgotten. Work done
        by then makes the season's own flush known: it may be all that shows when its leaves were hard.
        """
        weather = {
            place: series.between(series.first_day, min(as_of, series.last_day))
            for place, series in self.weather.items()
            if series.first_day <= as_of
        }
        return replace(self._forgetting(as_of, self.calendar.season_of(date.max)), weather=weather)

    def known_on(self, day: date) -> Garden:
        """The garden on a day, ignorant of what came later in that day's season; all other seasons are known.

        What a hindcast that leaves one season out may know.
        """
        season = self.calendar.season_of(day)
        end = self.calendar.end(season)
        weather = {place: series.unknown_between(day, end) for place, series in self.weather.items()}
        return replace(self._forgetting(day, season), weather=weather)

    def _forgetting(self, as_of: date, last: int) -> Garden:
        """The records as known on a day, but for those of seasons after `last`, which stay."""
        season_of = self.calendar.season_of

        def known_then(record: Look | Work) -> bool:
            return record.latest <= as_of or season_of(record.latest) > last

        looks, works = list(filter(known_then, self.looks)), list(filter(known_then, self.works))
        known = {look.flush_id for look in looks}
        done = {work.id for work in works}
        worked = {(work.tree_id, season_of(work.latest)) for work in works}
        flushes = [
            replace(f, ended_on=None, ended_why=None)
            if f.ended_on and as_of < f.ended_on and season_of(f.ended_on) <= last
            else f
            for f in self.flushes
            if f.id in known
            or f.work_id in done
            or (f.started_by == "season" and (f.tree_id, f.season) in worked)
        ]
        outlooks = {place: one for place, one in self.outlooks.items() if one.issued <= as_of}
        return replace(self, as_of=as_of, looks=looks, works=works, flushes=flushes, outlooks=outlooks)

    def with_records(self, records: Mapping[str, tuple[Sequence[Flush], Sequence[Look]]]) -> Garden:
        """The garden with other flushes and looks of some trees, by their ids."""
        flushes = [one for one in self.flushes if one.tree_id not in records]
        looks = [one for one in self.looks if one.tree_id not in records]
        for mine in records.values():
            flushes += mine[0]
            looks += mine[1]
        return replace(self, flushes=flushes, looks=looks)

    @cached_property
    def surroundings(self) -> tuple[object, ...]:
        """All that bears on what is learned but the records of trees themselves: for comparison."""
        of_day = (self.as_of, self.calendar, self._looked, self.weather, self.outlooks)
        return *of_day, self.places, self.species, self.shared, self.limits

    @cached_property
    def _looked(self) -> frozenset[int]:
        """The seasons of the records."""
        return frozenset(flush.season for flush in self.flushes)

    @property
    def finished_seasons(self) -> Garden:
        """The garden as it was known on the last day before the season under way."""
        return self.up_to(self.calendar.start(self.season) - timedelta(days=1))

    @property
    def season(self) -> int:
        """The season under way."""
        return self.calendar.season_of(self.as_of)

    @property
    def today(self) -> int:
        """Day of the season under way."""
        return self.calendar.day(self.as_of)

    @cached_property
    def longest_day(self) -> int | None:
        """Day of the season on which days are longest; None near the equator, where they hardly differ."""
        return self.calendar.longest_day(self.places[0].latitude if self.places else 0.0)

    @cached_property
    def climate(self) -> SharedClimate:
        """Where it lies, as far as another garden need know."""
        from phenology.model.shared_calibration import SharedClimate

        here = self.places[0]
        usual = self.record_at(((0, here.id),)).normals
        mean = (usual.tmin + usual.tmax) / 2
        return SharedClimate(round(here.latitude), float(mean.min()), float(mean.max()))

    @cached_property
    def standing_trees(self) -> list[Tree]:
        """Trees that are not retired by `as_of`."""
        return [tree for tree in self.trees if tree.retired is None or tree.retired > self.as_of]

    def species_of(self, tree: Tree) -> Species:
        """The species of a tree; one the catalogue lacks gets a neutral prior."""
        return self.species.get(tree.species) or neutral_species(tree.species)

    @cached_property
    def looks_by_flush(self) -> Mapping[str, list[Look]]:
        """Looks of each flush, oldest first."""
        return _grouped(self._oldest_first, "flush_id")

    @cached_property
    def looks_by_tree(self) -> Mapping[str, list[Look]]:
        """Looks of each tree, oldest first."""
        return _grouped(self._oldest_first, "tree_id")

    @cached_property
    def noted_looks(self) -> Mapping[str, list[Look]]:
        """Those with a note."""
        return _grouped([look for look in self._oldest_first if look.note], "tree_id")

    @cached_property
    def _oldest_first(self) -> list[Look]:
        return sorted(self.looks, key=attrgetter("latest", "earliest"))

    @cached_property
    def works_by_tree(self) -> Mapping[str, list[Work]]:
        """Work on each tree, oldest first."""
        return _grouped(sorted(self.works, key=lambda v: v.latest), "tree_id")

    @cached_property
    def works_of_season(self) -> Mapping[tuple[str, int], list[Work]]:
        """Work by tree and season, oldest first."""
        found: dict[tuple[str, int], list[Work]] = defaultdict(list)
        for tree, works in self.works_by_tree.items():
            for work in works:
                found[tree, self.calendar.season_of(work.latest)].append(work)
        return found

    @cached_property
    def flushes_by_tree(self) -> Mapping[str, list[Flush]]:
        """Flushes of each tree, in the order in which they began."""
        return _grouped(sorted(self.flushes, key=self._flush_order), "tree_id")

    @cached_property
    def stands_by_tree(self) -> Mapping[str, list[Stand]]:
        """Where each tree stood, oldest first."""
        return _grouped(sorted(self.stands, key=lambda v: v.from_date or date.min), "tree_id")

    def _flush_order(self, flush: Flush) -> tuple[int, date, int]:
        looks = self.looks_by_flush.get(flush.id, ())
        began = flush.started_on or min((look.earliest for look in looks), default=date.max)
        return flush.season, began, 0 if flush.started_by == "season" else 1

    def aim_of(self, tree: Tree) -> str:
        """What the tree is grown towards on `as_of`; refining unless said otherwise."""
        mine = [a for a in self._aims_by_tree.get(tree.id, ()) if (a.from_date or date.min) <= self.as_of]
        return max(mine, key=lambda a: a.from_date or date.min).aim if mine else "refining"

    @cached_property
    def _aims_by_tree(self) -> Mapping[str, list[Aim]]:
        return _grouped(self.aims, "tree_id")

    def place_of(self, tree: Tree, day: date) -> Place:
        """Where a tree stood on a day; its first known place before that."""
        stands = self.stands_by_tree.get(tree.id, [])
        here = [s for s in stands if (s.from_date or date.min) <= day] or stands[:1]
        return self._places_by_id[here[-1].place_id] if here else self.places[0]

    @cached_property
    def _places_by_id(self) -> Mapping[str, Place]:
        return {place.id: place for place in self.places}

    def site(self, tree: Tree, season: int) -> Site:
        """Which weather a tree stood in over a season: places with the day from which each holds."""
        if (tree.id, season) not in self._sites:
            self._sites[tree.id, season] = self._site(tree, season)
        return self._sites[tree.id, season]

    @cached_property
    def _sites(self) -> dict[tuple[str, int], Site]:
        return {}

    def _site(self, tree: Tree, season: int) -> Site:
        start, end = self.calendar.start(season), self.calendar.end(season)
        moves = [
            (max(0, ((s.from_date or start) - start).days), s.place_id)
            for s in self.stands_by_tree.get(tree.id, [])
            if s.from_date and start < s.from_date <= end
        ]
        return ((0, self.place_of(tree, start).id), *moves)

    @cached_property
    def _cut(self) -> dict[Site, SeasonWeather]:
        return {}

    def record_at(self, site: Site) -> SeasonWeather:
        """The weather of a site by seasons; a tree that moved gets each place's days.

        Seasons of the records are among them, and where few years are known, possible ones; see
        `phenology.weather.site_weather`.
        """
        if site not in self._cut:
            assert isinstance(site, tuple)
            places = self._places_by_id
            self._cut[site] = site_record(
                [
                    (
                        day,
                        PlaceWeather(
                            places[p], self.series_of(places[p]), self.calendar, self._looked, self.season
                        ),
                    )
                    for day, p in site
                ]
            )
        return self._cut[site]

    def outlook_at(self, site: Site) -> Outlook:
        """The forecast's skill where the site is on `as_of`; without one, the default from today on."""
        assert isinstance(site, tuple)
        here = [place for day, place in site if day <= self.today] or [site[0][1]]
        return self.outlooks.get(here[-1]) or Outlook(self.as_of)

    def series_of(self, place: Place) -> DailyWeather | None:
        """The weather of a place, or of one beside it where it has none; None where neither has."""
        beside = place_beside(place, self.places, self.weather)
        return None if beside is None else self.weather[beside.id]

    def weather_through(self) -> date | None:
        """Last measured day at any place (forecast days not counted)."""
        days = []
        for series in self.weather.values():
            measured = np.flatnonzero(np.isfinite(series.tmin) & (series.source != "forecast"))
            if len(measured):
                days.append(date.fromordinal(series.first_day.toordinal() + int(measured[-1])))
        return max(days, default=None)

    def forecast_through(self) -> date | None:
        """Last day after `as_of` that a forecast reaches at any place."""
        days = [
            int(series.ordinals[said][-1])
            for series in self.weather.values()
            if (said := (series.source == "forecast") & np.isfinite(series.tmin)).any()
        ]
        last = max(days, default=0)
        return date.fromordinal(last) if last > self.as_of.toordinal() else None

    def thermal_time(self, keys: set[tuple[Site, int]]) -> dict[tuple[Site, int], SeasonThermalTime]:
        """The clocks for the sites and seasons named, where the weather reaches them."""
        known = self._thermal_time
        for site, season in keys - known.keys():
            record = self.record_at(site)
            if season in record.seasons:
                known[site, season] = record.thermal_time([season])[season]
        return {key: known[key] for key in keys if key in known}

    @cached_property
    def _thermal_time(self) -> dict[tuple[Site, int], SeasonThermalTime]:
        return {}


def _grouped(rows: Iterable[T], key: str) -> dict[str, list[T]]:
    out: dict[str, list[T]] = defaultdict(list)
    for row in rows:
        out[getattr(row, key)].append(row)
    return out
