"""What a garden must bear: two hands at once, kills, damage, hostile files. See docs/reliability.md."""
