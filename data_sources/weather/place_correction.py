"""From the station's weather to the bench's: how the grower's own readings differ, and how sure that is.

A bench by a south wall is warmer by day and in summer; a frost hollow is colder by night and more so in
clear weather. For minimum and maximum apart the difference is fitted as an offset that swings through the
year and a slope on the station's own temperature. Every term is held toward none by a prior, so that a
handful of readings changes little and a year of them decides; readings of days in a row repeat each other
and count for less.

Fitting needs statsmodels; applying a fitted correction needs numpy only, so that a forecast can.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from data_sources.disk.whole_files import replace_text
from data_sources.sqlite.errors import plain_errors
from data_sources.weather.store.reading import WeatherReader
from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.weather.series import DailyWeather

Variable = Literal["tmin", "tmax"]

FILE_NAME = "weather_corrections.json"
YEAR = 365.2425
TERMS = ("offset", "cosine", "sine", "slope")
PRIOR_SD = (2.0, 1.2, 1.2, 0.12)
"""How large a term may be expected to be, before any reading: offset, both parts of its swing through the
year [°C], and slope [°C per °C]; ours, from what walls, roofs and hollows do (common practice, no source)."""
NOISE_PRIOR, NOISE_WORTH = 1.5, 10.0  # °C, and readings: what a day's scatter is taken for at first; ours
FEWEST = 3  # readings
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_MID_MONTHS = np.array([date(2025, month, 15).toordinal() for month in range(1, 13)], dtype=np.int64)


@dataclass(frozen=True, eq=False, repr=False)
class VariableCorrection:
    """The difference of one variable."""

    terms: Array  # as in `TERMS`, shape (4,)
    covariance: Array  # shape (4, 4)
    middle: float  # the station's temperature at which the slope is none [°C]
    # station temperatures that were seen; beyond them the slope goes no further [°C]
    reach: tuple[float, float]
    usual: Array  # the station's mean by calendar month, for telling the size, shape (12,) [°C]
    noise: float  # scatter of single days about the fit [°C]
    readings: int

    def difference(self, ordinals: NDArray[np.int64], station: Array) -> Array:
        """Bench minus station on days with these station values. [°C]"""
        return np.asarray(_design(ordinals, station, self.middle, self.reach) @ self.terms)

    def uncertainty(self, ordinals: NDArray[np.int64], station: Array) -> Array:
        """Standard error of `difference`, without a day's own scatter. [°C]"""
        design = _design(ordinals, station, self.middle, self.reach)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", design, self.covariance, design)))

    def by_month(self) -> Array:
        """The difference at the station's usual temperature of each month, January first. [°C]"""
        return self.difference(_MID_MONTHS, self.usual)

    def mean(self) -> tuple[float, float]:
        """The difference through the year and its standard error. [°C]"""
        row = _design(_MID_MONTHS, self.usual, self.middle, self.reach).mean(axis=0)
        return float(row @ self.terms), float(np.sqrt(row @ self.covariance @ row))


@dataclass(frozen=True, eq=False, repr=False)
class PlaceCorrection:
    """What brings a station's (or model's) days to the bench."""

    tmin: VariableCorrection
    tmax: VariableCorrection
    first_day: date
    last_day: date

    @property
    def readings(self) -> int:
        """Days on which both were known, of the variable with fewer."""
        return min(self.tmin.readings, self.tmax.readings)

    def apply(self, weather: DailyWeather) -> DailyWeather:
        """The days as the bench would have had them; the bench's own stay as they are."""
        low, high = weather.tmin.copy(), weather.tmax.copy()
        other = weather.source != "bench"
        ordinals = weather.ordinals
        low[other] += self.tmin.difference(ordinals[other], low[other])
        high[other] += self.tmax.difference(ordinals[other], high[other])
        crossed = low > high  # two fits need not agree on a day that hardly warmed
        low[crossed] = high[crossed] = (low[crossed] + high[crossed]) / 2
        return DailyWeather(weather.first_day, np.round(low, 2), np.round(high, 2), weather.source)

    def size(self) -> dict[Variable, tuple[float, float]]:
        """Mean difference through a year and its standard error, by variable. [°C]"""
        return {"tmin": self.tmin.mean(), "tmax": self.tmax.mean()}

    def lines(self, units: str = "C") -> list[str]:
        """Size and uncertainty for a report, in °C or °F ("F"): a difference, so 9/5 and no offset."""
        out = []
        scale = 9 / 5 if units == "F" else 1.0
        for part, what in ((self.tmin, "nights"), (self.tmax, "days")):
            mean, error = (scale * value for value in part.mean())
            months = scale * part.by_month()
            low, high = int(months.argmin()), int(months.argmax())
            how = "warmer" if mean >= 0 else "colder"
            line = f"{what} here {abs(mean):.1f} ± {max(error, 0.1):.1f} °{units} {how} than there"
            if months[high] - months[low] >= 0.5:
                line += f" ({months[low]:+.1f} in {MONTHS[low]}, {months[high]:+.1f} in {MONTHS[high]})"
            out.append(line)
        span = f"{self.first_day} to {self.last_day}"
        out.append(f"from {self.readings} days of your own readings, {span}")
        return out


