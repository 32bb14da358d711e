"""Commands that tell: forecast, round, windows, compare and their kin."""
