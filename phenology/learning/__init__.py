"""From recorded waits to a requirement: what a stage takes, and how sure that is."""
