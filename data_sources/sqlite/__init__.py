"""What the journal and the weather store share: opening, errors in words, upgrades, checks, backups."""
