"""Commands that keep a garden safe: export, backup, restore."""
