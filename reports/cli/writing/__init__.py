"""Commands that write in the journal: look, work, import, undo."""
