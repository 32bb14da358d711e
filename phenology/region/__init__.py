"""Forecasts of one species over a region: the point forecast in every cell of a grid."""
