"""The steps that brought the journal's tables to their present shape; see `data_sources.sqlite.schema`."""

from __future__ import annotations

from data_sources.sqlite.schema import Migration

_FIRST_SHAPE = (
    """CREATE TABLE migration (version INTEGER PRIMARY KEY, name TEXT NOT NULL, at TEXT NOT NULL)""",
    """CREATE TABLE place (
        id TEXT PRIMARY KEY NOT NULL, name TEXT NOT NULL,
        latitude REAL NOT NULL CHECK (latitude BETWEEN -90 AND 90),
        longitude REAL NOT NULL CHECK (longitude BETWEEN -180 AND 180),
        elevation REAL, timezone TEXT, cover TEXT NOT NULL, sun TEXT, note TEXT)""",
    """CREATE TABLE tree (
        id TEXT PRIMARY KEY NOT NULL, label TEXT NOT NULL, species TEXT NOT NULL, pot TEXT, last_repot TEXT,
        vigour TEXT, grown_for TEXT, retired TEXT, note TEXT)""",
    """CREATE TABLE stand (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id),
        place_id TEXT NOT NULL REFERENCES place (id), from_date TEXT)""",
    """CREATE TABLE aim (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id),
        aim TEXT NOT NULL CHECK (aim IN ('building', 'refining', 'resting')), from_date TEXT)""",
    """CREATE TABLE work (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id), operation TEXT NOT NULL,
        date_text TEXT NOT NULL, earliest TEXT NOT NULL, latest TEXT NOT NULL, part TEXT,
        early INTEGER NOT NULL CHECK (early IN (0, 1)), who TEXT, note TEXT,
        CHECK (earliest <= latest))""",
    """CREATE TABLE flush (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id), season INTEGER NOT NULL,
        started_by TEXT NOT NULL CHECK (started_by IN ('season', 'seen', 'work')), started_on TEXT,
        work_id TEXT REFERENCES work (id), cause TEXT, part TEXT, ended_on TEXT, ended_why TEXT)""",
    """CREATE TABLE look (
        id TEXT PRIMARY KEY NOT NULL, tree_id TEXT NOT NULL REFERENCES tree (id),
        flush_id TEXT NOT NULL REFERENCES flush (id),
        stage TEXT NOT NULL CHECK (stage IN ('dormant', 'swelling', 'budbreak', 'extending', 'extended',
            'hardened', 'turning', 'bare')),
        date_text TEXT NOT NULL, earliest TEXT NOT NULL, latest TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('seen', 'happened')),
        checked INTEGER NOT NULL CHECK (checked IN (0, 1)), lost INTEGER NOT NULL CHECK (lost IN (0, 1)),
        part TEXT, leaves TEXT, who TEXT, note TEXT,
        CHECK (earliest <= latest))""",
    """CREATE TABLE import_map (
        id TEXT PRIMARY KEY NOT NULL, headers TEXT NOT NULL, target TEXT NOT NULL, mapping TEXT NOT NULL,
        options TEXT NOT NULL)""",
    """CREATE TABLE change (
        seq INTEGER PRIMARY KEY AUTOINCREMENT, batch TEXT NOT NULL, at TEXT NOT NULL, device TEXT NOT NULL,
        label TEXT NOT NULL, table_name TEXT NOT NULL, row_id TEXT NOT NULL, tree_id TEXT,
        before TEXT, after TEXT, undoes TEXT, checksum INTEGER NOT NULL)""",
    "CREATE INDEX stand_of_tree ON stand (tree_id)",
    "CREATE INDEX stand_in_place ON stand (place_id)",
    "CREATE INDEX aim_of_tree ON aim (tree_id)",
    "CREATE INDEX work_of_tree ON work (tree_id, latest)",
    "CREATE INDEX flush_of_tree ON flush (tree_id, season)",
    "CREATE INDEX flush_of_work ON flush (work_id)",
    "CREATE INDEX look_of_tree ON look (tree_id, latest)",
    "CREATE INDEX look_of_flush ON look (flush_id)",
    "CREATE INDEX look_by_day ON look (latest)",
    "CREATE INDEX change_of_batch ON change (batch)",
    "CREATE INDEX change_of_row ON change (table_name, row_id)",
    "CREATE INDEX change_of_tree ON change (tree_id)",
    """CREATE TRIGGER change_is_never_edited BEFORE UPDATE ON change
        BEGIN SELECT RAISE(ABORT, 'the change table is append-only'); END""",
    """CREATE TRIGGER change_is_never_deleted BEFORE DELETE ON change
        BEGIN SELECT RAISE(ABORT, 'the change table is append-only'); END""",
)

_SHARED_FILES = (
    """CREATE TABLE shared_file (id TEXT PRIMARY KEY NOT NULL, label TEXT NOT NULL, content TEXT NOT NULL)""",
)

STEPS = (
    Migration("places, trees, flushes, looks, work and their changes", _FIRST_SHAPE),
    Migration("calibrations of other gardens", _SHARED_FILES),
)
