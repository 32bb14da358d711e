"""Daily weather: our own store, and the files and services that feed it."""
