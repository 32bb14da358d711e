"""Gridded climate sets read, and maps written: NetCDF and Zarr, by the CF conventions."""
