"""The report put together: content, drawings and the packaged template."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from data_sources.garden import GardenSettings
from phenology.advice.agenda import make_agenda
from phenology.advice.alike import weeks_ahead
from phenology.advice.forecast_rows import ForecastRow
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.judging.past_forecasts import past_forecasts
from phenology.language.degrees import degrees, using_units
from phenology.model.track_record import PastForecast, TrackRecord, first_hardenings
from phenology.seasons.ahead import HeatCourse, heat_course
from phenology.seasons.compare import compare_seasons
from phenology.seasons.season_heat import BASE_C
from phenology.work.cautions import BEFORE_A_CUT, LOOK_FIRST
from reports.charts.heat_curve import describe_heat_curve
from reports.charts.past_chart import describe_past
from reports.page.content import TreeCard, cautions_of, other_lines, tree_cards, warnings_of
from reports.page.coverage import PlaceCoverage, weather_of
from reports.page.drawings import (
    Span,
    heat_curve_drawing,
    heat_drawing,
    miss_drawing,
    month_labels,
    window_drawing,
    years_drawing,
)
from reports.page.template import drawn, filled
from reports.table import in_units
from reports.text.care_text import care_of
from reports.text.forecast_text import NO_TREES, weather_words
from reports.text.progress import Step
from reports.text.words import listed, weekday_full_date

if TYPE_CHECKING:
    from markupsafe import Markup

TEMPLATE = "report.html.j2"
DEGREE = "\N{NO-BREAK SPACE}°"


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
    """
    with using_units(settings.units):
        return _filled(folder, garden, settings, look_back, past, progress)


def _filled(
    folder: Path,
    garden: Garden,
    settings: GardenSettings,
    look_back: bool,
    past: Sequence[PastForecast] | None,
    progress: Step | None,
) -> str:
    forecast = forecast_garden(garden)
    garden = _best_place_first(garden)
    course = heat_course(garden)
    if look_back and past is None:
        past = past_forecasts(garden, progress=progress)
    records = TrackRecord.of(past or [])
    agenda = make_agenda(forecast)
    (now, later), more = tree_cards(agenda), other_lines(agenda)
    span = Span.around(garden.as_of, weeks_ahead(agenda.coming))
    kinds: set[str] = set()
    sections = [
        ("now", "On the benches now", _drawn(now, span, kinds)),
        ("next", "Next", _drawn(later, span, kinds)),
    ]
    care, notes = care_of(agenda), warnings_of(agenda)
    nothing = ("Nothing to look at this week.", "Nothing more in the coming months.")
    if not garden.trees:
        nothing = (NO_TREES.replace("`", ""), "Nothing yet.")
    svg, below, beside = heat_curve_drawing(describe_heat_curve(settings.units), units=settings.units)
    return filled(
        TEMPLATE,
        name=settings.name,
        season=garden.calendar.label(garden.season),
        day=weekday_full_date(garden.as_of),
        lead=lead_words(course),
        through=weather_words(forecast),
        look_first=LOOK_FIRST,
        contents=list(_contents(bool(care), bool(notes), look_back)),
        months=span.label_room(),
        sections=sections,
        nothing=dict(zip(("now", "next"), nothing, strict=True)),
        more=dict(zip(("now", "next"), more, strict=True)),
        legend=kinds,
        heat=_heat(course, garden, settings.units) if garden.weather_through() else None,
        looked_back=look_back,
        past=_past(first_hardenings(past or [])),
        skill=[_skill(one, garden) for one in records.values() if one.compared],
        weather=[(place, _years(place)) for place in weather_of(folder, garden)],
        care=care,
        notes=notes,
        before=BEFORE_A_CUT,
        cautions=cautions_of(garden),
        limits=garden.limits,
        degrees={"reference": degrees(REFERENCE_C, sign=DEGREE), "base": degrees(BASE_C, sign=DEGREE)},
        clocks={"svg": drawn(svg), "below": below, "beside": beside, "ways": len(CLOCKS),
                "words": describe_heat_curve(settings.units)},
    )  # fmt: skip


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


def _drawn(
    cards: list[TreeCard], span: Span, kinds: set[str]
) -> list[tuple[TreeCard, list[tuple[ForecastRow, Markup]]]]:
    """Cards with a picture for each of their trees; what the pictures hold is added to `kinds`."""
    out = []
    for card in cards:
        pictures = []
        for step in card.steps:
            svg, held = window_drawing(step, span, f"{step.tree.label}: {card.words}")
            pictures.append((step, drawn(svg)))
            kinds |= held
        out.append((card, pictures))
    return out


def _heat(course: HeatCourse, garden: Garden, units: str) -> dict[str, Any]:
    scale = in_units(1.0, "degree_days", units)
    svg, labels = heat_drawing(
        course, f"Warmth through the season over past ones. {lead_words(course)}", scale
    )
    seasons = compare_seasons(garden).warmth
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
        "base": degrees(BASE_C, sign=DEGREE),
        "months": month_labels(garden.calendar, course.season),
        "rows": rows,
        "ever": max((h.of_all for h in seasons), default=0),
        "leads": any(h.days_ahead is not None for h in seasons),
        "past": len(course.past),
        "lacking": listed(lacking) if lacking else "",
    }


def _years(place: PlaceCoverage) -> Any:
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
