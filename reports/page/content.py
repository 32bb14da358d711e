"""What stands in the report: everything gathered and put into words, nothing drawn yet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from data_sources.weather.store import WeatherStore
from phenology.errors import WeatherError
from phenology.forecasting.garden_forecast import ForecastRow, GardenForecast
from phenology.garden import Garden
from phenology.species.catalogue import Species
from phenology.weather.series import DailyWeather
from reports.deciding import STATE, coming_rows, does, last_safe_of, odds_of, refusal_of, row_date
from reports.words import date_range, short_date, tree_names, weekday_date, weekday_full_date

NOW_DAYS = 7
WORTH_SAYING = 0.97  # odds of ripening above this in three weeks leave nothing to hurry for (ours)
ORDINALS = ("first", "second", "third", "fourth", "fifth")


@dataclass(frozen=True)
class TreeCard:
    """One tree on the page.

    Attributes
    ----------
    row : ForecastRow
    kind, words : str
        Species and flush; what to do, in sentences.
    waiting : tuple of (str, int)
        What waiting costs: when it is cut, and odds in per cent that what it wakes ripens.
    """

    row: ForecastRow
    kind: str
    words: str
    waiting: tuple[tuple[str, int], ...]


def tree_cards(forecast: GardenForecast) -> tuple[list[TreeCard], list[TreeCard]]:
    """Trees to look at within a week, and those of the coming months."""
    now: list[TreeCard] = []
    later: list[TreeCard] = []
    for row in coming_rows(forecast):
        soon = row.look_on <= forecast.garden.as_of + timedelta(days=NOW_DAYS)
        (now if soon else later).append(_card(row, forecast))
    return now, later


def _card(row: ForecastRow, forecast: GardenForecast) -> TreeCard:
    flush = ORDINALS[min(row.flush, len(ORDINALS)) - 1]
    odds = odds_of(row)
    waiting: tuple[tuple[str, int], ...] = ()
    if odds is not None and row.trust.seasons > 0 and odds[2] < WORTH_SAYING:
        percent = [min(99, max(1, round(100 * o))) for o in odds]
        waiting = tuple(zip(("today", "in two weeks", "in three weeks"), percent, strict=True))
    return TreeCard(row, f"{row.species_name}, {flush} flush", " ".join(sentences(row, forecast)), waiting)


def sentences(row: ForecastRow, forecast: GardenForecast) -> Iterator[str]:
    """What a row says, a sentence at a time."""
    today = forecast.garden.as_of
    low, high = (row_date(row, level, forecast) for level in (0.1, 0.9))
    state = STATE[row.stage]
    if row.arrival is None:
        yield f"Hard since {short_date(row.seen[1])}." if row.seen[1] else "Hard."
        yield f"Look, and if still firm, {does(row)}." if does(row) else f"Do not cut: {refusal_of(row)}."
    else:
        if row.trust.seasons == 0:
            yield f"Look weekly from {short_date(max(low or row.look_on, today))}; only a guess so far."
        else:
            yield f"Look {'today' if row.look_on <= today else weekday_date(row.look_on)}."
            yield _span(state, low, high, today)
        if row.stage == "hardened":
            yield _when_firm(row)
    stop = last_safe_of(row)
    if stop is not None and row.trust.seasons > 0:
        yield f"Stop by {short_date(stop)}."


def _when_firm(row: ForecastRow) -> str:
    if does(row):
        return f"If firm, {does(row)}."
    refused = refusal_of(row)
    return f"Do not cut: {refused}." if refused else "Only note it: not being refined."


def _span(state: str, low: date | None, high: date | None, today: date) -> str:
    if low is None:
        return f"Hardly {state} this season."
    if high is None:
        return f"Perhaps {state} from {short_date(max(low, today))}."
    if high <= today:
        return f"Very probably {state} by now."
    if low <= today:
        return f"Probably {state} by {short_date(high)}, perhaps already."
    return f"Probably {state} {date_range(low, high)}."


@dataclass(frozen=True)
class PlaceWeather:
    """How well a place's weather is known.

    Attributes
    ----------
    name, words : str
    years : tuple of (int, float)
        Each calendar year with the share of its days that is known.
    attributions : tuple of str
        Lines that its sources ask to be shown.
    """

    name: str
    words: str
    years: tuple[tuple[int, float], ...]
    attributions: tuple[str, ...]


def weather_of(folder: Path, garden: Garden) -> list[PlaceWeather]:
    """Coverage of every place that has weather, and its attributions."""
    lines: dict[str, tuple[str, ...]] = {}
    try:
        with WeatherStore.open(folder) as store:
            for place in garden.places:
                if store.has(place.id):
                    lines[place.id] = tuple(store.attribution_lines(place.id))
    except WeatherError:
        pass
    return [
        _coverage(place.name, garden.weather[place.id], lines.get(place.id, ()))
        for place in garden.places
        if place.id in garden.weather
    ]


def _coverage(name: str, weather: DailyWeather, lines: Sequence[str]) -> PlaceWeather:
    known = np.isfinite(weather.tmin) & np.isfinite(weather.tmax)
    year = np.array([
        date.fromordinal(weather.first_day.toordinal() + n).year for n in range(len(known))
    ])  # fmt: skip
    shares = tuple((int(y), float(known[year == y].mean())) for y in np.unique(year))
    measured = known & (weather.source != "forecast")
    counts = {
        str(s): int((measured & (weather.source == s)).sum()) for s in np.unique(weather.source[measured])
    }
    parts = ", ".join(f"{n:,} days {_SOURCE_WORDS.get(s, s)}" for s, n in counts.items())
    through = (
        weather.first_day + timedelta(days=int(np.flatnonzero(measured)[-1])) if measured.any() else None
    )
    missing = int((~known).sum())
    gaps = "no day missing" if not missing else f"{missing:,} {'day' if missing == 1 else 'days'} missing"
    ends = f" to {weekday_full_date(through)}" if through else ""
    return PlaceWeather(
        name, f"{weather.first_day.year}{ends}: {parts or 'nothing measured'}; {gaps}.", shares, tuple(lines)
    )


_SOURCE_WORDS = {
    "bench": "from your own thermometer",
    "station": "from a weather station",
    "model": "from a weather model",
    "filled": "filled in",
}


def notes_of(forecast: GardenForecast) -> list[str]:
    """Warnings of the whole forecast and of single trees, each said once."""
    by_warning: dict[str, list[str]] = {}
    for row in coming_rows(forecast):
        for warning in row.warnings:
            if warning == refusal_of(row):
                continue  # its own line says so
            labels = by_warning.setdefault(warning, [])
            if row.tree.label not in labels:
                labels.append(row.tree.label)
    told = [f"{tree_names(labels)}: {warning}" for warning, labels in by_warning.items()]
    return [_sentence(note) for note in (*forecast.warnings, *told)]


def cautions_of(garden: Garden) -> list[tuple[str, tuple[str, ...]]]:
    """What to mind with each species kept, species that need nothing left out."""
    kept: dict[str, Species] = {}
    for tree in garden.trees:
        if tree.retired is None or tree.retired > garden.as_of:
            kept.setdefault(tree.species, garden.species_of(tree))
    return [
        (species.name, tuple(_sentence(c) for c in species.cautions))
        for species in kept.values()
        if species.cautions
    ]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."
