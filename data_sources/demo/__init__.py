"""The invented garden: its climate, its trees, its grower."""
