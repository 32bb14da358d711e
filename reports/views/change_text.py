"""What changed since an earlier forecast, and what care is due, in sentences for terminal and page."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path

from data_sources.kept_notes import keep_issued, read_issued
from phenology.advice.agenda import Agenda
from phenology.advice.care import WIRE
from phenology.advice.forecast_change import STOP, ForecastChange, changed_since, issued_by, misses
from phenology.advice.forecast_rows import GardenForecast
from reports.views.words import capital, counted, date_range, short_date, tree_names, wrapped

WIRE_AHEAD = 14  # wire looks due within this many days are told (ours)
COME = {"budbreak": "bud break", "extended": "shoots stopped", "hardened": "hard"}
NOT_YET = {
    "budbreak": "buds had not broken",
    "extended": "shoots had not stopped",
    "hardened": "not yet hard",
}
CAUSE = {"weather": " by the weather", "looks": " by your looks", "": ""}
FIRST_TOLD = 8  # more lines than this are counted, not told


def care_of(agenda: Agenda, names: Callable[[Sequence[str]], str] = tree_names) -> list[tuple[str, str]]:
    """What is due now beside today's looks: alike trees, what to do until when; then wire to look at soon."""
    garden = agenda.garden
    looked_for = {(row.tree.id, visit.look_for) for row in agenda.rows for visit in row.presses}
    by_care: dict[str, tuple[list[str], list[date]]] = {}
    wire = []
    for care in agenda.care:
        if (care.tree.id, care.what) in looked_for:
            continue
        if care.care == WIRE:
            if care.first <= garden.as_of + timedelta(days=WIRE_AHEAD):
                when = f"look by {short_date(care.first)}" if care.first >= garden.as_of else "look now"
                wire.append((care.tree.label, f"{capital(care.what)} ({when})."))
        elif care.due:
            labels, ends = by_care.setdefault(care.what, ([], []))
            ends.append(care.last)
            if care.tree.label not in labels:
                labels.append(care.tree.label)
    kept = sorted(by_care.items(), key=lambda item: min(item[1][1]))
    return [
        (
            names(sorted(labels, key=as_counted)),
            f"{capital(what)} (until {date_range(min(ends), max(ends))}).",
        )
        for what, (labels, ends) in kept
    ] + wire


def as_counted(label: str) -> list[tuple[int, str]]:
    """Order of labels in which 2 comes before 10."""
    parts = re.split(r"(\d+)", label)
    return [(int(part), "") if part.isdigit() else (-1, part) for part in parts]


def misses_text(folder: Path, forecast: GardenForecast, width: int = 80) -> str:
    """Misses since an earlier forecast in sentences, empty where there are none; keeps what this one says.

    The earlier one is the newest issued before the last look and a week ago at least, or else the oldest
    that is remembered of this season.
    """
    garden = forecast.garden
    issued = {
        day: stages
        for day, stages in read_issued(folder).items()
        if day < garden.as_of and garden.calendar.season_of(day) == garden.season
    }
    keep_issued(folder, garden.as_of, issued_by(forecast))
    if not issued:
        return ""
    since = max([day for day in issued if day <= changed_since(garden)] or [min(issued)])
    found = misses(issued[since], forecast)
    return changes_text(found, since, width) if found else ""


def changes_text(changes: Sequence[ForecastChange], since: date, width: int = 80) -> str:
    """Misses first, then dates that moved; trees that changed alike share a line."""
    if not changes:
        return "\n".join(wrapped(f"Since {short_date(since)}: nothing moved by more than a few days.", width))
    lines = [f"Since {short_date(since)}:"]
    for line in moved_lines(changes):
        lines += wrapped(line, width)
    return "\n".join(lines)


def moved_lines(changes: Sequence[ForecastChange]) -> Iterator[str]:
    """A line for trees that changed alike, many cut short; then the stop dates that moved."""
    groups: dict[tuple[object, ...], list[ForecastChange]] = {}
    for change in changes:
        key = (change.stage, change.expected, change.now, change.missed, change.why, change.not_yet)
        groups.setdefault(key, []).append(change)
    told = [group for group in groups.values() if group[0].stage != STOP]
    for group in told[:FIRST_TOLD]:
        yield f"{tree_names([c.label for c in group])}: {_words(group[0])}"
    if len(told) > FIRST_TOLD:
        yield f"And {len(told) - FIRST_TOLD} smaller changes."
    for why, cause in CAUSE.items():
        if moved := stops_text([c for c in changes if c.stage == STOP and c.why == why]):
            yield f"Stop dates moved{cause}: {moved}."


def stops_text(changes: Sequence[ForecastChange]) -> str:
    """Stop dates that moved, alike trees together: "Elm to 26 Jul from 28 Jul"."""
    groups: dict[tuple[date, date], list[str]] = {}
    for change in sorted(changes, key=lambda c: (c.now, c.label)):
        groups.setdefault((change.now, change.expected), []).append(change.label)
    return "; ".join(
        f"{tree_names(labels)} to {short_date(now)} from {short_date(then)}"
        for (now, then), labels in groups.items()
    )


def _words(change: ForecastChange) -> str:
    days, expected, now = abs(change.days), short_date(change.expected), short_date(change.now)
    off = f"{counted(days, 'days')} {'later' if change.days > 0 else 'earlier'}"
    if change.missed:
        than = f"than the {expected} forecast, outside its range"
        return f"{COME[change.stage]} at least {off} {than}. The looks now count."
    if change.not_yet is not None:
        late = (change.not_yet - change.expected).days
        return (
            f"{NOT_YET[change.stage]} on {short_date(change.not_yet)}, {counted(late, 'days')} after the "
            f"{expected} forecast, outside its range; now about {now}."
        )
    moved = f", moved{CAUSE[change.why]}" if change.why else ""
    return f"{COME[change.stage]} about {now} instead of {expected}, {off}{moved}."
