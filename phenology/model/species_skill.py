"""How far a garden's own past forecasts missed, species by species: what its trust rests on."""

from __future__ import annotations

from dataclasses import dataclass

ENOUGH_SEASONS = 4
"""Seasons from which on "the weather added nothing" is believed (ours): fewer are luck."""

TWO_IN_THREE = 1.25
"""From the mean miss to the distance that two misses in three keep within, for a normal spread (derived: the
sd is 1.25 times the mean absolute deviation)."""


@dataclass(frozen=True)
class SpeciesSkill:
    """Misses of forecasts of seasons that were not seen, mean over seasons. [days]

    Attributes
    ----------
    seasons : int
    missed, usual_missed : float
        Of flushcast, and of the usual date.
    """

    seasons: int
    missed: float
    usual_missed: float

    @property
    def within(self) -> float:
        """Distance that about two forecasts in three kept within. [days]"""
        return TWO_IN_THREE * self.missed

    @property
    def weather_adds_nothing(self) -> bool:
        """Whether, over enough seasons, the usual date did as well: the forecast then falls back on it."""
        return self.seasons >= ENOUGH_SEASONS and self.missed >= self.usual_missed
