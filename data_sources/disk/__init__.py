"""Files written whole or not at all, and with whom they are shared."""
