"""The forecast as a grower reads it at the bench: a sentence a tree, alike trees together, soonest first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import timedelta

from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.next_steps import Alike, alike, coming_steps, far_steps, row_warnings
from phenology.advice.without_dates import without_dates
from phenology.garden import Garden
from phenology.work.cautions import CUT_FIRM, LOOK_FIRST
from phenology.work.grades import odds_in_tenths
from phenology.work.season_of_work import until_rest
from reports.text.care_text import care_of
from reports.text.words import (
    date_range,
    short_date,
    tree_names,
    weekday_date,
    weekday_full_date,
    wrapped,
)

WIDTH = 80
SOON_DAYS = 7  # windows that open this soon are told with the price of waiting
WORTH_SAYING = 0.97  # unless waiting three weeks hardly costs anything

HAS_COME = {"budbreak": "break bud", "extended": "have stopped lengthening", "hardened": "be hard"}
STATE = {"budbreak": "in bud break", "extended": "extended", "hardened": "hard"}
METHOD = "How this is reckoned: docs/method.md, or the foot of a `flushcast report`."
NO_TREES = "The garden has no trees yet; add one with `flushcast tree add`."


def forecast_text(forecast: GardenForecast, width: int = WIDTH) -> str:
    """The whole forecast as text no wider than `width`."""
    garden, near = forecast.garden, coming_steps(forecast)
    season = garden.calendar.label(garden.season)
    lines = [f"{season} season, as of {weekday_full_date(garden.as_of)}"]
    if forecast.usual_warmth or (garden.weather_through() and forecast.donors):
        lines += wrapped(weather_words(forecast), width)
    flushes = Counter(step.row.tree.id for step in near)
    sentences = [_sentence(group, flushes) for group in alike(near)] + list(undated_lines(garden))
    if not sentences:
        sentences = ["Nothing to look at in the coming weeks." if garden.trees else NO_TREES]
    notes = [*forecast.warnings, *(f"{tree_names(who)}: {what}" for what, who in row_warnings(near).items())]
    care = [f"{trees}: {what}" for trees, what in care_of(forecast)]
    for block in (sentences, list(later_lines(forecast)), care, [f"Note: {note}." for note in notes]):
        if block:
            lines += ["", *(line for text in block for line in wrapped(text, width))]
    lines += ["", *wrapped(f"{LOOK_FIRST} {CUT_FIRM}", width, hang=""), *wrapped(METHOD, width)]
    if garden.attribution:
        lines += ["", *wrapped(f"Weather: {'; '.join(garden.attribution)}.", width)]
    return "\n".join(lines)


def weather_words(forecast: GardenForecast) -> str:
    """What weather a forecast rests on."""
    garden, donors = forecast.garden, forecast.donors
    through, ahead = garden.weather_through(), garden.forecast_through()
    if forecast.usual_warmth or through is None:
        return forecast.usual_warmth or "No weather yet."
    through_words = f"Weather to {weekday_date(through)}" + (
        f", a forecast to {weekday_date(ahead)}" if ahead else ""
    )
    years = "past year as it" if donors == 1 else "past years as they"
    return f"{through_words}, then {donors} {years} might run." if donors else f"{through_words}."


def undated_lines(garden: Garden) -> Iterator[str]:
    """Trees to look at that have no dates; alike trees together."""
    found: dict[str, list[str]] = {}
    for tree in garden.trees:
        if words := without_dates(garden, tree):
            found.setdefault(words, []).append(tree.label)
    for words, labels in found.items():
        yield f"{tree_names(labels)}: {words}."


def later_lines(forecast: GardenForecast) -> Iterator[str]:
    """How many trees need no look yet, and from when the first does; nothing where none waits."""
    if steps := far_steps(forecast):
        soonest, trees = steps[0].row, len({step.row.tree.id for step in steps})
        yield (
            f"{trees} {'tree needs' if trees == 1 else 'trees need'} no look yet; the first of them, "
            f"{soonest.tree.label}, from about {short_date(soonest.look_on - timedelta(days=14))}."
        )


def _sentence(group: Alike, flushes: Counter[str]) -> str:
    names, row = tree_names(group.labels), group.first.row
    if any(flushes[step.row.tree.id] > 1 for step in group.steps):
        names += f" (flush {row.flush})"
    trust = f" Trust: {group.trust.words}." if row.arrival is not None and row.dated else ""
    return f"{names}: {' '.join(advice_words(group))}{trust}"


def advice_words(group: Alike, *, odds: bool = True) -> Iterator[str]:
    """What alike trees are told, a sentence at a time, the first without a capital.

    `odds` says whether the price of waiting is told in words.
    """
    step, row, today = group.first, group.first.row, group.first.garden.as_of
    if row.arrival is None:
        yield f"hard since {short_date(row.seen[1])}." if row.seen[1] else "hard."
    elif row.trust.seasons == 0:  # with a species guess only, a rhythm of looks and never a work date
        yield f"look weekly from {short_date(group.weekly_from)}, for it to {HAS_COME[row.stage]}."
    else:
        yield f"look {'today' if row.look_on <= today else weekday_date(row.look_on)}."
        yield _span(group)
    if row.stage == "hardened":
        opening = "Look, and if still firm, " if row.arrival is None else "If firm, "
        refused = f"Do not cut: {step.refused.sentence}." if step.refused else ""
        does = row.advice.does if row.advice and row.operation else ""
        yield f"{opening}{does}." if does else refused or "Only note it: not being refined."
        yield from _until(group, odds)


def _span(group: Alike) -> str:
    row, today = group.first.row, group.first.garden.as_of
    state, first, last = STATE[row.stage], group.date_at(0.1), group.date_at(0.9)
    if first is None:
        return f"Hardly {state} this season."
    if last is None:
        never = f"; {odds_in_tenths(row.arrival.p_not)} that it is not this season" if row.arrival else ""
        return f"Perhaps {state} from {short_date(max(first, today))}{never}."
    if last <= today:
        return f"Very probably {state} by now."
    if first <= today:
        return f"Probably {state} by {short_date(last)}, perhaps already."
    return f"Probably {state} {date_range(first, last)}."


def _until(group: Alike, tell_odds: bool) -> Iterator[str]:
    """When to stop, and what waiting costs once the window is open or about to be."""
    row, last = group.first.row, group.last_safe
    if row.trust.seasons == 0:
        return
    if last is not None:
        yield f"Stop by {short_date(last)}."
        middle = group.date_at(0.5)
        if row.arrival is not None and (middle is None or middle > last):
            rest = until_rest(group.first.garden.species_of(row.tree))
            yield f"It is likelier hard after that: then leave it {rest}."
    soon = (row.look_on - group.first.garden.as_of).days <= SOON_DAYS
    if tell_odds and soon and group.odds and group.odds[-1] < WORTH_SAYING:
        today, fortnight, three_weeks = map(odds_in_tenths, group.odds)
        yield (
            f"That new growth ripens is {today} if it is woken today, {fortnight} in two weeks, "
            f"{three_weeks} in three."
        )
