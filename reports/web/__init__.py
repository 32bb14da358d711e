"""The garden as pages for the phone at the bench, and as JSON for home automation; `flushcast serve`."""
