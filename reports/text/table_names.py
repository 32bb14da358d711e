"""What the journal's tables hold, as growers say it."""

from __future__ import annotations

TABLE_NAMES = {
    "place": "places",
    "tree": "trees",
    "stand": "standings",
    "aim": "aims",
    "work": "works",
    "flush": "flushes",
    "look": "looks",
    "import_map": "column readings",
    "shared_file": "calibrations of others",
}
