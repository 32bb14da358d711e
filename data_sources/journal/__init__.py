"""The grower's journal: one SQLite file, every change recorded and undoable."""
