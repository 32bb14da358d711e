"""Invented gardens of any size: the demo's twelve trees over and over, each with a life of its own."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path

from data_sources.demo import garden as demo
from data_sources.demo.climate import synthetic_weather
from data_sources.garden import GardenSettings, create_garden
from data_sources.weather.store.records import Origin
from data_sources.weather.store.weather_store import WeatherStore
from phenology.heat.clocks import accumulate
from phenology.model.records import Aim, GrowthAim, Place, Stand, Tree
from phenology.model.season import SeasonCalendar

AS_OF = date(2026, 6, 14)


def store_large(folder: Path, trees: int, seasons: int, as_of: date = AS_OF) -> demo.DemoGarden:
    """Make a garden of so many trees and seasons, the one under way among them."""
    calendar, (name, latitude, longitude, elevation, zone) = SeasonCalendar(), demo.PLACE
    place = Place("place", name, latitude, longitude, elevation, zone)
    weather = synthetic_weather(date(as_of.year - 30, 1, 1), as_of, latitude, seed=11)
    whole = demo.DemoGarden(as_of, place, weather)
    season = calendar.season_of(as_of)
    of_year = {}
    for year in range(season - seasons + 1, season + 1):
        days = synthetic_weather(calendar.start(year), calendar.end(year), latitude, seed=11)
        of_year[year] = accumulate(days.tmin, days.tmax, (demo.TRUE_CLOCK,))
    for k in range(trees):
        label, species, aim = demo.TREES[k % len(demo.TREES)]
        strong = "strong" if label in demo.STRONG else None
        tree = Tree(f"tree {k}", f"{label} {k}", species, vigour=strong)
        one = demo.DemoGarden(as_of, place, weather, trees=[tree])
        for year, thermal_time in of_year.items():
            demo._Season(one, calendar, year, thermal_time, tree, aim).run()
        whole.trees.append(tree)
        whole.stands.append(Stand(f"stand {k}", tree.id, place.id))
        whole.aims.append(Aim(f"aim {k}", tree.id, GrowthAim(aim)))
        whole.works += one.works
        whole.flushes |= one.flushes
        whole.looks |= one.looks
    settings = GardenSettings(name=f"{trees} trees (invented)", stands_on=as_of)
    create_garden(folder, settings, list(demo.all_records(whole)), "made a large garden")
    with WeatherStore.open(folder, create=True) as store:
        noon = datetime.combine(as_of, time(12), tzinfo=UTC)
        store.add(place.id, weather, Origin("invented", "for a benchmark"), fetched_at=noon)
    return whole
