"""Looks from photos: the camera tells the day, the grower tells tree and stage. Nothing is guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import click

from data_sources.garden import new_id
from data_sources.journal.schema import Record
from data_sources.journal_questions import all_records
from data_sources.look_photos import Photo, find_photos, read_photo
from data_sources.tables.problems import Problem, TableError
from phenology.language.tree_selection import few_labels
from phenology.language.vague_dates import format_day
from phenology.language.words import find_stage
from phenology.model.errors import InputError, StageOrderError
from phenology.model.records import Look, Tree
from phenology.model.stages import Stage
from phenology.records.entries import look_changes, same_entry
from phenology.records.record_book import RecordBook
from reports.cli.common import UNDO, tell
from reports.garden.open_garden import OpenGarden
from reports.views.words import counted

SHOWN = 3


@dataclass(frozen=True)
class Shown:
    """What photos of one day show, as the grower says."""

    day: date
    trees: tuple[Tree, ...]
    stage: Stage
    photos: tuple[Photo, ...]


def take_in(
    garden: OpenGarden,
    paths: Sequence[Path],
    trees: str | None,
    stage: str | None,
    who: str | None,
    *,
    may_ask: bool,
    dry_run: bool,
) -> None:
    """Save a look for every day on which photos were taken, all of them or nothing."""
    photos = [read_photo(path) for path in find_photos(paths)]
    if not photos:
        raise InputError(f"there are no photos in {paths[0]}")
    by_day = _by_day(garden, photos)
    given = find_stage(stage) if stage else None
    named = garden.select(trees) if trees else None
    shown: list[Shown] = []
    if named and given:
        shown = [Shown(day, named, given, tuple(mine)) for day, mine in by_day.items()]
    elif may_ask:
        for day, mine in by_day.items():
            shown += _ask(garden, day, mine, named, given)
    else:
        raise click.UsageError("say what the photos show: --tree hornbeams --stage soft")
    used = counted(len({photo.path for s in shown for photo in s.photos}), "photos")

    def write(plan: tuple[list[Record], str]) -> None:
        if plan[0] and not dry_run:
            garden.save(f"import of {plan[1]}", plan[0])

    def plan() -> tuple[list[Record], str]:
        save, looks, there = _planned(garden, shown, who)
        already = f", {there} there already" if there else ""
        return save, f"{used}: {counted(len(looks), 'new looks')}{already}"

    save, summary = garden.settle(plan, write) or ([], "")
    for s in shown:
        tell(f"{format_day(s.day)}: {few_labels(s.trees)}: {s.stage} ({_names(s.photos)}).")
    if not save or dry_run:
        tell(f"{summary}. {'Only checked; nothing' if save else 'Nothing new; nothing'} was changed.")
    else:
        tell(f"{summary}. {UNDO}")


def _by_day(garden: OpenGarden, photos: Sequence[Photo]) -> dict[date, list[Photo]]:
    """Photos by the day they were taken; those that do not tell it are named and left out."""
    dated = [(photo.taken, photo) for photo in photos if photo.taken is not None]
    late = [
        Problem(
            photo.path.name,
            None,
            None,
            f"read '{day.isoformat()}'",
            "this day is still to come; set the camera's clock and write the look down by hand",
        )
        for day, photo in dated
        if day > garden.today
    ]
    if late:
        raise TableError(late, what="photos")
    left: dict[str, list[str]] = {}
    for photo in photos:
        if photo.taken is None:
            left.setdefault(photo.trouble, []).append(photo.path.name)
    for trouble, names in left.items():
        more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
        tell(f"Note: left out {', '.join(names[:SHOWN])}{more}: {trouble}.")
    if not dated:
        raise InputError(
            "none of these photos tells the day it was taken; "
            'write the looks down with their dates: flushcast look "Elm 1" soft --date "4 July"'
        )
    found: dict[date, list[Photo]] = {}
    for day, photo in sorted(dated, key=lambda pair: (pair[0], pair[1].path.name)):
        found.setdefault(day, []).append(photo)
    return found


def _ask(
    garden: OpenGarden, day: date, photos: list[Photo], trees: tuple[Tree, ...] | None, stage: Stage | None
) -> list[Shown]:
    """Ask what the photos of one day show until the answer is understood; nothing typed leaves them out."""
    wanted = "Trees and stage, such as hornbeams soft; elm firm (empty: none)"
    if trees is not None:
        wanted = "Stage, such as soft (empty: none)"
    elif stage is not None:
        wanted = "Trees, such as hornbeams (empty: none)"
    tell(f"{format_day(day)}: {_names(photos)}")
    while True:
        answer = click.prompt(wanted, default="", show_default=False, err=True)
        try:
            return [
                Shown(day, *_read(garden, piece, trees, stage), tuple(photos))
                for piece in answer.split(";")
                if piece.strip()
            ]
        except InputError as error:
            tell(f"{error}.")


def _read(
    garden: OpenGarden, text: str, trees: tuple[Tree, ...] | None, stage: Stage | None
) -> tuple[tuple[Tree, ...], Stage]:
    if trees is not None:
        return trees, find_stage(text)
    if stage is not None:
        return garden.select(text), stage
    words = text.split()
    if len(words) < 2:
        raise InputError(f"'{text.strip()}' is one word; say which trees and which stage")
    return garden.select_and(words, find_stage)


def _planned(
    garden: OpenGarden, shown: Sequence[Shown], who: str | None
) -> tuple[list[Record], list[Look], int]:
    """What to save, the new looks in it, and how many were there already."""
    records = all_records(garden.journal)
    book = RecordBook(garden.calendar, records.flushes, records.looks, records.works)
    problems: list[Problem] = []
    save: list[Record] = []
    looks: list[Look] = []
    there = 0
    for s in shown:
        for tree in s.trees:
            note = f"photo {_names(s.photos)}"
            look = Look(new_id(), tree.id, "", s.stage, s.day.isoformat(), s.day, s.day, who=who, note=note)
            record = book.around(tree.id, tree.label, s.day)
            if any(same_entry(look, other) for other in record.looks):
                there += 1
                continue
            try:
                changes = look_changes(look, record, garden.calendar, today=garden.today, new_id=new_id)
            except InputError as error:
                problems.append(
                    Problem(_names(s.photos), None, None, f"read '{s.stage}'", _without_flag(error))
                )
                continue
            book.apply(changes)
            save += changes.save
            looks.append(look)
    if problems:
        raise TableError(problems, what="looks")
    return save, looks, there


def _without_flag(error: InputError) -> str:
    """A contradiction, without the flag that only `look` has."""
    if not isinstance(error, StageOrderError):
        return str(error)
    first = str(error).split(". A new flush")[0]
    return f"{first}; a new flush is opened with: flushcast look TREE STAGE --date DATE --new-flush"


def _names(photos: Sequence[Photo]) -> str:
    """File names, the first few."""
    names = [photo.path.name for photo in photos]
    more = [f"{len(names) - SHOWN} more"] if len(names) > SHOWN else []
    return ", ".join([*names[:SHOWN], *more])