def fit_correction(bench: DailyWeather, station: DailyWeather) -> PlaceCorrection | None:
    """Fit how own readings (source "bench") differ from a station's days; None under `FEWEST` of them.

    Notes
    -----
    Mixed estimation (H. Theil and A. S. Goldberger, "On pure and mixed statistical estimation in economics,"
    International Economic Review, vol. 2, no. 1, pp. 65-78, 1961): the prior enters as four more rows. The
    noise is first estimated by least squares, drawn toward `NOISE_PRIOR`; rows of days in a row are given the
    variance ``(1 + ρ) / (1 - ρ)`` larger that their serial correlation ρ implies.
    """
    import pandas as pd

    if not len(bench) or not len(station):
        return None
    own, other = bench.to_frame(), station.to_frame()
    own = own[own["source"] == "bench"]
    fits, seen = {}, own.index
    for name in ("tmin", "tmax"):
        pairs = pd.DataFrame({"own": own[name], "other": other[name]}).dropna()
        if len(pairs) < FEWEST:
            return None
        monthly = other[name].groupby(pd.DatetimeIndex(other.index).month).mean()
        usual = monthly.reindex(range(1, 13)).fillna(other[name].mean())
        ordinals = np.array([day.toordinal() for day in pairs.index], dtype=np.int64)
        fits[name] = _fit(ordinals, pairs["own"].to_numpy(), pairs["other"].to_numpy(), usual.to_numpy())
        both = seen.intersection(pairs.index)
        seen = both if len(both) else pairs.index
    return PlaceCorrection(fits["tmin"], fits["tmax"], seen[0].date(), seen[-1].date())


def _fit(ordinals: NDArray[np.int64], bench: Array, station: Array, usual: Array) -> VariableCorrection:
    import statsmodels.api as sm

    middle, reach = float(np.mean(station)), (float(station.min()), float(station.max()))
    gap, n = bench - station, len(bench)
    rows = np.vstack([_design(ordinals, station, middle, reach), np.diag(1 / np.array(PRIOR_SD))])
    target = np.concatenate([gap, np.zeros(len(TERMS))])

    def fit(variance: float) -> Any:
        weights = np.concatenate([np.full(n, 1 / variance), np.ones(len(TERMS))])
        return sm.WLS(target, rows, weights=weights).fit(cov_type="fixed scale", cov_kwds={"scale": 1.0})

    # First the prior alone holds what the readings do not decide; what is left then tells the noise.
    left = gap - rows[:n] @ fit(NOISE_PRIOR**2).params
    noise = float(np.sqrt((NOISE_WORTH * NOISE_PRIOR**2 + left @ left) / (NOISE_WORTH + n)))
    last = fit(noise**2 * _repeats(ordinals, left))
    covariance = np.asarray(last.cov_params(), dtype=float)
    return VariableCorrection(
        np.asarray(last.params, dtype=float), covariance, middle, reach, usual, noise, n
    )


def _design(ordinals: NDArray[np.int64], station: Array, middle: float, reach: tuple[float, float]) -> Array:
    angle = 2 * np.pi * (ordinals % YEAR) / YEAR
    warmth = np.clip(station, *reach) - middle
    return np.column_stack([np.ones(len(angle)), np.cos(angle), np.sin(angle), warmth])


