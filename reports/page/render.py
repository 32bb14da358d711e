"""The report put together: content, drawings, how well the weather is known, and the packaged template."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from data_sources.garden import GardenSettings
from data_sources.weather.store.weather_store import WeatherStore
from phenology.advice.agenda import Agenda, make_agenda
from phenology.advice.forecast_change import changed_since, forecast_changes
from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.judging.past_forecasts import past_forecasts
from phenology.language.degrees import degrees, using_units
from phenology.model.errors import WeatherError
from phenology.model.track_record import PastForecast, TrackRecord, first_hardenings
from phenology.seasons.compare import compare_seasons
from phenology.seasons.season_heat import BASE_C, HeatCourse, heat_course
from phenology.weather.series import DailyWeather
from phenology.work.cautions import BEFORE_A_CUT, CUT_FIRM, LOOK_FIRST
from reports.charts.agenda_rows import Line
from reports.charts.learned_charts import describe_past
from reports.charts.weather_charts import describe_heat_curve
from reports.page.content import (
    blocks,
    care_topics,
    cautions_of,
    headline,
    in_full,
    season_picture,
    subline,
    warnings_of,
    week,
)
from reports.page.drawings import drawn, filled, heat_drawing, month_labels, trust_drawing, years_drawing
from reports.table import in_units
from reports.views.change_text import care_of, changes_text, misses_text
from reports.views.forecast_text import NO_TREES, weather_words
from reports.views.progress import Step
from reports.views.words import capital, counted, listed, weekday_full_date

_SOURCE_WORDS = {
    "bench": "from your own thermometer",
    "station": "from a weather station",
    "model": "from a weather model",
    "filled": "filled in",
}
NEARLY_WHOLE = 0.9  # a year with a smaller share of its days known is called thin (ours)
TEMPLATE = "report.html.j2"
FORECAST_AGAIN = 40  # trees of which an earlier day's forecast is quick to make again (ours)
UNWRAPPED = 1_000_000


@dataclass(frozen=True)
class PlaceCoverage:
    """How well a place's weather is known: each calendar year with the share of its days, up to today."""

    name: str
    words: str
    years: tuple[tuple[int, float], ...]
    attributions: tuple[str, ...]

    @property
    def picture_words(self) -> str:
        """What the strip of years shows."""
        thin = [str(year) for year, share in self.years if share < NEARLY_WHOLE]
        words = f"Much is missing in {', '.join(thin)}." if thin else "Every year is nearly whole."
        return f"Weather by year, {self.years[0][0]} to {self.years[-1][0]}. {words}"


def weather_of(folder: Path, garden: Garden) -> list[PlaceCoverage]:
    """Coverage of every place, and its attributions."""
    lines: dict[str, list[str]] = {}
    with suppress(WeatherError), WeatherStore.open(folder) as store:
        lines = {p.id: store.attribution_lines(p.id) for p in garden.places if store.has(p.id)}
    return [
        _coverage(place.name, garden.weather[place.id], lines.get(place.id, ()))
        if place.id in garden.weather
        else PlaceCoverage(
            place.name, f'No weather yet: flushcast weather add FILE --place "{place.name}"', (), ()
        )
        for place in garden.places
    ]


def _coverage(name: str, weather: DailyWeather, lines: Sequence[str]) -> PlaceCoverage:
    ahead = weather.known & (weather.source == "forecast")
    measured = weather.known & ~ahead
    then = f". Then a forecast to {weekday_full_date(_last(weather, ahead))}" if ahead.any() else ""
    if not measured.any():
        return PlaceCoverage(name, f"Nothing measured yet{then}.", (), tuple(lines))
    last = _last(weather, measured)
    known = measured[: (last - weather.first_day).days + 1]
    missing = int((~known).sum())
    sources = zip(*np.unique(weather.source[measured], return_counts=True), strict=True)
    counts = ", ".join(f"{counted(n, 'days')} {_SOURCE_WORDS.get(source, source)}" for source, n in sources)
    gaps = f"{counted(missing, 'days')} missing" if missing else "no day missing"
    year = np.array([date.fromordinal(int(ordinal)).year for ordinal in weather.ordinals[: len(known)]])
    return PlaceCoverage(
        name,
        f"{weather.first_day.year} to {weekday_full_date(last)}: {counts}; {gaps}{then}.",
        tuple((int(y), float(known[year == y].mean())) for y in np.unique(year)),
        tuple(lines),
    )


def _last(weather: DailyWeather, which: NDArray[np.bool_]) -> date:
    return date.fromordinal(int(weather.ordinals[which][-1]))


