"""Calibrations that gardens give each other."""
