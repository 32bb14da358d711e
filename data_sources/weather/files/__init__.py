"""Weather files: station tables, thermometer logs, GHCN-Daily."""
