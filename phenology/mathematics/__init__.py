"""The few functions of probability that the forecast needs, without loading scipy; how like two texts are."""
