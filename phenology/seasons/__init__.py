"""Seasons side by side: days ahead of usual, what followed work and trends."""
