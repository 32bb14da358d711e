"""Care that is due beside the flushes themselves, in words: the same on page and terminal."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date, timedelta

from phenology.advice.agenda import Agenda
from phenology.advice.care import WIRE
from reports.text.words import capital, date_range, short_date, tree_names

WIRE_AHEAD = 14  # wire looks due within this many days are told (ours)


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
