"""The forecast of one species in a cell of a grid: that of a tree there at which nobody has looked.

Nothing is reckoned here: a cell is a garden of one place, and is handed to the forecast of gardens.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from phenology.forecasting.flush_forecast import FlushForecasts
from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import TARGETS
from phenology.model.arrays import Array, IntArray
from phenology.model.limits import Limits
from phenology.model.records import Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import Species
from phenology.weather.series import DailyWeather
from phenology.work.last_safe import Late, WorkSeason

LEVELS = (0.1, 0.5, 0.9)
LIMITS = ("none", "frost", "cool nights", "weeks", "daylength", "no day is safe", "rest")
"""What ruled the last safe day, by the number that stands for it in a map."""

FIELDS: tuple[str, ...] = (
    *(f"{stage} {level:g}" for stage in TARGETS for level in LEVELS),
    *(f"{stage} chance" for stage in TARGETS),
    "last safe",
    "limit",
    "second flush ripens",
    "days unknown",
)
"""What `CellForecasts.at` gives, in order."""


@dataclass(frozen=True)
class CellForecasts:
    """Forecasts of one species as known on one day, cell by cell.

    Notes
    -----
    A cell is another place than the calibrating garden: what was particular to the season there is not
    carried over (its looks of that season are left out), nor do its own late flushes move a limit that is
    kept by the calendar.
    """

    species: Species
    as_of: date  # weather after it is forgotten
    # the garden whose looks teach the requirements; without it the catalogue's priors are used as they are
    calibration: Garden | None = None
    limits: Limits = field(default_factory=Limits)  # what is asked of late work
    # day of the work that wakes the second flush, in each season; default: when the first flush is hard by
    # its median
    cut: date | None = None
    _fits: dict[object, GardenFit] = field(init=False, repr=False, compare=False, default_factory=dict)

    @property
    def epoch(self) -> date:
        """The day from which dates of all cells are counted, whatever the hemisphere."""
        return date(self.as_of.year, 1, 1)

    def learn(self, latitudes: Iterable[float]) -> None:
        """Fit the requirements of some latitudes now, so that workers need not."""
        nothing = np.full(1, np.nan)
        for latitude in sorted({(y < 0, abs(y) < 15): y for y in latitudes}.values()):
            fit = self._fit(self._garden(latitude, None, DailyWeather(self.as_of, nothing, nothing, "model")))
            for start in ("start", "work"):
                for link in fit.chain_of(self.species.latin, start):
                    for wait in (link.wait, *(s.wait for s in link.strides)):
                        fit.requirement(wait)

    def at(
        self, ordinals: IntArray, tmin: Array, tmax: Array, latitude: float, elevation: float = math.nan
    ) -> Array:
        """The forecast in one cell.

        Parameters
        ----------
        ordinals : ndarray of int, shape (days,)
            Proleptic Gregorian ordinals of the days, rising.
        tmin, tmax : ndarray, shape (days,)
            Daily extremes, NaN where unknown. A day whose minimum lies above its maximum counts as unknown.
            [degC]
        latitude : float
            [degrees, north positive]
        elevation : float
            NaN where unknown. [m]

        Returns
        -------
        ndarray, shape (len(FIELDS),)
            Times in days since `epoch`, NaN where a stage does not come or nothing limits work; chances;
            number of the limit; days unknown. All NaN where no day is known.
        """
        out = np.full(len(FIELDS), np.nan)
        crossed = tmin > tmax
        low, high = np.where(crossed, np.nan, tmin), np.where(crossed, np.nan, tmax)
        if not np.isfinite(low + high).any() or math.isnan(latitude):
            return out
        weather = DailyWeather.from_ordinals(ordinals, low, high, "model")
        garden = self._garden(latitude, None if math.isnan(elevation) else elevation, weather)
        return self._forecast(garden, out)

    def _garden(self, latitude: float, elevation: float | None, weather: DailyWeather) -> Garden:
        place = Place("cell", "cell", latitude, 0.0, elevation)
        tree = Tree("unseen", "unseen", self.species.latin)
        calendar, catalogue = SeasonCalendar.for_latitude(latitude), {self.species.latin: self.species}
        stand, series = Stand("stand", tree.id, place.id), {place.id: weather}
        return Garden(
            self.as_of, calendar, [place], [tree], [stand], [], [], [], [], catalogue, series, self.limits
        ).up_to(self.as_of)

    def _fit(self, garden: Garden) -> GardenFit:
        """What is believed of the species in a cell, fitted once a season and hemisphere."""
        if self.calibration is None:
            key: object = garden.longest_day
        else:
            key = garden.season
        if key not in self._fits:
            known = self.calibration
            if known is not None:
                known = known.known_on(known.calendar.start(garden.season))
                known = replace(known, trees=[*known.trees, *garden.trees])
            self._fits[key] = GardenFit(known or garden)
        return self._fits[key]

    def _forecast(self, garden: Garden, out: Array) -> Array:
        fit, (tree,), found = self._fit(garden), garden.trees, dict.fromkeys(FIELDS, math.nan)
        zero = (garden.calendar.start(garden.season) - self.epoch).days
        forecasts = FlushForecasts(garden, fit)
        history = forecasts.unseen(tree, garden.season)
        hard = math.inf
        for ahead in forecasts.ahead(history, garden.today):
            for level, t in zip(LEVELS, ahead.arrival.quantiles(LEVELS), strict=True):
                found[f"{ahead.stage} {level:g}"] = zero + t if math.isfinite(t) else math.nan
            found[f"{ahead.stage} chance"] = 1 - ahead.arrival.p_not
            if ahead.stage == "hardened":
                hard = ahead.arrival.quantile(0.5)
        late = self._late(garden, fit, forecasts)
        stop = late.stop()
        never = stop.day == -math.inf
        found["limit"] = LIMITS.index("no day is safe" if never else stop.limit)
        if math.isfinite(stop.day):
            found["last safe"] = zero + stop.day - 1
        day = hard if self.cut is None else float(garden.calendar.same_day(self.cut, garden.season))
        if math.isfinite(day):
            found["second flush ripens"] = late.curve.odds(day)
        found["days unknown"] = float((~garden.weather["cell"].known).sum())
        out[:] = [found[name] for name in FIELDS]
        return out

    def _late(self, garden: Garden, fit: GardenFit, forecasts: FlushForecasts) -> Late:
        site = garden.site(garden.trees[0], garden.season)
        work = WorkSeason(garden, fit, forecasts.drawn)
        late = work.late(self.species.latin, site)
        if self.calibration is None or self.species.is_tropical:
            return late
        return replace(late, calendar_limits=work.ending(site).calendar_limits)


def all_cells(
    tmin: Array,
    tmax: Array,
    latitude: Array,
    elevation: Array,
    *,
    forecasts: CellForecasts,
    ordinals: IntArray,
) -> Array:
    """`CellForecasts.at` over a block of cells, days on the last axis.

    Parameters
    ----------
    tmin, tmax : ndarray, shape (..., days)
        [degC]
    latitude, elevation : ndarray, broadcasting with the cells
        [degrees], [m]

    Returns
    -------
    ndarray, shape (..., len(FIELDS))
    """
    cells = tmin.shape[:-1]
    out = np.empty((*cells, len(FIELDS)))
    latitude, elevation = np.broadcast_to(latitude, cells), np.broadcast_to(elevation, cells)
    for cell in np.ndindex(cells):
        low, high = tmin[cell].astype(float), tmax[cell].astype(float)
        out[cell] = forecasts.at(ordinals, low, high, float(latitude[cell]), float(elevation[cell]))
    return out
