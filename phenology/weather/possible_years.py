"""Years that may come where too few past ones are known: made from what the latitude and own days tell."""

from __future__ import annotations

from dataclasses import dataclass, replace

from phenology.model.arrays import Array
from phenology.weather.normals import Normals

BEYOND_DAYS = 200
"""Days past the season's end that a possible season is followed, where no frost came before (ours)."""


@dataclass(frozen=True, eq=False)
class PossibleYears:
    """Possible seasons of a place, each with the beginning of the next.

    Attributes
    ----------
    usual : Normals
        The usual year that they lie about.
    tmin, tmax : ndarray, shape (years, 366 + BEYOND_DAYS)
        From the first day of a season on. [degC]
    own_days : int
        Measured days that they rest on, besides latitude and height.
    """

    usual: Normals
    tmin: Array
    tmax: Array
    own_days: int

    def moved_to(self, other: PossibleYears, day: int) -> PossibleYears:
        """The same years for a tree that stands at another place after `day` days of the season."""
        usual, tmin, tmax = self.usual, self.tmin.copy(), self.tmax.copy()
        tmin[:, day:], tmax[:, day:] = other.tmin[:, day:], other.tmax[:, day:]
        low, high = usual.tmin.copy(), usual.tmax.copy()
        low[day:], high[day:] = other.usual.tmin[day:], other.usual.tmax[day:]
        return PossibleYears(
            replace(usual, tmin=low, tmax=high), tmin, tmax, min(self.own_days, other.own_days)
        )
