"""A whole garden as files, and a garden made of them again: records, history, settings, weather, photos."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import write_whole
from data_sources.garden import SETTINGS_NAME, GardenSettings, create_garden, read_settings
from data_sources.garden_settings import without_secrets
from data_sources.journal.schema import Record, decode, encode
from data_sources.journal.store import CHANGE_FIELDS, FILE_NAME, Journal
from data_sources.journal_questions import all_records
from data_sources.look_photos import FOLDER as PHOTOS
from data_sources.look_photos import copy_photos, photo_ids
from data_sources.sqlite.connection import remove
from data_sources.sqlite.errors import plain_errors
from data_sources.tables.cells import unmark, write_csv
from data_sources.tables.garden_tables import FILES, read_exported, table_of_headers, write_tables, wrong_in
from data_sources.tables.problems import Problem, TableError
from data_sources.tables.text_table import read_table
from data_sources.weather.store.weather_store import FILE_NAME as WEATHER_STORE
from data_sources.weather_export import DOUBTED, add_weather, export_weather, read_weather_export
from data_sources.weather_export import INDEX as WEATHER_INDEX
from phenology.model.errors import InputError, StoreError
from phenology.model.season import SeasonCalendar

CHANGES_FILE = "changes.csv"
SINCE = ("shared_file",)  # tables that exports of an older version lack
EXPORT_FILES = (*FILES.values(), CHANGES_FILE, SETTINGS_NAME, WEATHER_INDEX, DOUBTED)


def export_garden(
    folder: Path, journal: Journal, settings_file: Path, calendar: SeasonCalendar, *, replace: bool = False
) -> dict[str, int]:
    """Write a garden's tables, history, settings and weather into a folder; returns rows by file.

    The weather is that of the store beside the settings; its days are counted under `weather.csv`. Raises
    `StoreError` if files of an export are there already (unless `replace`), or the folder cannot be written.
    """
    there = [name for name in EXPORT_FILES if (folder / name).exists()]
    if there and not replace:
        raise StoreError(f"{folder} holds {there[0]} already; export to another folder, or add --replace")
    if (folder / FILE_NAME).exists():
        raise StoreError(f"{folder} is a garden's own folder; export to another one")
    with journal.snapshot(), plain_errors(folder, "exporting to", kept="The garden is untouched."):
        folder.mkdir(parents=True, exist_ok=True)
        counts = write_tables(folder, all_records(journal), calendar)
        counts[CHANGES_FILE] = write_csv(folder / CHANGES_FILE, CHANGE_FIELDS, _change_rows(journal))
        write_whole(folder / SETTINGS_NAME, without_secrets(settings_file).encode("utf-8"))
        counts[WEATHER_INDEX] = export_weather(folder, settings_file.parent, journal.places())
        copy_photos(settings_file.parent / PHOTOS, folder / PHOTOS)
        counts[PHOTOS] = len(photo_ids(folder / PHOTOS))
    return counts


def rebuild_garden(folder: Path, export: Path) -> dict[str, int]:
    """Make a garden exactly as an export has it, history and weather included; returns rows by table.

    Raises `InputError` if the export lacks a table or a cell cannot be read; nothing is made. Raises
    `StoreError` if there is a garden already.
    """
    missing = [n for t, n in FILES.items() if t not in SINCE and not (export / n).is_file()]
    if missing:
        raise InputError(f"{export} is no whole export: it lacks {', '.join(missing)}")
    records: list[Record] = []
    counts: dict[str, int] = {}
    problems: list[Problem] = []
    for table, name in FILES.items():
        if not (export / name).is_file():
            continue  # of a version that had no such table
        found = read_table(export / name)
        if table_of_headers(found.keys) != table:
            raise InputError(f"{export / name} has not the columns of an export")
        rows = read_exported(found, table, problems, all_have_ids=True)
        records += [record for _, record in rows]
        counts[name.removesuffix(".csv")] = len(rows)
    if problems:
        raise TableError(problems)
    changes = list(_changes(export / CHANGES_FILE)) if (export / CHANGES_FILE).is_file() else []
    weather = read_weather_export(export)
    settings = read_settings(export) if (export / SETTINGS_NAME).is_file() else GardenSettings()
    create_garden(folder, settings, [], "made the garden")
    try:
        with Journal.open(folder / FILE_NAME) as journal:
            journal.rebuild(records, changes)
        days = sum(report.offered for report in add_weather(folder, weather, datetime.now(UTC)))
        copy_photos(export / PHOTOS, folder / PHOTOS)
    except BaseException:
        for name in (FILE_NAME, SETTINGS_NAME, WEATHER_STORE):
            remove(folder / name)
        raise
    return counts | {"days": days}


def _change_rows(journal: Journal) -> Iterator[list[str | None]]:
    """The history as text; the names of the machines that wrote stay here, numbers tell them apart."""
    machines: dict[str, str] = {}
    for row in journal.export_changes():
        shown = row | {"device": machines.setdefault(row["device"], f"device {len(machines) + 1}")}
        yield [None if shown[name] is None else str(shown[name]) for name in CHANGE_FIELDS]


def _changes(path: Path) -> Iterator[dict[str, Any]]:
    table, batches = read_table(path), set[str]()
    if set(CHANGE_FIELDS) - set(table.keys):
        raise InputError(f"{path} has not the columns of an export")
    if table.problems:
        raise TableError(table.problems)
    for line, cells in table.rows:
        texts = dict(zip(table.keys, cells, strict=True))
        row: dict[str, Any] = {n: None if texts[n] == "" else unmark(texts[n]) for n in CHANGE_FIELDS}
        try:
            row["seq"] = int(row["seq"])
            _check_change(row, batches)
        except (TypeError, ValueError, KeyError, RecursionError) as error:
            why = f"this is no row of an exported history ({str(error)[:80]})"
            raise TableError([table.problem(line, None, why, "export again")]) from None
        batches.add(row["batch"])
        yield row


def _check_change(row: dict[str, Any], batches: set[str]) -> None:
    """Raise where a row of the history is none that a flushcast wrote: `undo` stands on every one of them."""
    if datetime.fromisoformat(row["at"]).tzinfo is None:
        raise ValueError("no time zone")
    if row["undoes"] is not None and row["undoes"] not in batches:
        raise ValueError("it takes back what is not there")
    if not 0 < row["seq"] < 2**63 or (row["before"] is None and row["after"] is None):
        raise ValueError("it changes nothing")
    for side in (row["before"], row["after"]):
        if side is not None:
            cells = json.loads(side)
            if not isinstance(cells, dict):
                raise ValueError("it holds no row")
            record = decode(row["table_name"], cells)
            if encode(record)["id"] != row["row_id"]:
                raise ValueError("it speaks of another row")
            if wrong := wrong_in(record):
                raise ValueError(wrong)
