"""Gardens in many states, and the pages made of them: whatever a page may have to show."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from data_sources.demo.climate import synthetic_weather
from data_sources.garden import GardenSettings
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.advice.lesson import Lesson
from phenology.advice.lesson_here import translate
from phenology.advice.lesson_place import LessonPlace
from phenology.garden import Garden
from phenology.model.records import Place
from phenology.model.track_record import PastForecast, first_hardenings
from phenology.seasons.compare import compare_seasons
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather
from reports.page.card_page import card_html
from reports.page.compare_page import compare_html
from reports.page.render import report_html
from reports.views.compare import Compared
from reports.views.elsewhere_text import Card
from tests.reports.bench import Bench
from tests.reports.demo import DAY, FEW, ROOM, demo_folder, demo_past, own_demo
from tests.reports.opened import read_garden

NOON = datetime(2026, 6, 14, 12, tzinfo=UTC)
CROWD = 200
ONE = ("Beech",)
CARD_DAYS = (date(2025, 5, 1), date(2025, 6, 15), date(2025, 8, 1))


def demo(day: date = DAY, *, south: bool = False, trees: Sequence[str] = ()) -> tuple[Garden, GardenSettings]:
    """The demo garden as the commands read it."""
    return read_garden(demo_folder(day, south, trees), day)


def crowd(garden: Garden, size: int = CROWD) -> Garden:
    """A nursery's benches: the same trees over and over, each with its own looks and work."""
    times = range(-(-size // len(garden.trees)))
    label = {0: "{}", **{k: "{} of row " + str(k + 1) for k in times if k}}

    def again(rows: object, *keys: str) -> list[object]:
        return [
            replace(row, **{key: f"{k}/{getattr(row, key)}" for key in keys if getattr(row, key) is not None})
            for k in times
            for row in rows  # type: ignore[attr-defined]
        ]

    trees = [
        replace(t, id=f"{k}/{t.id}", label=label[k].format(t.label)) for k in times for t in garden.trees
    ]
    return replace(
        garden,
        trees=trees[:size],
        stands=again(garden.stands, "id", "tree_id"),
        aims=again(garden.aims, "id", "tree_id"),
        flushes=again(garden.flushes, "id", "tree_id", "work_id"),
        looks=again(garden.looks, "id", "tree_id", "flush_id"),
        works=again(garden.works, "id", "tree_id"),
    )


def unseen(garden: Garden) -> Garden:
    """A garden in which nobody has looked yet."""
    return replace(garden, looks=[], works=[], flushes=[])


def sheltered(garden: Garden) -> Garden:
    """Benches under glass, where no thermometer hangs."""
    return replace(garden, places=[replace(place, cover="glasshouse") for place in garden.places])


def short_of_weather(garden: Garden, days: int = 600) -> Garden:
    """Little weather: one whole past season."""
    return replace(
        garden,
        weather={
            p: w.between(w.last_day - timedelta(days=days), w.last_day) for p, w in garden.weather.items()
        },
    )


@cache
def busy_folder() -> Path:
    """The demo garden after a day of work, with a forecast, a line to show and a place without weather."""
    folder = own_demo(Path(mkdtemp(prefix="flushcast-test-", dir=os.environ.get(ROOM))))
    bench = Bench(folder, today=DAY.isoformat())
    bench.does("work", "crab apple", "cutback", "--date", "2026-06-12")
    bench.does("work", "maple 1", "wiring", "--date", "2026-05-01")
    bench.does("place", "add", "Cellar <north> & steps", "--lat", "48.3", "--lon", "5.9")
    garden, _ = read_garden(folder, DAY)
    ahead = DailyWeather(DAY + timedelta(days=1), [9.0] * 9, [21.0] * 9, "forecast")
    seen = DailyWeather(DAY, [9.3], [21.7], "station")
    with WeatherStore.open(folder) as store:
        place = next(p.id for p in garden.places if p.id in garden.weather)
        line = "Weather <data> by the Office of Invention, https://weather.example/terms"
        store.add(place, seen, Origin("file", "x", line), fetched_at=NOON, prefer=True)
        store.add_forecast(place, ahead, Origin("service", "f", line), fetched_at=NOON, issued=DAY)
    return folder


def _report(
    garden: Garden,
    settings: GardenSettings,
    *,
    folder: Path | None = None,
    past: Sequence[PastForecast] | None = None,
) -> str:
    back = past is not None
    return report_html(folder or demo_folder(), garden, settings, look_back=back, past=past)


def _benches() -> str:
    return _report(*demo(trees=FEW), past=demo_past(FEW))


def _one_tree() -> str:
    return _report(*demo(trees=ONE), past=demo_past(ONE))


def _no_trees() -> str:
    garden, settings = demo()
    return _report(replace(garden, trees=[]), settings, past=[])


def _unseen() -> str:
    garden, settings = demo()
    return _report(unseen(garden), settings, past=[])


def _south() -> str:
    return _report(*demo(date(2026, 12, 14), south=True))


def _winter() -> str:
    return _report(*demo(date(2026, 1, 20)))


def _autumn() -> str:
    return _report(*demo(date(2026, 9, 20)))


def _fahrenheit() -> str:
    garden, settings = demo()
    return _report(garden, replace(settings, units="F"))


def _crowd() -> str:
    garden, settings = demo()
    return _report(crowd(garden), settings)


def _sheltered() -> str:
    garden, settings = demo(date(2026, 1, 20))
    return _report(sheltered(garden), settings)


def _short() -> str:
    garden, settings = demo()
    return _report(short_of_weather(garden), settings)


def _without() -> str:
    garden, settings = demo()
    return _report(replace(garden, weather={}, outlooks={}), settings)


def _busy() -> str:
    return _report(*read_garden(busy_folder(), DAY), folder=busy_folder())


def _compared(garden: Garden, settings: GardenSettings, *, past: Sequence[PastForecast] | None = None) -> str:
    look_back = None if past is None else lambda: first_hardenings(past)
    return compare_html(Compared(compare_seasons(garden), settings.units, look_back), settings.name)


def _seasons() -> str:
    return _compared(*demo(trees=FEW), past=demo_past(FEW))


def _seasons_of_one_tree() -> str:
    garden, settings = demo(trees=ONE)
    return _compared(garden, replace(settings, units="F"), past=demo_past(ONE))


def _seasons_unseen() -> str:
    garden, settings = demo()
    return _compared(unseen(garden), settings, past=[])


def _seasons_crowd() -> str:
    garden, settings = demo()
    return _compared(crowd(garden), settings)


def _seasons_short() -> str:
    garden, settings = demo()
    return _compared(short_of_weather(garden), settings)


def _card(names: int = 10) -> str:
    species = load_species()["Fagus crenata"]
    home, *towns = (
        LessonPlace.elsewhere(
            Place(f"{k}", f"Town <{k}> & mill", latitude, 0.0),
            synthetic_weather(date(2016, 1, 1), date(2025, 12, 31), latitude, seed=k) if k % 3 else None,
            DAY,
            load_species(),
            species.latin,
        )
        for k, latitude in zip(range(names + 1), (48, 38, -42, 57, 45, 52, -37, 60, 33, 51, 47), strict=True)
    )
    lessons = [Lesson(species, "cutback", day, day) for day in CARD_DAYS]
    rows = tuple(row for town in towns for lesson in lessons for row in translate(home, town, lesson))
    line = "Weather <data> by the Office of Invention, https://weather.example/terms"
    return card_html(Card(rows, (line,)))


PAGES: dict[str, Callable[[], str]] = {
    "benches": cache(_benches),
    "one tree": cache(_one_tree),
    "no trees": cache(_no_trees),
    "unseen": cache(_unseen),
    "south": cache(_south),
    "winter": cache(_winter),
    "autumn": cache(_autumn),
    "fahrenheit": cache(_fahrenheit),
    "crowd": cache(_crowd),
    "sheltered": cache(_sheltered),
    "short of weather": cache(_short),
    "without weather": cache(_without),
    "busy": cache(_busy),
    "seasons": cache(_seasons),
    "seasons of one tree": cache(_seasons_of_one_tree),
    "seasons unseen": cache(_seasons_unseen),
    "seasons, crowd": cache(_seasons_crowd),
    "seasons, short of weather": cache(_seasons_short),
    "seasons, south": cache(lambda: _compared(*demo(date(2026, 12, 14), south=True))),
    "seasons, winter": cache(lambda: _compared(*demo(date(2026, 1, 20)))),
    "seasons, busy": cache(lambda: _compared(*read_garden(busy_folder(), DAY))),
    "card": cache(_card),
}
"""Pages by the state they show; each is made once."""

TEMPLATES = {"report.html.j2": "benches", "compare.html.j2": "seasons", "card.html.j2": "card"}
"""Every template of a page, and one state of it."""
