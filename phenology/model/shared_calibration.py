"""What another garden's looks say of its species, as plain numbers: no names, notes or places.

`docs/shared-calibrations.md` describes the file that carries them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class SharedClimate:
    """Where a garden lies, as far as anybody need know."""

    latitude: float  # to a whole degree. [degrees, north positive]
    coldest: float  # of the usual year's daily means. [°C]
    warmest: float  # the same


@dataclass(frozen=True)
class Reading:
    """A value on the log scale, and its standard deviation."""

    log: float
    sd: float


@dataclass(frozen=True)
class SharedWait:
    """One wait of one species."""

    species: str
    seasons: int  # that it rests on, like the next two
    trees: int
    looks: int
    # by clock, what the looks alone, without any prior, say of an average tree and season. [log days at
    # 18 degC]
    readings: Mapping[str, Reading]


@dataclass(frozen=True)
class SharedStep:
    """What a garden learned of one step, from `start` to `target` as in `Transition`."""

    start: str
    target: str
    # how much likelier the looks make each than it was held before; the likeliest 1
    clocks: Mapping[str, float]
    # by clock, how much longer a later flush takes, as a log ratio; empty where no looks say
    later: Mapping[str, Reading]
    waits: tuple[SharedWait, ...]


@dataclass(frozen=True)
class SharedCalibration:
    """One garden's calibrations."""

    garden: str  # tells gardens apart, and says nothing of them
    label: str  # what whoever learns from it calls it
    climate: SharedClimate
    steps: tuple[SharedStep, ...]

    @property
    def species(self) -> tuple[str, ...]:
        """The species that it speaks of."""
        return tuple(dict.fromkeys(wait.species for step in self.steps for wait in step.waits))
