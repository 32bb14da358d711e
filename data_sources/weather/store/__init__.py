"""The accepted daily weather of a garden: one SQLite file."""
