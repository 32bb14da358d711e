"""A garden is a folder: its settings in `garden.toml`, its journal, and the weather beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from data_sources.disk.whole_files import part_of, replace_text
from data_sources.garden_settings import (
    SETTINGS_NAME,
    GardenSettings,
    check_settings,
    read_settings,
    read_text,
    rewritten,
    write_settings,
)
from data_sources.journal.schema import Record
from data_sources.journal.store import FILE_NAME as JOURNAL_NAME
from data_sources.journal.store import Journal
from data_sources.sqlite.backups import list_backups
from data_sources.sqlite.connection import place_new, remove
from data_sources.sqlite.errors import plain_errors
from phenology.model.errors import StoreError
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar

__all__ = [
    "JOURNAL_NAME",
    "SETTINGS_NAME",
    "GardenSettings",
    "calendar_of",
    "check_settings",
    "create_garden",
    "new_id",
    "open_journal",
    "read_settings",
    "write_settings",
]


def create_garden(
    folder: Path,
    settings: GardenSettings,
    records: Iterable[Record],
    label: str,
    *,
    device: str | None = None,
) -> None:
    """Make a garden: its settings, and a journal with the first records in one batch. All or nothing.

    The folder is made when missing; records may come in any order, and history says `label` of them. Raises
    `StoreError` if there is a garden already, or the folder cannot be made or written, `InputError` if a
    setting or record cannot be stored.
    """
    settings = check_settings(settings)
    journal = folder / JOURNAL_NAME
    if journal.exists():
        raise StoreError(f"there is a garden in {folder} already; nothing was changed.")
    if list_backups(journal):
        raise StoreError(
            f"{folder} has no journal but holds backups of one: 'flushcast restore' shows what they would "
            "bring back; nothing was changed."
        )
    part = part_of(journal)
    made: list[Path] = []
    with plain_errors(folder, "making the garden in", kept="Nothing was created."):
        try:
            for missing in reversed([p for p in (folder, *folder.parents) if not p.exists()]):
                missing.mkdir(mode=0o700 if missing == folder else 0o777)
                made.append(missing)
            part.unlink(missing_ok=True)
            with Journal.open(part, create=True, device=device) as new, new.batch(label) as batch:
                for record in records:
                    batch.insert(record)
            # The journal comes last: a garden.toml alone, left by a crash, is no garden yet.
            before = read_text(folder / SETTINGS_NAME)
            replace_text(folder / SETTINGS_NAME, rewritten(folder / SETTINGS_NAME, settings))
            try:
                if not place_new(part, journal):
                    raise StoreError(f"another program has just made a garden in {folder}.")
            except BaseException:
                if not journal.exists():
                    replace_text(folder / SETTINGS_NAME, before)
                raise
        except BaseException:
            remove(part)
            for path in reversed(made):
                with suppress(OSError):
                    path.rmdir()
            raise


def open_journal(folder: Path, *, device: str | None = None) -> Journal:
    """The journal of the garden in a folder; errors as `Journal.open`."""
    return Journal.open(folder / JOURNAL_NAME, device=device)


def calendar_of(settings: GardenSettings, places: Sequence[Place]) -> SeasonCalendar:
    """The garden's own start of season, or the usual one of its first place's hemisphere."""
    if settings.season_start:
        month, _, day = settings.season_start.partition("-")
        return SeasonCalendar(int(month), int(day))
    return SeasonCalendar.for_latitude(places[0].latitude if places else 0.0)


def new_id() -> str:
    """An id for a new record."""
    return str(uuid4())
