"""Adding, editing, moving and retiring trees, one or many at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from data_sources.journal.schema import Record
from data_sources.tables.import_draft import species_named
from phenology.language.tree_selection import place_of, plain_spaces
from phenology.model.errors import InputError
from phenology.model.records import Aim, GrowthAim, Stand, Tree
from reports.cli.writing.desk import UNDO, Desk, shown_date, tell
from reports.cli.writing.place_entry import find_place


def add(
    desk: Desk,
    label: str,
    species: str,
    place: str | None,
    aim: str | None,
    since: str | None,
    given: Mapping[str, str | None],
) -> None:
    """Add a tree."""
    latin = species_named(species, desk.catalogue)
    start = desk.day(since) if since else None
    where = find_place(desk, place) if place else desk.places[0]
    tree = replace(Tree(desk.new_id(), _free_label(desk, label), latin), **_values(desk, given))
    records: list[Record] = [tree, Stand(desk.new_id(), tree.id, where.id, start)]
    if aim:
        records.append(Aim(desk.new_id(), tree.id, GrowthAim(aim), start))
    desk.save(f"added tree {tree.label} ({latin})", records)
    known = "" if latin in desk.catalogue else " Not in the catalogue: it starts from a neutral guess."
    tell(f"{tree.label}: {latin}, on {where.name}.{known} {UNDO}")


def edit(
    desk: Desk, text: str, label: str | None, species: str | None, given: Mapping[str, str | None]
) -> None:
    """Change trees."""
    trees = desk.select(text)
    values = _values(desk, given)
    if label is not None:
        if len(trees) != 1:
            raise InputError(f"--label names one tree, but '{text}' is {desk.names(trees)}")
        values["label"] = _free_label(desk, label, but=trees[0])
    if species is not None:
        values["species"] = species_named(species, desk.catalogue)
    if not values:
        raise InputError(
            "nothing to change: give --label, --species, --pot, --last-repot, --vigour, --grown-for or --note"
        )
    changed = [replace(tree, **values) for tree in trees]
    what = ", ".join(
        f"{name.replace('_', ' ')} {value if value is not None else 'none'}" for name, value in values.items()
    )
    desk.save(f"changed {desk.names(trees)}: {what}", changed)
    tell(f"{desk.names(trees)}: {what}. {UNDO}")


def move(desk: Desk, text: str, place: str, when: str | None) -> None:
    """Trees stand elsewhere from a day on."""
    where = find_place(desk, place)
    day = desk.day(when or "today")
    trees = desk.select(text, day)
    stay = [t for t in trees if place_of(t.id, desk.stands, day) == where.id]
    going = [t for t in trees if t not in stay]
    if not going:
        raise InputError(
            f"{desk.names(trees)} on {shown_date(day, day, desk.today)}: on {where.name} already"
        )
    same_day = {s.tree_id: s for s in desk.stands if s.from_date == day}
    records = [
        replace(same_day[t.id], place_id=where.id)
        if t.id in same_day
        else Stand(desk.new_id(), t.id, where.id, day)
        for t in going
    ]
    shown = shown_date(day, day, desk.today)
    desk.save(f"moved {desk.names(going)} to {where.name} on {shown}", records)
    tell(f"{desk.names(going)}: on {where.name} from {shown}. {UNDO}")


def set_aim(desk: Desk, text: str, aim: str, when: str | None) -> None:
    """What trees are grown towards from a day on."""
    trees = desk.select(text)
    day = desk.day(when or "today")
    there = {a.tree_id: a for a in desk.journal.aims() if a.from_date == day}
    records = [
        replace(there[t.id], aim=GrowthAim(aim))
        if t.id in there
        else Aim(desk.new_id(), t.id, GrowthAim(aim), day)
        for t in trees
    ]
    shown = shown_date(day, day, desk.today)
    desk.save(f"aim of {desk.names(trees)}: {aim} from {shown}", records)
    tell(f"{desk.names(trees)}: {aim} from {shown}. {UNDO}")


def retire(desk: Desk, text: str, when: str | None, *, back: bool) -> None:
    """Trees leave the garden, or come back."""
    trees = desk.select(text)
    day = None if back else desk.day(when or "today")
    changed = [replace(t, retired=day) for t in trees]
    if changed == list(trees):
        raise InputError(f"{desk.names(trees)}: {'not retired' if back else 'retired already'}")
    what = "back in the garden" if day is None else f"retired from {shown_date(day, day, desk.today)}"
    desk.save(f"{desk.names(trees)}: {what}", changed)
    tell(f"{desk.names(trees)}: {what}. {UNDO}")


def remove(desk: Desk, text: str) -> None:
    """Remove a tree without records."""
    trees = desk.select(text)
    if len(trees) != 1:
        raise InputError(f"'{text}' is {desk.names(trees)}; remove one tree at a time")
    tree = trees[0]
    journal = desk.journal
    if journal.looks(tree.id) or journal.works(tree.id) or journal.flushes(tree.id):
        raise InputError(
            f"{tree.label} has looks or work, which teach; retire it instead: flushcast tree retire"
        )
    own: Sequence[Record] = [*journal.stands(tree.id), *journal.aims(tree.id), tree]
    desk.save(f"removed tree {tree.label}", [], own)
    tell(f"{tree.label}: removed. {UNDO}")


def _values(desk: Desk, given: Mapping[str, str | None]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name, text in given.items():
        if text is None:
            continue
        value: str | date | None = plain_spaces(text) or None
        if name == "last_repot" and value:
            value = desk.day(text)
        values[name] = value
    return values


def _free_label(desk: Desk, label: str, but: Tree | None = None) -> str:
    wanted = plain_spaces(label)
    if not wanted:
        raise InputError("a tree needs a label")
    if any(t != but and t.label.casefold() == wanted.casefold() for t in desk.trees):
        raise InputError(f"there is a tree called '{wanted}' already")
    return wanted
