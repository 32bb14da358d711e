"""The forecast as a grower reads it at the bench: a sentence a tree, alike trees together, soonest first."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.advice.without_dates import without_dates
from phenology.garden import Garden
from reports.text.deciding import AHEAD_DAYS, DOES, deciding_rows
from reports.text.words import date_range, short_date, tree_names, weekday_date, weekday_full_date

WIDTH = 80
ALIKE_DAYS = 3  # trees whose next looks lie this close share a sentence
SOON_DAYS = 7  # windows that open this soon are told with the price of waiting
WORTH_SAYING = 0.97  # unless waiting three weeks hardly costs anything

HAS_COME = {"budbreak": "break bud", "extended": "have stopped lengthening", "hardened": "be hard"}
PROBABLY = {"budbreak": "in bud break", "extended": "extended", "hardened": "hard"}

CAUTION = (
    "The forecast says when to look; the leaf decides. Cut only what is firm and springs back when "
    "pressed, with clean sharp blades; mind eyes and irritant sap."
)

METHOD = "How this is reckoned: docs/method.md, or the foot of a `flushcast report`."


def forecast_text(forecast: GardenForecast, width: int = WIDTH) -> str:
    """The whole forecast as text no wider than `width`."""
    garden = forecast.garden
    season, day = garden.calendar.label(garden.season), garden.as_of
    lines = [f"{season} season, as of {weekday_full_date(day)}"]
    through = garden.weather_through()
    if through and forecast.donors:
        ahead = garden.forecast_through()
        said = f"a forecast to {weekday_date(ahead)}, " if ahead else ""
        lines += _wrapped(
            f"Weather to {weekday_date(through)}, {said}then {forecast.donors} past years as they might run.",
            width,
        )
    lines.append("")
    told, later = _told(forecast)
    for group in alike(told):
        lines += _wrapped(_sentence(group, forecast, _several(told)), width)
    waiting = list(undated_lines(garden))
    for sentence in waiting:
        lines += _wrapped(sentence, width)
    if not garden.trees:
        lines += _wrapped("The garden has no trees yet; add one with `flushcast tree add`.", width)
    elif not told and not waiting:
        lines += _wrapped("Nothing to look at in the coming weeks.", width)
    if later:
        lines += ["", *_wrapped(_later(later, forecast), width)]
    notes = [*forecast.warnings, *_shared_warnings(told)]
    if notes:
        lines.append("")
        for note in notes:
            lines += _wrapped(f"Note: {note}.", width)
    lines += ["", *_wrapped(CAUTION, width, hang=""), *_wrapped(METHOD, width)]
    if garden.attribution:
        lines += ["", *_wrapped(f"Weather: {'; '.join(garden.attribution)}.", width)]
    return "\n".join(lines)


def _told(forecast: GardenForecast) -> tuple[list[ForecastRow], list[ForecastRow]]:
    """The row that matters of each tree's flush, split into what is near and what is far."""
    near: list[ForecastRow] = []
    far: list[ForecastRow] = []
    for row in deciding_rows(forecast):
        ahead = (row.look_on - forecast.garden.as_of).days
        (near if ahead <= AHEAD_DAYS else far).append(row)
    near.sort(key=lambda r: (r.arrival is not None, r.look_on, r.order, r.tree.label))
    return near, far


def alike(rows: Sequence[ForecastRow]) -> Iterator[list[ForecastRow]]:
    """Trees that can share a sentence: alike in everything but a day or two."""
    groups: dict[tuple[object, ...], list[list[ForecastRow]]] = {}
    for row in rows:
        key = (row.species_name, row.stage, row.operation, row.place, row.trust.seasons, row.arrival is None)
        key = (*key, row.flush, _refusal(row), *(row.seen if row.arrival is None else ()))
        found = groups.setdefault(key, [])
        if found and (row.look_on - found[-1][0].look_on).days <= ALIKE_DAYS:
            found[-1].append(row)
        else:
            found.append([row])
    together = [group for found in groups.values() for group in found]
    yield from sorted(together, key=lambda g: rows.index(g[0]))


def _reach(group: Sequence[ForecastRow], level: float) -> float | None:
    """The quantile that covers a whole group: the earliest low one, the latest high one."""
    days = [row.day(level) for row in group]
    known = [t for t in days if t is not None]
    if level < 0.5:
        return min(known, default=None)
    return max(known) if len(known) == len(days) else None


def _several(rows: Sequence[ForecastRow]) -> set[str]:
    """Trees of which more than one flush is told."""
    return {tree for tree, flushes in Counter(r.tree.id for r in rows).items() if flushes > 1}


def undated_lines(garden: Garden) -> Iterator[str]:
    """Trees to look at that have no dates; alike trees together."""
    found: dict[str, list[str]] = {}
    for tree in garden.trees:
        if told := without_dates(garden, tree):
            found.setdefault(told, []).append(tree.label)
    for told, labels in found.items():
        yield f"{tree_names(labels)}: {told}."


def _sentence(group: Sequence[ForecastRow], forecast: GardenForecast, several: set[str]) -> str:
    row, names = group[0], tree_names([r.tree.label for r in group])
    if any(r.tree.id in several for r in group):
        names = f"{names} (flush {row.flush})"
    words = " ".join(advice_words(group, forecast))
    if row.arrival is None or not row.dated:
        return f"{names}: {words}"
    return f"{names}: {words} Trust: {trust_words(group)}."


def trust_words(group: Sequence[ForecastRow]) -> str:
    """How far a group's forecast may be trusted: as far as its least certain tree's."""
    return max((r.trust for r in group), key=lambda t: t.within or 0.0).words


