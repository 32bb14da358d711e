"""Simulated growers: trees whose truth is known, growers of every habit, and how well they are forecast."""
