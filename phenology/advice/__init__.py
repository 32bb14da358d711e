"""What a garden is told: forecast rows, advice, windows, the round, what changed."""
