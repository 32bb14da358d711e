"""A garden as commands, pages and the notebook open it."""
