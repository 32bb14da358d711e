"""How good forecasts were: hindcasts, scores, and the plain rivals they must beat."""
