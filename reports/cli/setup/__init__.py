"""Commands that say what grows where: init, tree, place, species, settings."""
