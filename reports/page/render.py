"""The report put together: content, drawings and the packaged template."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from data_sources.garden import GardenSettings
from phenology.forecasting.garden_forecast import GardenForecast, forecast_garden
from phenology.garden import Garden
from phenology.judging.garden_hindcast import PastSkill, past_skill
from phenology.judging.past_forecasts import PastForecast, past_forecasts
from phenology.learning.garden_fit import GardenFit
from phenology.seasons.ahead import HeatCourse, heat_course
from phenology.seasons.compare import BASE_C, compare_seasons
from phenology.units import c_to_f, degree_days_c_to_f
from reports.aftercare_due import care_lines
from reports.charts.past_chart import describe_past
from reports.deciding import weeks_ahead
from reports.page.content import TreeCard, cautions_of, notes_of, tree_cards, weather_of
from reports.page.drawings import (
    Span,
    heat_drawing,
    miss_drawing,
    month_labels,
    window_drawing,
    years_drawing,
)
from reports.page.template import drawn, filled
from reports.words import weekday_date, weekday_full_date

TEMPLATE = "report.html.j2"


def report_html(folder: Path, garden: Garden, settings: GardenSettings, *, look_back: bool = True) -> str:
    """The whole report as HTML.

    Parameters
    ----------
    folder : Path
        The garden's, for the attributions of its weather.
    garden : Garden
    settings : GardenSettings
    look_back : bool
        Whether past seasons are forecast again, which takes some seconds.
    """
    forecast = forecast_garden(garden)
    course = heat_course(garden)
    past: list[PastForecast] = []
    skill: list[PastSkill] = []
    if look_back:
        fit = GardenFit(garden)
        past, skill = past_forecasts(fit), past_skill(fit)
    now, later = tree_cards(forecast)
    span = Span.around(garden.as_of, weeks_ahead(forecast))
    return filled(
        TEMPLATE,
        name=settings.name,
        season=garden.calendar.label(garden.season),
        day=weekday_full_date(garden.as_of),
        lead=lead_words(course),
        through=_through(forecast),
        months=span.label_room(),
        sections=[
            ("now", "On the benches now", _drawn(now, forecast, span)),
            ("next", "Next", _drawn(later, forecast, span)),
        ],
        heat=_heat(course, garden, settings),
        looked_back=look_back,
        past=_past(past),
        skill=[_skill(one, garden) for one in skill],
        weather=[(place, drawn(years_drawing([s for _, s in place.years], _years_words(place.years))))
                 for place in weather_of(folder, garden)],
        care=care_lines(garden),
        notes=notes_of(forecast),
        cautions=cautions_of(garden),
    )  # fmt: skip


def lead_words(course: HeatCourse) -> str:
    """How far ahead of usual the season is, as a sentence."""
    return f"Season: {course.words}." if course.lead is None else f"The season is {course.words}."


def _through(forecast: GardenForecast) -> str:
    through = forecast.garden.weather_through()
    if through is None:
        return "No weather yet."
    return f"Weather to {weekday_date(through)}, then {forecast.donors} past years as they might run."


def _drawn(cards: list[TreeCard], forecast: GardenForecast, span: Span) -> list[tuple[TreeCard, Any]]:
    return [
        (card, drawn(window_drawing(card.row, forecast, span, f"{card.row.tree.label}: {card.words}")))
        for card in cards
    ]


def _heat(course: HeatCourse, garden: Garden, settings: GardenSettings) -> dict[str, Any]:
    fahrenheit = settings.units == "F"

    def shown(heat: float) -> str:
        return f"{float(degree_days_c_to_f(heat)) if fahrenheit else heat:,.0f}"

    words = f"Warmth through the season over past ones. {lead_words(course)}"
    svg, labels = heat_drawing(course, words, 1.8 if fahrenheit else 1.0)
    rows = [
        (garden.calendar.label(h.season), shown(h.heat), h.rank, "" if h.ahead is None else f"{h.ahead:+.0f}")
        for h in compare_seasons(garden).heat
    ]
    return {
        "svg": drawn(svg),
        "labels": labels,
        "base": f"{c_to_f(BASE_C):.0f} °F" if fahrenheit else f"{BASE_C:.0f} °C",
        "months": month_labels(garden.calendar, course.season),
        "rows": rows,
        "past": len(course.past),
    }


def _past(past: list[PastForecast]) -> dict[str, Any] | None:
    if not past:
        return None
    words = describe_past(past)
    svg, labels, reach = miss_drawing(past, f"Misses of past forecasts by lead time. {words}")
    return {"words": words, "svg": drawn(svg), "labels": labels, "reach": f"{reach:.0f}"}


def _skill(one: PastSkill, garden: Garden) -> tuple[str, int, int, int]:
    known = garden.species.get(one.species)
    return known.name if known else one.species, one.seasons, round(one.missed), round(one.usual_missed)


def _years_words(years: tuple[tuple[int, float], ...]) -> str:
    if not years:
        return "No weather."
    thin = [str(year) for year, share in years if share < 0.9]
    return f"Weather by year, {years[0][0]} to {years[-1][0]}. " + (
        f"Much is missing in {', '.join(thin)}." if thin else "Every year is nearly whole."
    )
