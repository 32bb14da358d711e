"""The `flushcast` command line."""
