"""From a requirement and possible weather to dates: stages, chains, rows of a garden."""