def report_html(
    folder: Path,
    garden: Garden,
    settings: GardenSettings,
    *,
    look_back: bool = True,
    past: Sequence[PastForecast] | None = None,
    remember: bool = False,
    progress: Step | None = None,
    agenda: Agenda | None = None,
    herds_at: Callable[[Line], str] | None = None,
) -> str:
    """The whole page as HTML.

    Parameters
    ----------
    look_back : bool
        Whether the page tells what changed since the last look, and how `past` forecasts did; unless given,
        these are made again, which takes seconds.
    remember : bool
        Whether what is told is kept in the `folder` of the garden, for later pages to be held against.
    progress : callable, optional
        Told (flushes forecast again, flushes to forecast) meanwhile.
    agenda : Agenda, optional
        The garden's, where it was made already.
    herds_at : callable, optional
        Gives the address at which the trees of a line are drawn one by one; without it they stand behind it.
    """
    with using_units(settings.units):
        agenda = agenda or make_agenda(forecast_garden(garden))
        forecast = agenda.forecast
        garden = _best_place_first(garden)
        course = heat_course(garden)
        if look_back and past is None:
            past = past_forecasts(garden, progress=progress)
        return filled(
            TEMPLATE,
            name=settings.name,
            headline=headline(agenda),
            subline=subline(agenda, settings.name, course),
            usual_warmth=forecast.usual_warmth,
            no_trees="" if garden.trees else NO_TREES.replace("`", ""),
            look_first=f"{LOOK_FIRST} {CUT_FIRM}",
            today=blocks(agenda),
            topics=care_topics(agenda),
            care=care_of(agenda),
            week=week(agenda),
            picture=season_picture(agenda, behind=herds_at is None),
            herds_at=herds_at,
            changed=_changed(folder, forecast, look_back, remember),
            notes=list(warnings_of(agenda)),
            trees=in_full(agenda),
            heat=_heat(course, garden, settings.units) if garden.weather_through() else None,
            looked_back=look_back,
            past=describe_past(first_hardenings(past or [])),
            trust=[_trust(one, garden) for one in TrackRecord.of(past or []).values() if one.compared],
            rests=weather_words(forecast),
            weather=[(place, _years(place)) for place in weather_of(folder, garden)],
            before=BEFORE_A_CUT,
            cautions=cautions_of(garden),
            limits=garden.limits,
            degrees={"reference": degrees(REFERENCE_C), "base": degrees(BASE_C)},
            clocks={"ways": len(CLOCKS), "words": describe_heat_curve(settings.units)},
        )


def herd_html(agenda: Agenda, settings: GardenSettings, headline: str) -> str:
    """A page of some trees' season, a row each."""
    with using_units(settings.units):
        return filled("herd.html.j2", headline=headline, picture=season_picture(agenda))


def _changed(folder: Path, forecast: GardenForecast, look_back: bool, remember: bool) -> list[str]:
    """What moved since the last look: forecast again, or held against what was told, where trees are many."""
    garden = forecast.garden
    if not look_back or not garden.standing_trees:
        return []
    if len(garden.standing_trees) <= FORECAST_AGAIN:
        text = changes_text(forecast_changes(forecast), changed_since(garden), UNWRAPPED)
    else:
        text = misses_text(folder, forecast, UNWRAPPED) if remember else ""
    return text.splitlines()


def _best_place_first(garden: Garden) -> Garden:
    """The same garden, the place where most trees stand first among those whose weather is known."""
    trees = Counter(garden.place_of(tree, garden.as_of).id for tree in garden.trees)
    last = {place: series.last_day for place, series in garden.weather.items()}
    known = [p for p in garden.places if p.id in garden.weather]
    order = sorted(known, key=lambda p: (-trees[p.id], -last[p.id].toordinal()))
    return replace(garden, places=[*order, *(p for p in garden.places if p.id not in garden.weather)])


def lead_words(course: HeatCourse) -> str:
    """How far ahead of usual the season is, as a sentence."""
    return f"Season: {course.words}." if course.lead is None else f"The season is {course.words}."


def _heat(course: HeatCourse, garden: Garden, units: str) -> dict[str, Any]:
    scale = in_units(1.0, "degree_days", units)
    svg, labels = heat_drawing(
        course, f"Warmth through the season over past ones. {lead_words(course)}", scale
    )
    seasons = compare_seasons(replace(garden, trees=[])).warmth  # its warmth alone
    lacking = [garden.calendar.label(h.season) for h in seasons if h.degree_days is None]
    rows = [
        (
            garden.calendar.label(h.season),
            "." if h.degree_days is None else f"{scale * h.degree_days:,.0f}",
            h.rank_of_all or ".",
            "" if h.days_ahead is None else f"{h.days_ahead:+.0f}".replace("-", "−"),
        )
        for h in seasons
    ]
    return {
        "svg": drawn(svg),
        "labels": labels,
        "place": garden.places[0].name,
        "base": degrees(BASE_C),
        "months": month_labels(garden.calendar, course.season),
        "rows": rows,
        "ever": max((h.of_all for h in seasons), default=0),
        "leads": any(h.days_ahead is not None for h in seasons),
        "past": len(course.past),
        "lacking": listed(lacking) if lacking else "",
    }


def _years(place: PlaceCoverage) -> Any:
    return drawn(years_drawing([s for _, s in place.years], place.picture_words)) if place.years else ""


def _trust(one: TrackRecord, garden: Garden) -> dict[str, Any]:
    known = garden.species.get(one.species)
    name = known.name if known else one.species
    label = garden.calendar.label
    words = ", ".join(f"{label(season)} {error:+.0f} days" for season, error in one.errors.items())
    return {
        "species": capital(name),
        "svg": drawn(trust_drawing(one.errors, f"{name}: {words}")),
        "missed": counted(round(one.missed), "days"),
        "usual": counted(round(one.usual_missed), "days"),
    }
