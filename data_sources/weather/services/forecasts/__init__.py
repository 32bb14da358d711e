"""Services of weather models, for the days ahead and for days long past."""
