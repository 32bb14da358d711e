"""The usual warmth of a latitude and height: what stands in for past years where a garden has hardly any.

A place's year is told by five numbers, its mean and two waves, and by the range of a day. Before anything is
measured they are believed to be those of the latitude, with the spread of places about it; days measured at
the place narrow them by a conjugate normal update. From what is then believed, possible years are drawn with
a fixed seed: a place, a season a little warmer or cooler, and day-to-day weather upon it.

Sources
-------
Annual mean by latitude
    The zonal means that W. D. Sellers ("A global climatic model based on the energy balance of the
    earth-atmosphere system", J. Appl. Meteorol. 8:392-400, 1969) starts from; the table is from memory,
    unverified. It agrees to 2 °C between 65° N and 55° S with the two-term Legendre fit of North, Cahalan and
    Coakley ("Energy balance climate models", Rev. Geophys. Space Phys. 19:91-121, 1981), 14.97 - 28 P2(sin
    latitude), also from memory, which the tests check. Those means hold ocean, ice, high ground and the
    middle of the last century: low-lying land where people live is warmer by `INHABITED` (ours, from the
    means of some forty towns remembered, unverified).
Annual range
    V. Conrad's index of continentality ("Usual formulas of continentality and their limits of validity",
    Trans. Am. Geophys. Union 27:663-664, 1946): k = 1.7 A / sin(latitude + 10°) - 14, A the range of monthly
    means in °C, k about 0 at Thorshavn and 100 at Verkhoyansk; from memory, unverified. Places are spread
    over k, more in the north than in the oceanic south; the warmer winters of low k make warmer years (ours).
Height
    6.5 °C/km in the free air (ISO 2533:1975). Ground at height is warmer than the free air beside it, so
    5.5 ± 2 °C/km is used (ours).
Lag behind the sun
    About a month on land (J. A. Prescott and J. A. Collins, "The lag of temperature behind solar radiation",
    Q. J. R. Meteorol. Soc. 77:121-126, 1951; from memory, unverified).
Range of a day, spread of days and seasons
    From memory, unverified, and wide: some 10 °C between a day's extremes on land, more in summer; days
    about the usual year with a standard deviation from 1.5 °C near the equator to 4 at mid latitudes, more
    in winter.

Nearer the equator than twenty degrees the sun's year fades out and only a small wave of unknown phase stays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from phenology.weather.normals import BEYOND_DAYS, MEMORY_DAYS, YEAR_DAYS, Normals, harmonics


@dataclass(frozen=True, eq=False)
class PossibleYears:
    """Possible seasons of a place, each with the beginning of the next."""

    usual: Normals  # the usual year that they lie about
    # tmin, tmax: from the first day of a season on, shape (years, 366 + BEYOND_DAYS) [degC]
    tmin: Array
    tmax: Array
    own_days: int  # measured days that they rest on, besides latitude and height

    def moved_to(self, other: PossibleYears, day: int) -> PossibleYears:
        """The same years for a tree that stands at another place after `day` days of the season."""
        usual, tmin, tmax = self.usual, self.tmin.copy(), self.tmax.copy()
        tmin[:, day:], tmax[:, day:] = other.tmin[:, day:], other.tmax[:, day:]
        low, high = usual.tmin.copy(), usual.tmax.copy()
        low[day:], high[day:] = other.usual.tmin[day:], other.usual.tmax[day:]
        return PossibleYears(
            replace(usual, tmin=low, tmax=high), tmin, tmax, min(self.own_days, other.own_days)
        )


ZONE_LATITUDES = tuple(range(-85, 90, 10))
ZONE_MEANS = (
    -42.3, -29.5, -6.9, 2.9, 9.9, 16.5, 21.4, 24.6, 26.1,
    26.4, 26.1, 22.9, 16.2, 8.8, 2.2, -5.1, -12.3, -16.9,
)  # fmt: skip
"""Annual means of the zones of ten degrees, from south to north, at `ZONE_LATITUDES`. [°C]"""

INHABITED: tuple[tuple[float, ...], tuple[float, ...]] = (
    (-60.0, -35.0, 0.0, 35.0, 48.0, 55.0, 62.0, 70.0),
    (2.5, 1.3, 0.8, 1.2, 3.6, 5.3, 5.5, 4.0),
)
"""How much warmer low-lying land where people live is than its zone, by latitude. [degrees], [°C]"""

CONTINENTALITY_NORTH, CONTINENTALITY_SOUTH = (32.0, 16.0), (15.0, 8.0)
"""Mean and standard deviation of Conrad's index over places (ours)."""