def advice_words(
    group: Sequence[ForecastRow], forecast: GardenForecast, *, odds: bool = True
) -> Iterator[str]:
    """What alike trees are told, a sentence at a time, the first without a capital.

    `odds` says whether the price of waiting is told in words.
    """
    row = group[0]
    if row.arrival is None:
        yield f"hard since {short_date(row.seen[1])}." if row.seen[1] else "hard."
    elif row.trust.seasons == 0:
        yield _rhythm(group, forecast)
    else:
        yield f"look {_when(row, forecast)}."
        yield _span(group, forecast)
    if row.stage == "hardened":
        yield _then(row, "Look, and if still firm, " if row.arrival is None else "If firm, ")
    yield from _until(group, forecast, odds)


def _when(row: ForecastRow, forecast: GardenForecast) -> str:
    return "today" if row.look_on <= forecast.garden.as_of else weekday_date(row.look_on)


def _rhythm(group: Sequence[ForecastRow], forecast: GardenForecast) -> str:
    """With a species guess only, a rhythm of looks and never a work date."""
    start = min(rhythm_start(row, forecast) for row in group)
    return f"look weekly from {short_date(start)}, for it to {HAS_COME[group[0].stage]}."


def rhythm_start(row: ForecastRow, forecast: GardenForecast) -> date:
    """From when to look weekly, where no date is given."""
    first = row.day(0.1)
    start = row.look_on if first is None else forecast.garden.calendar.date(row.season, first)
    return max(start, forecast.garden.as_of)


def _span(group: Sequence[ForecastRow], forecast: GardenForecast) -> str:
    calendar, today, row = forecast.garden.calendar, forecast.garden.as_of, group[0]
    low, high = _reach(group, 0.1), _reach(group, 0.9)
    state = PROBABLY[row.stage]
    assert row.arrival is not None
    if low is None:
        return f"Hardly {state} this season."
    first = calendar.date(row.season, low)
    if high is None:
        odds = f"{row.arrival.p_not:.0%} odds of not this season"
        return f"Perhaps {state} from {short_date(max(first, today))}; {odds}."
    last = calendar.date(row.season, high)
    if last <= today:
        return f"Very probably {state} by now."
    if first <= today:
        return f"Probably {state} by {short_date(last)}, perhaps already."
    return f"Probably {state} {date_range(first, last)}."


def _then(row: ForecastRow, opening: str) -> str:
    if row.operation:
        return f"{opening}{DOES[row.operation]}."
    refused = _refused(row)
    return f"Do not cut: {refused}." if refused else "Only note it: not being refined."


def _refused(row: ForecastRow) -> str:
    """Why the work that hardening opens is not advised; empty where it is."""
    return row.advice.refused[0].sentence if row.advice and row.operation is None else ""


def _refusal(row: ForecastRow) -> str:
    """The rule behind it; trees that it speaks to alike can share a sentence."""
    return row.advice.refused[0].rule if row.advice and row.operation is None else ""


def _until(group: Sequence[ForecastRow], forecast: GardenForecast, tell_odds: bool) -> Iterator[str]:
    """When to stop, and what waiting costs once the window is open or about to be."""
    row = group[0]
    found = [r.advice for r in group if r.advice is not None]
    if not found or row.operation is None or row.stage != "hardened" or row.trust.seasons == 0:
        return
    last = min((a.last_safe for a in found if a.last_safe), default=None)
    if last is not None:
        yield f"Stop by {short_date(last)}."
        middle = max((r.day(0.5) or math.inf for r in group), default=0.0) if row.arrival else 0.0
        if middle == math.inf or forecast.garden.calendar.date(row.season, middle) > last:
            yield "It is likelier hard after that: then leave it until bare."
    odds = [a.odds for a in found if a.odds is not None]
    if tell_odds and odds and (row.look_on - forecast.garden.as_of).days <= SOON_DAYS:
        today, fortnight, three_weeks = (min(column) for column in zip(*odds, strict=True))
        if three_weeks < WORTH_SAYING:
            yield (
                f"Odds that new growth ripens: {_percent(today)} if cut today, {_percent(fortnight)} in "
                f"two weeks, {_percent(three_weeks)} in three."
            )


def _percent(odds: float) -> str:
    return f"{min(99, max(1, round(100 * odds)))}%"


def later_line(forecast: GardenForecast) -> str:
    """How many trees need no look yet, and from when the first does; empty where none waits."""
    _, later = _told(forecast)
    return _later(later, forecast) if later else ""


def _later(rows: Sequence[ForecastRow], forecast: GardenForecast) -> str:
    soonest = min(rows, key=lambda r: r.look_on)
    trees = len({r.tree.id for r in rows})
    start = soonest.look_on - timedelta(days=14)
    return (
        f"{trees} {'tree needs' if trees == 1 else 'trees need'} no look yet; the first of them, "
        f"{soonest.tree.label}, from about {short_date(start)}."
    )


def _shared_warnings(rows: Sequence[ForecastRow]) -> Iterator[str]:
    by_warning: dict[str, list[str]] = {}
    for row in rows:
        for warning in row.warnings:
            if warning == _refused(row):
                continue  # said already
            by_warning.setdefault(warning, []).append(row.tree.label)
    for warning, labels in by_warning.items():
        yield f"{tree_names(labels)}: {warning}"


def _wrapped(text: str, width: int, hang: str = "  ") -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=hang, break_on_hyphens=False)
