"""The grower's journal: one SQLite file, every change recorded and undoable."""

from data_sources.journal.changes import Batch, Change
from data_sources.journal.restoring import Difference, Restore, restore
from data_sources.journal.schema import TABLES, ImportMap, Record, SharedFile
from data_sources.journal.store import FILE_NAME, Journal
from data_sources.sqlite.backups import Backup, list_backups

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
    "SharedFile",
    "list_backups",
    "restore",
]