OCEANIC_WARMTH = 0.10  # how much warmer a mid-latitude year is for each point less of the index (ours) [°C]
PLACE_SD_TROPICS, PLACE_SD = (
    1.8,
    2.6,
)  # of a place's annual mean about all that, from 15° and 45° on (ours) [°C]
FREE_AIR_LESS = 1.0
LAPSE, LAPSE_SD = 6.5 - FREE_AIR_LESS, 2.0  # [°C/km]
UNKNOWN_HEIGHT, UNKNOWN_HEIGHT_SD = 0.2, 0.25  # where people live, if nobody says (ours) [km]
LAG_DAYS, LAG_SD = 30.0, 9.0
TROPICAL_WAVE = 1.0  # standard deviation of the waves of the year that any place may have (ours) [°C]
SUN_FADES = 20.0  # nearer the equator the sun's own wave fades out (ours) [degrees]

DAY_RANGE, DAY_RANGE_SD, DAY_RANGE_WAVE = 10.5, 2.5, 1.5  # between a day's extremes; its summer wave [°C]
DAY_RANGE_SCATTER = 4.0  # from day to day [°C]
SPREAD_TROPICS, SPREAD_MID, WINTER_MORE = 1.5, 4.3, 0.28
SEASON_SD = 0.6  # a whole season's own departure, beside what its spells come to [°C]

YEARS = 60
SEED = 20_14_07

Coefficients = Array
"""Constant, cosine and sine of the year, cosine and sine of the half year, about the day of most warmth."""


