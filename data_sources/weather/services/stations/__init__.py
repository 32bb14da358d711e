"""Services of measuring stations: Meteostat and NOAA, several stations blended to one place."""
