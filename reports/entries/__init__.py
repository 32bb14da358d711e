"""Looks and work as they are written down, planned without a terminal: commands and pages share it."""
