"""The grower's journal: one SQLite file, every change recorded and undoable."""

from data_sources.journal.backup import Backup, list_backups, newest_good
from data_sources.journal.changes import Batch, Change
from data_sources.journal.restoring import Difference, Restore, restore
from data_sources.journal.schema import TABLES, ImportMap, Record
from data_sources.journal.store import FILE_NAME, Journal

__all__ = [
    "FILE_NAME",
    "TABLES",
    "Backup",
    "Batch",
    "Change",
    "Difference",
    "ImportMap",
    "Journal",
    "Record",
    "Restore",
    "list_backups",
    "newest_good",
    "restore",
]
