"""The report put together: content, drawings and the packaged template."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from data_sources.garden import GardenSettings
from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.judging.past_forecasts import past_forecasts
from phenology.model.track_record import PastForecast, TrackRecord, first_hardenings
from phenology.model.units import c_to_f, degree_days_c_to_f
from phenology.seasons.ahead import HeatCourse, heat_course
from phenology.seasons.compare import compare_seasons
from phenology.seasons.season_heat import BASE_C
from reports.charts.past_chart import describe_past
from reports.page.content import TreeCard, care_of, cautions_of, notes_of, tree_cards
from reports.page.coverage import PlaceWeather, weather_of
from reports.page.drawings import (
    Span,
    heat_drawing,
    miss_drawing,
    month_labels,
    window_drawing,
    years_drawing,
)
from reports.page.heat_curve import heat_curve_drawing, heat_curve_words
from reports.page.template import drawn, filled
from reports.text.deciding import weeks_ahead
from reports.text.forecast_text import later_line, undated_lines
from reports.text.progress import Step
from reports.text.words import listed, weekday_date, weekday_full_date

TEMPLATE = "report.html.j2"
KINDS = ("likely", "look", "seen", "notyet", "late")  # what the pictures of windows may hold
NO_TREES = "The garden has no trees yet; add one with flushcast tree add."


def report_html(
    folder: Path,
    garden: Garden,
    settings: GardenSettings,
    *,
    look_back: bool = True,
    past: Sequence[PastForecast] | None = None,
    progress: Step | None = None,
) -> str:
    """The whole report as HTML.

    Parameters
    ----------
    folder : Path
        The garden's, for the attributions of its weather.
    garden : Garden
        With its species' past skill where that is known, as `reports.garden.past_forecasts` gives it.
    settings : GardenSettings
    look_back : bool
        Whether the page tells how past forecasts did; unless given, they are made again, which takes seconds.
    past : sequence of PastForecast, optional
        The garden's, where they are known already.
    progress : callable, optional
        Told (flushes forecast again, flushes to forecast) meanwhile.

    Raises
    ------
    WeatherError
        If there is too little weather to forecast with.
    """
    forecast = forecast_garden(garden)
    garden = _best_place_first(garden)
    fahrenheit = settings.units == "F"
    course = heat_course(garden)
    if look_back and past is None:
        past = past_forecasts(garden, progress=progress)
    records = TrackRecord.of(past or [])
    now, later = tree_cards(forecast)
    span = Span.around(garden.as_of, weeks_ahead(forecast))
    sections = [
        ("now", "On the benches now", _drawn(now, forecast, span)),
        ("next", "Next", _drawn(later, forecast, span)),
    ]
    care, notes = care_of(garden), notes_of(forecast)
    return filled(
        TEMPLATE,
        name=settings.name,
        season=garden.calendar.label(garden.season),
        day=weekday_full_date(garden.as_of),
        lead=lead_words(course),
        through=_through(forecast),
        contents=list(_contents(bool(care), bool(notes), look_back)),
        months=span.label_room(),
        sections=sections,
        nothing=_nothing(garden),
        more={"now": list(undated_lines(garden)), "next": [line] if (line := later_line(forecast)) else []},
        legend=_legend(sections),
        heat=_heat(course, garden, fahrenheit),
        looked_back=look_back,
        past=_past(first_hardenings(past or [])),
        skill=[_skill(one, garden) for one in records.values() if one.trees],
        weather=[(place, _years(place)) for place in weather_of(folder, garden)],
        care=care,
        notes=notes,
        cautions=cautions_of(garden),
        limits=garden.limits,
        degrees={"reference": _degrees(REFERENCE_C, fahrenheit), "base": _degrees(BASE_C, fahrenheit)},
        clocks=_clocks(fahrenheit),
    )


def _best_place_first(garden: Garden) -> Garden:
    """The same garden, the place where most trees stand first among those whose weather is known."""
    trees = Counter(garden.place_of(tree, garden.as_of).id for tree in garden.trees)
    last = {place: series.last_day for place, series in garden.weather.items()}
    known = [p for p in garden.places if p.id in garden.weather]
    order = sorted(known, key=lambda p: (-trees[p.id], -last[p.id].toordinal()))
    return replace(garden, places=[*order, *(p for p in garden.places if p.id not in garden.weather)])


def _contents(care: bool, notes: bool, looked_back: bool) -> Iterator[tuple[str, str]]:
    yield from (("now", "Now"), ("next", "Next"))
    if care:
        yield "care", "After the work"
    if notes:
        yield "mind", "To mind"
    yield "season", "The season"
    if looked_back:
        yield "past", "Past forecasts"
    yield from (("weather", "Weather"), ("cautions", "Before you cut"), ("how", "How this is reckoned"))


def lead_words(course: HeatCourse) -> str:
    """How far ahead of usual the season is, as a sentence."""
    return f"Season: {course.words}." if course.lead is None else f"The season is {course.words}."


def _through(forecast: GardenForecast) -> str:
    garden = forecast.garden
    through, ahead = garden.weather_through(), garden.forecast_through()
    if through is None:
        return "No weather yet."
    told = f"Weather to {weekday_date(through)}"
    if ahead is not None:
        told += f", a forecast to {weekday_date(ahead)}"
    if not forecast.donors:
        return f"{told}."
    years = "past year as it" if forecast.donors == 1 else "past years as they"
    return f"{told}, then {forecast.donors} {years} might run."


def _nothing(garden: Garden) -> dict[str, str]:
    if not garden.trees:
        return {"now": NO_TREES, "next": "Nothing yet."}
    return {"now": "Nothing to look at this week.", "next": "Nothing more in the coming months."}


def _drawn(
    cards: list[TreeCard], forecast: GardenForecast, span: Span
) -> list[tuple[TreeCard, list[tuple[Any, Any]]]]:
    return [
        (
            card,
            [
                (row, drawn(window_drawing(row, forecast, span, f"{row.tree.label}: {card.words}")))
                for row in card.rows
            ],
        )
        for card in cards
    ]


def _legend(sections: Sequence[tuple[str, str, list[tuple[TreeCard, list[tuple[Any, Any]]]]]]) -> set[str]:
    """What the pictures of windows hold, so that nothing else is explained."""
    svgs = [str(svg) for _, _, cards in sections for _, pictures in cards for _, svg in pictures]
    found = {kind for kind in KINDS if any(f'class="{kind}"' in svg for svg in svgs)}
    return found | {"today"} if svgs else set()


def _heat(course: HeatCourse, garden: Garden, fahrenheit: bool) -> dict[str, Any]:
    def shown(heat: float) -> str:
        return f"{float(degree_days_c_to_f(heat)) if fahrenheit else heat:,.0f}"

    words = f"Warmth through the season over past ones. {lead_words(course)}"
    svg, labels = heat_drawing(course, words, 1.8 if fahrenheit else 1.0)
    seasons = compare_seasons(garden).warmth
    lacking = [garden.calendar.label(h.season) for h in seasons if h.degree_days is None]
    rows = [
        (
            garden.calendar.label(h.season),
            "." if h.degree_days is None else shown(h.degree_days),
            h.rank_of_all or ".",
            "" if h.days_ahead is None else f"{h.days_ahead:+.0f}".replace("-", "−"),
        )
        for h in seasons
    ]
    return {
        "svg": drawn(svg),
        "labels": labels,
        "place": garden.places[0].name,
        "base": _degrees(BASE_C, fahrenheit),
        "months": month_labels(garden.calendar, course.season),
        "rows": rows,
        "ever": max((h.of_all for h in seasons), default=0),
        "leads": any(h.days_ahead is not None for h in seasons),
        "past": len(course.past),
        "lacking": listed(lacking) if lacking else "",
    }


def _degrees(celsius: float, fahrenheit: bool) -> str:
    return (
        f"{float(c_to_f(celsius)):.0f}\N{NO-BREAK SPACE}°F"
        if fahrenheit
        else f"{celsius:.0f}\N{NO-BREAK SPACE}°C"
    )


def _clocks(fahrenheit: bool) -> dict[str, Any]:
    words = heat_curve_words(fahrenheit)
    svg, below, beside = heat_curve_drawing(words, fahrenheit=fahrenheit)
    return {"svg": drawn(svg), "below": below, "beside": beside, "words": words, "ways": len(CLOCKS)}


def _years(place: PlaceWeather) -> Any:
    return drawn(years_drawing([s for _, s in place.years], place.picture_words)) if place.years else ""


def _past(past: Sequence[PastForecast]) -> dict[str, Any] | None:
    if not past:
        return None
    words = describe_past(past)
    svg, labels, reach = miss_drawing(past, f"Misses of past forecasts by lead time. {words}")
    return {"words": words, "svg": drawn(svg), "labels": labels, "reach": f"{reach:.0f}"}


def _skill(one: TrackRecord, garden: Garden) -> tuple[str, int, int, int]:
    known = garden.species.get(one.species)
    return known.name if known else one.species, one.seasons, round(one.missed), round(one.usual_missed)