@dataclass(frozen=True, eq=False)
class ZonalClimate:
    """What is believed of the usual year of a place."""

    warmest: float  # day of year, 1 for 1 January, about which the waves are counted
    mean: Coefficients  # `Coefficients` of the daily mean, shape (5,) [°C]
    covariance: Array  # shape (5, 5)
    day_range: float  # between a day's extremes, over the year [°C]
    day_range_sd: float  # how sure that is [°C]
    day_range_wave: float  # how much wider it is at the warmest time of year than over the year [°C]
    spread: float  # standard deviation of daily means about the usual year, over all seasons [°C]
    own_days: int = 0  # days of the place that it rests on

    @classmethod
    def at(cls, latitude: float, elevation: float | None = None) -> ZonalClimate:
        """The usual year of a latitude [degrees, north positive] and height [m], before anything is measured.

        Where nobody says the height, it is that of most people.

        Examples
        --------
        >>> north, south = ZonalClimate.at(48.0, 300.0), ZonalClimate.at(-48.0, 300.0)
        >>> round(float(north.mean[0])), round(float(north.mean[1]))
        (9, 11)
        >>> round((south.warmest - north.warmest) % 365.25)
        183
        """
        away = abs(latitude)
        height = UNKNOWN_HEIGHT if elevation is None else elevation / 1000
        height_sd = UNKNOWN_HEIGHT_SD if elevation is None else 0.0
        zone = float(np.interp(latitude, ZONE_LATITUDES, ZONE_MEANS)) + float(np.interp(latitude, *INHABITED))
        index, index_sd = CONTINENTALITY_SOUTH if latitude < 0 else CONTINENTALITY_NORTH
        sun = min(away / SUN_FADES, 1.0)
        # half of Conrad's range for each point of his index
        per_point = sun * math.sin(math.radians(min(away + 10, 90))) / 1.7 / 2
        amplitude = (index + 14) * per_point
        mid = float(np.clip((away - 15) / 30, 0.0, 1.0))
        place_sd = PLACE_SD_TROPICS + mid * (PLACE_SD - PLACE_SD_TROPICS)
        covariance = np.diag([TROPICAL_WAVE**2] * 5)
        covariance[0, 0] = place_sd**2 + (LAPSE_SD * height) ** 2 + (LAPSE * height_sd) ** 2
        by_index = np.array([-OCEANIC_WARMTH * mid, per_point]) * index_sd
        covariance[:2, :2] += np.outer(by_index, by_index)
        covariance[2, 2] += (amplitude * 2 * math.pi * LAG_SD / 365.25) ** 2
        solstice = 172.0 if latitude >= 0 else 355.0
        warmest = (solstice + LAG_DAYS - 1) % 365.25 + 1
        return cls(
            warmest,
            np.array([zone - LAPSE * height, amplitude, 0.0, 0.0, 0.0]),
            covariance,
            DAY_RANGE,
            DAY_RANGE_SD,
            DAY_RANGE_WAVE * mid,
            SPREAD_TROPICS + mid * (SPREAD_MID - SPREAD_TROPICS),
        )

    def given(self, first_day: date, tmin: Array, tmax: Array) -> ZonalClimate:
        """What is believed after days measured at the place; NaN where unknown, shape (days,). [°C]

        Notes
        -----
        Days in a row repeat each other: `2 * MEMORY_DAYS` of them are worth one. A departure that a whole
        season had beside its spells is not the place's own, so each year of days keeps `SEASON_SD` of doubt.
        """
        known = np.flatnonzero(np.isfinite(tmin) & np.isfinite(tmax))
        if not len(known):
            return self
        day = first_day.timetuple().tm_yday + known.astype(float)
        basis = self._basis(day)
        middle, width = (tmin[known] + tmax[known]) / 2, tmax[known] - tmin[known]
        worth = 1 / (2 * MEMORY_DAYS * self._spread_on(day) ** 2)
        information = (basis * worth[:, None]).T @ basis
        # with the season's own departure as one more unknown a year, taken out by its share
        pull = basis.T @ (worth * (middle - basis @ self.mean))
        year = known // 365
        for one in np.unique(year):
            rows = year == one
            seen = basis[rows].T @ worth[rows]
            total = 1 / SEASON_SD**2 + worth[rows].sum()
            information -= np.outer(seen, seen) / total
            left = worth[rows] @ (middle[rows] - basis[rows] @ self.mean)
            pull -= seen * left / total
        covariance = np.asarray(np.linalg.inv(np.linalg.inv(self.covariance) + information), dtype=float)
        usual_width = self.day_range + self.day_range_wave * basis[:, 1]
        precision = len(known) / (2 * MEMORY_DAYS * DAY_RANGE_SCATTER**2)
        doubt = 1 / (1 / self.day_range_sd**2 + precision)
        return replace(
            self,
            mean=self.mean + covariance @ pull,
            covariance=covariance,
            day_range=max(1.0, self.day_range + doubt * precision * float((width - usual_width).mean())),
            day_range_sd=math.sqrt(doubt),
            own_days=self.own_days + len(known),
        )

    def surer(self, share: float) -> ZonalClimate:
        """The same with the doubt about the place scaled."""
        return replace(self, covariance=self.covariance * share**2, day_range_sd=self.day_range_sd * share)

    def usual(self, calendar: SeasonCalendar) -> Normals:
        """The usual year by day of season."""
        day = self._days(calendar, YEAR_DAYS)
        basis = self._basis(day)
        middle = basis @ self.mean
        half = (self.day_range + self.day_range_wave * basis[:, 1]) / 2
        return Normals(middle - half, middle + half, self.spread, 0.0)

    def sd_on(self, calendar: SeasonCalendar) -> Array:
        """How far places spread about the usual year by day of season; shape (366,). [°C]"""
        basis = self._basis(self._days(calendar, YEAR_DAYS))
        return np.asarray(np.sqrt(np.einsum("di,ij,dj->d", basis, self.covariance, basis)))

    def years(self, calendar: SeasonCalendar, count: int = YEARS) -> PossibleYears:
        """Possible seasons; the same random numbers serve every place, so that places share their seasons."""
        chance = np.random.default_rng(SEED)
        days = YEAR_DAYS + BEYOND_DAYS
        # places in pairs about the usual one, so that few draws keep the mean exactly
        half = (count + 1) // 2
        normal = chance.standard_normal((half, 7))
        normal = np.concatenate([normal, -normal])[:count]
        shocks = chance.standard_normal((2, count, days))
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.eye(5))
        day = self._days(calendar, days)
        basis = self._basis(day)
        middle = (self.mean + normal[:, :5] @ root.T) @ basis.T + SEASON_SD * normal[:, 5:6]
        fade = math.exp(-1 / MEMORY_DAYS)
        spell = np.empty((count, days))
        spell[:, 0] = shocks[0, :, 0]
        for k in range(1, days):
            spell[:, k] = fade * spell[:, k - 1] + math.sqrt(1 - fade**2) * shocks[0, :, k]
        middle += self._spread_on(day) * (spell - spell.mean(0))
        width = (
            self.day_range
            + self.day_range_sd * normal[:, 6:7]
            + self.day_range_wave * basis[:, 1]
            + DAY_RANGE_SCATTER * shocks[1]
        )
        half_width = np.maximum(width, 1.0) / 2
        low, high = middle - half_width, middle + half_width
        return PossibleYears(self.usual(calendar), low, high, self.own_days)

    def _days(self, calendar: SeasonCalendar, days: int) -> Array:
        """Days of year from a season's first day on, running past the year's end."""
        return np.asarray(calendar.start(2025).timetuple().tm_yday + np.arange(float(days)))

    def _basis(self, day_of_year: Array) -> Array:
        return harmonics(day_of_year - self.warmest)[:, [0, 1, 3, 2, 4]]

    def _spread_on(self, day_of_year: Array) -> Array:
        """Standard deviation of daily means about the usual year, day by day. [°C]"""
        # nearer the equator winter is no more changeable than summer
        winter = WINTER_MORE * min(1.0, max(0.0, self.spread - SPREAD_TROPICS))
        return np.asarray(self.spread * (1 - winter * self._basis(day_of_year)[:, 1]))
