"""What changed since the last forecast, in sentences."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date

from phenology.advice.forecast_change import Change
from reports.text.words import short_date, tree_names

SAID = {"budbreak": "bud break", "extended": "shoots stopped", "hardened": "hard"}
NOT_YET = {
    "budbreak": "buds had not broken",
    "extended": "shoots had not stopped",
    "hardened": "not yet hard",
}
FIRST_TOLD = 8  # more lines than this are counted, not told


def changes_text(changes: Sequence[Change], since: date, width: int = 80) -> str:
    """Misses first, then dates that moved; trees that changed alike share a line."""
    if not changes:
        return f"Since {short_date(since)}: nothing moved by more than a few days."
    groups: dict[tuple[object, ...], list[Change]] = {}
    for change in changes:
        key = (change.stage, change.expected, change.now, change.missed, change.why, change.not_yet)
        groups.setdefault(key, []).append(change)
    lines = [f"Since {short_date(since)}:"]
    for group in list(groups.values())[:FIRST_TOLD]:
        lines += textwrap.wrap(_sentence(group), width, subsequent_indent="  ")
    if len(groups) > FIRST_TOLD:
        lines.append(f"And {len(groups) - FIRST_TOLD} smaller changes.")
    return "\n".join(lines)


def _sentence(group: Sequence[Change]) -> str:
    change = group[0]
    names = tree_names([c.label for c in group])
    stage, days = SAID[change.stage], abs(change.days)
    off = f"{days} {'day' if days == 1 else 'days'} {'later' if change.days > 0 else 'earlier'}"
    if change.missed:
        than = f"than the {short_date(change.expected)} forecast, outside its range"
        return f"{names}: {stage} at least {off} {than}. The looks now count."
    if change.not_yet is not None:
        late = (change.not_yet - change.expected).days
        return (
            f"{names}: {NOT_YET[change.stage]} on {short_date(change.not_yet)}, {late} days after the "
            f"{short_date(change.expected)} forecast, outside its range; now about {short_date(change.now)}."
        )
    cause = {"weather": "the weather", "looks": "your looks"}[change.why]
    moved = f"about {short_date(change.now)} instead of {short_date(change.expected)}"
    return f"{names}: {stage} {moved}, {off}, moved by {cause}."
