"""Care that work done asks for now, and wire that wants a look, tree by tree."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from phenology.garden import Garden
from phenology.model.records import Look, Tree, Work
from phenology.work.aftercare import Care, aftercare
from phenology.work.wire_watch import WireCheck, wire_check
from reports.text.words import date_range, listed, short_date

WIRE_AHEAD = 14  # wire looks due within this many days are told (ours)


def wire_looks(garden: Garden) -> Iterator[tuple[Tree, WireCheck]]:
    """Every wired tree with its next wire look."""
    looks: dict[str, list[Look]] = {}
    for look in garden.looks:
        looks.setdefault(look.tree_id, []).append(look)
    for tree in _standing(garden):
        works = garden.works_by_tree.get(tree.id, [])
        check = wire_check(works, looks.get(tree.id, []), garden.as_of, garden.calendar, vigour=tree.vigour)
        if check is not None:
            yield tree, check


def care_ahead(garden: Garden) -> Iterator[tuple[Tree, Work, Care]]:
    """Care of every standing tree that is not over yet, with the work that asks for it."""
    for tree in _standing(garden):
        for work in garden.works_by_tree.get(tree.id, []):
            for care in aftercare(work, tree, garden.species_of(tree), garden.aim_of(tree)):
                if care.last >= garden.as_of:
                    yield tree, work, care


def care_lines(garden: Garden) -> list[str]:
    """What is due today, alike trees together."""
    by_care: dict[str, tuple[list[str], list[date]]] = {}
    for tree, _, care in care_ahead(garden):
        if care.first <= garden.as_of:
            labels, ends = by_care.setdefault(care.sentence, ([], []))
            ends.append(care.last)
            if tree.label not in labels:
                labels.append(tree.label)
    lines = [
        f"{listed(labels)}: {sentence} (until {date_range(min(ends), max(ends))})."
        for sentence, (labels, ends) in sorted(by_care.items(), key=lambda item: min(item[1][1]))
    ]
    for tree, check in wire_looks(garden):
        if check.due <= garden.as_of + timedelta(days=WIRE_AHEAD):
            when = f"look by {short_date(check.due)}" if check.due >= garden.as_of else "look now"
            lines.append(f"{tree.label}: {check.sentence} ({when}).")
    return lines


def _standing(garden: Garden) -> list[Tree]:
    return [t for t in garden.trees if t.retired is None or t.retired > garden.as_of]
