"""What another garden's looks say of its species, as plain numbers: no names, notes or places.

`docs/shared-calibrations.md` describes the file that carries them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class SharedClimate:
    """Where a garden lies, as far as anybody need know.

    Attributes
    ----------
    latitude : float
        To a whole degree. [degrees, north positive]
    coldest, warmest : float
        Of the usual year's daily means. [°C]
    """

    latitude: float
    coldest: float
    warmest: float


@dataclass(frozen=True)
class Reading:
    """A value on the log scale, and its standard deviation."""

    log: float
    sd: float


@dataclass(frozen=True)
class SharedWait:
    """One wait of one species.

    Attributes
    ----------
    seasons, trees, looks : int
        That it rests on.
    readings : mapping of clock name to Reading
        What the looks alone, without any prior, say of an average tree and season. [log days at 18 degC]
    """

    species: str
    seasons: int
    trees: int
    looks: int
    readings: Mapping[str, Reading]


@dataclass(frozen=True)
class SharedStep:
    """What a garden learned of one step, from `start` to `target` as in `Transition`.

    Attributes
    ----------
    clocks : mapping of str to float
        How much likelier the looks make each clock than it was held before; the likeliest 1.
    later : mapping of clock name to Reading
        How much longer a later flush takes, as a log ratio; empty where no looks say.
    waits : tuple of SharedWait
    """

    start: str
    target: str
    clocks: Mapping[str, float]
    later: Mapping[str, Reading]
    waits: tuple[SharedWait, ...]


@dataclass(frozen=True)
class SharedCalibration:
    """One garden's calibrations.

    Attributes
    ----------
    garden : str
        Tells gardens apart, and says nothing of them.
    label : str
        What whoever learns from it calls it.
    """

    garden: str
    label: str
    climate: SharedClimate
    steps: tuple[SharedStep, ...]

    @property
    def species(self) -> tuple[str, ...]:
        """The species that it speaks of."""
        return tuple(dict.fromkeys(wait.species for step in self.steps for wait in step.waits))
