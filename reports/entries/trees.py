"""The trees of a garden: what adding, changing, moving, retiring or removing them changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from data_sources.garden import new_id
from data_sources.journal.schema import Record
from data_sources.tables.import_draft import species_named
from phenology.language.plain_names import name_key, plain_name
from phenology.language.tree_selection import few_labels, place_of
from phenology.model.errors import InputError
from phenology.model.records import Aim, GrowthAim, Stand, Tree
from reports.entries.merging import Edit, Readers, differences, merged, text_field
from reports.garden.open_garden import OpenGarden
from reports.views.words import shown_date

READERS: Readers = {
    "label": lambda garden, text: {"label": plain_name(text)},
    "species": lambda garden, text: {"species": species_named(text, garden.catalogue)},
    "pot": text_field("pot"),
    "last_repot": lambda garden, text: {"last_repot": garden.day(text) if text.strip() else None},
    "vigour": text_field("vigour"),
    "grown_for": text_field("grown_for"),
    "note": text_field("note"),
}


def add_tree(
    garden: OpenGarden, typed: Mapping[str, str | None], place: str | None, aim: str | None, since: str | None
) -> Edit:
    """A new tree, where it stands and what it is grown towards; `since` when, else from the beginning."""
    tree = merged(garden, Tree(new_id(), "", ""), typed, READERS)
    _check_free(garden, tree)
    start = garden.day(since) if since else None
    where = garden.place(place) if place else garden.some_places[0]
    records: list[Record] = [tree, Stand(new_id(), tree.id, where.id, start)]
    if aim:
        records.append(Aim(new_id(), tree.id, GrowthAim(aim), start))
    new = "" if tree.species in garden.catalogue else " Not in the catalogue: it starts from a neutral guess."
    said = f"{tree.label}: {tree.species}, on {where.name}.{new}"
    return Edit(said, records, label=f"added tree {tree.label} ({tree.species})")


def edit_trees(garden: OpenGarden, trees: str, typed: Mapping[str, str | None]) -> Edit:
    """One tree changed or many; what was not typed (None) stays."""
    chosen = garden.select(trees)
    if typed["label"] is not None and len(chosen) > 1:
        raise InputError(f"--label names one tree, but '{trees}' is {few_labels(chosen)}")
    if not any(text is not None for text in typed.values()):
        raise InputError(
            "nothing to change: give --label, --species, --pot, --last-repot, --vigour, --grown-for or --note"
        )
    changed = [merged(garden, tree, typed, READERS) for tree in chosen]
    if typed["label"] is not None:
        _check_free(garden, changed[0])
    what = next(filter(None, map(differences, chosen, changed)), "as before")
    said = f"{few_labels(chosen)}: {what}"
    return Edit(said, changed, label=f"changed {said}")


def move_trees(garden: OpenGarden, trees: str, place: str, when: str | None) -> Edit:
    """Trees stand elsewhere from a day on."""
    where, day = garden.place(place), garden.day(when)
    chosen = garden.select(trees, day)
    going = [tree for tree in chosen if place_of(tree.id, garden.stands, day) != where.id]
    if not going:
        raise InputError(f"{few_labels(chosen)} on {_shown(garden, day)}: on {where.name} already")
    there = {stand.tree_id: stand for stand in garden.stands if stand.from_date == day}
    records = [
        replace(there.get(tree.id) or Stand(new_id(), tree.id, "", day), place_id=where.id) for tree in going
    ]
    moved = f"{few_labels(going)} to {where.name} on {_shown(garden, day)}"
    said = f"{few_labels(going)}: on {where.name} from {_shown(garden, day)}"
    return Edit(said, records, label=f"moved {moved}")


def aim_trees(garden: OpenGarden, trees: str, aim: str, when: str | None) -> Edit:
    """What trees are grown towards from a day on."""
    chosen, day, towards = garden.select(trees), garden.day(when), GrowthAim(aim)
    there = {found.tree_id: found for found in garden.journal.aims() if found.from_date == day}
    records = [
        replace(there.get(tree.id) or Aim(new_id(), tree.id, towards, day), aim=towards) for tree in chosen
    ]
    said = f"{few_labels(chosen)}: {aim} from {_shown(garden, day)}"
    return Edit(said, records, label=f"aim of {said}")


def retire_trees(garden: OpenGarden, trees: str, when: str | None, *, back: bool) -> Edit:
    """Trees leave the garden on a day, or come back; their records stay."""
    chosen = garden.select(trees)
    day = None if back else garden.day(when)
    changed = [replace(tree, retired=day) for tree in chosen]
    if changed == list(chosen):
        raise InputError(f"{few_labels(chosen)}: {'not retired' if back else 'retired already'}")
    what = "back in the garden" if day is None else f"retired from {_shown(garden, day)}"
    return Edit(f"{few_labels(chosen)}: {what}", changed)


def remove_tree(garden: OpenGarden, tree: str) -> Edit:
    """A tree taken out that was added by mistake and has no looks or work."""
    one, journal = garden.select_one(tree), garden.journal
    if journal.looks(one.id) or journal.works(one.id) or journal.flushes(one.id):
        raise InputError(
            f"{one.label} has looks or work, which teach; retire it instead: flushcast tree retire"
        )
    own: Sequence[Record] = [*journal.stands(one.id), *journal.aims(one.id), one]
    return Edit(f"{one.label}: removed", [], own, label=f"removed tree {one.label}")


def _check_free(garden: OpenGarden, tree: Tree) -> None:
    if not tree.label:
        raise InputError("a tree needs a label")
    if any(t.id != tree.id and name_key(t.label) == name_key(tree.label) for t in garden.trees):
        raise InputError(f"there is a tree called '{tree.label}' already")


def _shown(garden: OpenGarden, day: date) -> str:
    return shown_date(day, day, garden.today)
