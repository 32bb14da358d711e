"""Results as data: JSON, CSV, calendar files."""
