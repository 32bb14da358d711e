"""Daily weather: series and their checks, seasons, the usual year, and the possible days ahead."""
