"""How growers write: everyday words, vague dates, and which trees are meant."""