def _repeats(ordinals: NDArray[np.int64], left: Array) -> float:
    """How much larger the variance of a mean is because days in a row resemble each other."""
    next_to = np.diff(ordinals) == 1
    if next_to.sum() < 10:
        return 2.0  # as for ρ = 1/3, which differences between thermometers commonly show; assumed
    a, b = left[:-1][next_to], left[1:][next_to]
    scale = float(np.sqrt((a @ a) * (b @ b)))
    rho = float(np.clip((a @ b) / scale, 0.0, 0.9)) if scale > 0 else 0.0
    return (1 + rho) / (1 - rho)


def corrected(weather: DailyWeather, by_source: Mapping[str, PlaceCorrection]) -> DailyWeather:
    """A mixed series with each day corrected as its source ("station", "model") asks.

    Forecast and filled days take the model's, else the station's; a source without a correction stays as it
    is.
    """
    if not by_source:
        return weather
    low, high = weather.tmin.copy(), weather.tmax.copy()
    fallback = by_source.get("model") or by_source.get("station")
    for name in ("station", "model", "forecast", "filled"):
        correction = by_source.get(name) or (fallback if name != "station" else None)
        at = weather.source == name
        if correction is not None and at.any():
            moved = correction.apply(weather)
            low[at], high[at] = moved.tmin[at], moved.tmax[at]
    return DailyWeather(weather.first_day, low, high, weather.source)


def save_corrections(garden: Path, by_place: Mapping[str, Mapping[str, PlaceCorrection]]) -> None:
    """Keep the corrections of a garden's places, by place and source, beside its weather.

    Raises `StoreError` if the file cannot be written.
    """
    kept = {
        place: {source: asdict(one) for source, one in corrections.items()}
        for place, corrections in by_place.items()
    }
    path = garden / FILE_NAME
    with plain_errors(path, "writing"):
        replace_text(path, json.dumps(kept, indent=1, default=_plain))


def load_corrections(garden: Path) -> dict[str, dict[str, PlaceCorrection]]:
    """The corrections of a garden, by place and source; empty where there are none.

    Raises `InputError` if the file does not hold them; it can be removed, and an update fits them anew.
    """
    path = garden / FILE_NAME
    try:
        return {
            place: {source: _from_dict(one) for source, one in corrections.items()}
            for place, corrections in json.loads(path.read_text(encoding="utf-8")).items()
        }
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise InputError(
            f"{path} cannot be read; remove it, and `flushcast weather update` makes it anew"
        ) from None


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value.tolist()


def _from_dict(kept: Mapping[str, Any]) -> PlaceCorrection:
    def variable(one: Mapping[str, Any]) -> VariableCorrection:
        terms = one["terms"]
        return VariableCorrection(
            # By name in files of earlier versions.
            np.array([terms[n] for n in TERMS] if isinstance(terms, dict) else terms, dtype=float).reshape(4),
            np.array(one["covariance"], dtype=float).reshape(4, 4),
            float(one["middle"]),
            (float(one["reach"][0]), float(one["reach"][1])),
            np.array(one["usual"], dtype=float).reshape(12),
            float(one["noise"]),
            int(one["readings"]),
        )

    first, last = (date.fromisoformat(kept[name]) for name in ("first_day", "last_day"))
    return PlaceCorrection(variable(kept["tmin"]), variable(kept["tmax"]), first, last)


def refit_corrections(garden: Path, store: WeatherReader, place: str, units: str = "C") -> list[str]:
    """Fit how a place's own readings differ from its stations and model, and keep that beside the weather.

    Returns size and uncertainty in words; nothing where there are no own readings to go by. Raises
    `StoreError` if they cannot be written.
    """
    try:
        kept = load_corrections(garden)
    except InputError:
        kept = {}  # it holds nothing that is not made anew
    own = store.read_source(place, "bench")
    fits = {}
    for source in ("station", "model") if own is not None else ():
        other = store.read_source(place, source)
        fit = fit_correction(own, other) if own is not None and other is not None else None
        if fit is not None:
            fits[source] = fit
    if fits or place in kept:
        save_corrections(garden, {**kept, place: fits})
    words = {"station": "against the stations", "model": "against the model"}
    return [f"{words[source]}: {'; '.join(fit.lines(units))}" for source, fit in fits.items()]
