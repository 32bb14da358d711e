"""What the frames of a garden are taken from, read once, and how rows become a frame with its docstring."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, wraps
from typing import Any, ParamSpec, TypeVar

import pandas as pd
from threadpoolctl import threadpool_limits

from data_sources.garden import GardenSettings
from data_sources.journal.changes import Change
from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.judging.past_forecasts import EVERY_DAYS, past_forecasts
from phenology.learning.garden_fit import GardenFit
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Place
from phenology.model.track_record import PastForecast, TrackRecord
from phenology.weather.series import DailyWeather
from reports.garden.meant import own_species
from reports.garden.place_weather import StationPair
from reports.table import Column, Table

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")

DAY = pd.date_range("2026-01-01", periods=1).dtype
"""Dates as this pandas counts them itself, so that our columns merge with its own."""


def on_one_thread(function: Callable[P, T]) -> Callable[P, T]:
    """Keep linear algebra to one thread while a function runs: for our small matrices more cost time.

    A notebook has loaded the library long before, and has its threads again afterwards.
    """

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> T:
        with threadpool_limits(1, "blas"):
            return function(*args, **kwargs)

    return limited


def framed(
    columns: Sequence[Column[R]], row: str
) -> Callable[[Callable[P, Iterable[R]]], Callable[P, pd.DataFrame]]:
    """Make of a method that returns rows one that returns their DataFrame, and say so in its docstring.

    Parameters
    ----------
    columns : sequence of Column
        Of the frame; see `reports.table.Table.as_frame`.
    row : str
        What a row is, such as "a tree"; more may be said behind it.

    Examples
    --------
    >>> @framed([Column("odds.today", "number", float, "that it ripens"), Column("by", "text", str)], "a cut")
    ... def odds():
    ...     '''Odds.
    ...
    ...     >>> odds()
    ...     '''
    ...     return [0.5]
    >>> odds()
       odds_today   by
    0         0.5  0.5
    >>> print(odds.__doc__.partition(">>>")[0])
    Odds.
    <BLANKLINE>
    Returns
    -------
    DataFrame, one row a cut
        ``odds_today`` (number): that it ripens; ``by`` (text).
    <BLANKLINE>
    Examples
    --------
    """

    def decorated(method: Callable[P, Iterable[R]]) -> Callable[P, pd.DataFrame]:
        @wraps(method)
        @on_one_thread
        def frame(*args: P.args, **kwargs: P.kwargs) -> pd.DataFrame:
            return Table("", columns, method(*args, **kwargs)).as_frame()

        method.__annotations__["return"] = frame.__annotations__["return"] = "pd.DataFrame"
        frame.__doc__ = _documented(method.__doc__ or "", columns, row)
        return frame

    return decorated


def _documented(doc: str, columns: Sequence[Column[Any]], row: str) -> str:
    """A docstring with what is returned before its example, or before what is raised."""
    first, _, rest = doc.partition("\n")
    text = f"{first}\n{textwrap.dedent(rest)}".rstrip()
    words, example, shown = text.partition(">>> ")
    words, raises, why = words.partition("Raises\n------\n")
    named = "; ".join(
        f"``{c.flat_in('C')}`` ({c.kind}){f': {c.meaning}' if c.meaning else ''}" for c in columns
    )
    indent = " " * 4
    told = textwrap.fill(
        f"{named}.", 108, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
    parts = [words.rstrip(), f"Returns\n-------\nDataFrame, one row {row}\n{told}"]
    parts += [f"{raises}{why.rstrip()}"] if raises else []
    parts += [f"Examples\n--------\n{example}{shown}"] if example else []
    return "\n\n".join(parts)


@dataclass(frozen=True, eq=False)
class Opened:
    """A garden as it was read; nothing here writes.

    `snapshot` holds records and weather on `as_of`, for whoever goes on with functions of `phenology`. How
    past forecasts did, the changes of the journal and a place's own readings are read when first asked for.
    """

    snapshot: Garden
    settings: GardenSettings
    read_past: Callable[[], list[PastForecast]]
    read_history: Callable[[], list[Change]]
    read_pair: Callable[[Place], StationPair]

    def __repr__(self) -> str:
        garden = self.snapshot
        return (
            f"<{self.settings.name or 'garden'}: {len(garden.trees)} trees, {len(garden.looks)} looks, "
            f"as of {garden.as_of.isoformat()}>"
        )

    @property
    def as_of(self) -> date:
        """The day on which the garden stands."""
        return self.snapshot.as_of

    @cached_property
    @on_one_thread
    def judged(self) -> Garden:
        """The snapshot, with how its past forecasts did: what the forecast is made from."""
        return replace(self.snapshot, skills=TrackRecord.of(self._past_forecasts(None)))

    @cached_property
    @on_one_thread
    def outlook(self) -> GardenForecast:
        """The forecast behind the frames, as `phenology.forecast_garden` gives it."""
        return forecast_garden(self.judged)

    @cached_property
    def fit(self) -> GardenFit:
        """What the records teach, as `phenology.GardenFit` gives it."""
        return GardenFit(self.snapshot)

    @cached_property
    def _past(self) -> dict[int, list[PastForecast]]:
        return {}

    def _past_forecasts(self, species: str | None, every: int = EVERY_DAYS) -> list[PastForecast]:
        """Past forecasts of a species as a grower calls it, reckoned once."""
        if every not in self._past:
            usual = every == EVERY_DAYS
            self._past[every] = self.read_past() if usual else past_forecasts(self.snapshot, every=every)
        latin = self._latin(species)
        return [one for one in self._past[every] if latin in (None, one.species)]

    def _place(self, name: str | None) -> Place:
        """A place by name or part of it; the first one without a name."""
        places = self.snapshot.places
        if name is None:
            return places[0]
        wanted = name.strip().casefold()
        found = [p for p in places if p.name.casefold() == wanted]
        found = found or [p for p in places if wanted in p.name.casefold()]
        if len(found) != 1:
            which = "several places fit" if found else "there is no place"
            raise InputError(f"{which} '{name}'; the places are {', '.join(p.name for p in places)}")
        return found[0]

    def _series(self, place: str | None) -> DailyWeather:
        where = self._place(place)
        if where.id not in self.snapshot.weather:
            raise WeatherError(
                f"there is no weather for {where.name} yet; add some with `flushcast weather add FILE`"
            )
        return self.snapshot.weather[where.id]

    def _latin(self, text: str | None) -> str | None:
        """The Latin name that a grower's word means, of species that grow here first; None stays None."""
        if text is None:
            return None
        garden = self.snapshot
        return own_species(text, {t.species for t in garden.trees}, garden.species).latin
