"""The report: one HTML file that needs no network, no script and no colour."""
