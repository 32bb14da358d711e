"""Hindcasts from Python: looks and weather in, forecasts and scores out as DataFrames."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeAlias

import pandas as pd

from data_sources.tables.looks_file import read_looks
from phenology.judging.hindcast import START, DatedSight, Hindcast, Question
from phenology.judging.hindcast import hindcast as run_hindcast
from phenology.language.words import find_stage
from phenology.learning.transitions import catalogue_priors
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar
from reports.garden.clock import today
from reports.notebook.opened import framed, on_one_thread
from reports.notebook.weather import Weather, daily_weather
from reports.views.hindcast import COUNTS, FORECASTS, SCORES, Forecast, Scored, counts, forecasts, scored

Looks: TypeAlias = pd.DataFrame | str | os.PathLike[str]


@dataclass(frozen=True, eq=False)
class HindcastFrames:
    """A hindcast and its frames. Made by `hindcast`."""

    result: Hindcast
    question: Question
    calendar: SeasonCalendar

    @framed(FORECASTS, "a tree-season")
    def forecasts(self) -> Iterable[Forecast]:
        """The forecasts, as `flushcast hindcast --out` writes them, and what was seen."""
        return forecasts(self.result, self.question, self.calendar)

    @framed(SCORES, "a forecaster, flushcast first; none where no row can be scored")
    def scores(self) -> Iterable[Scored]:
        """How good they were beside two plain rivals, on the rows whose target looks bracket."""
        return scored(self.result, self.question)

    @framed(COUNTS, "a count")
    def counts(self) -> Iterable[tuple[str, int]]:
        """What was counted on the way: rows, and what has none."""
        return counts(self.result)


@on_one_thread
def hindcast(
    looks: Looks,
    weather: Weather,
    *,
    given: str,
    target: str,
    issued: Sequence[tuple[int, int]] = (),
    latitude: float | None = None,
    train: tuple[int, int] | None = None,
    test: tuple[int, int] | None = None,
    known_weather: bool = False,
    skip_bad: bool = False,
    units: str | None = "C",
) -> HindcastFrames:
    """Forecast past seasons as they would have been forecast then, as `flushcast hindcast` does.

    Parameters
    ----------
    looks : DataFrame or path
        A LOOKS.csv, or a frame with its columns: ``date``, ``tree`` (or ``label``), ``species``, ``flush``,
        ``stage``, and perhaps ``earliest``, ``latest``, ``kind``. `GardenFrames.looks` fits as it is.
    weather, units
        Daily weather; see `reports.notebook.weather.daily_weather`. [°C]
    given, target : str
        The stage whose first sight issues a forecast ("start": the season's first day), and the one forecast.
    issued : sequence of (int, int)
        Months and days on which forecasts are issued, instead of at the first sight of `given`.
    latitude : float, optional
        For the length of the day; without it no clock reads it. South of the equator seasons start on 1 July.
        [degrees]
    train, test : (int, int), optional
        First and last season to learn from, and to forecast; without them every season is left out in turn.
    known_weather, skip_bad : bool
        Take the season's later weather as known, never its later looks; leave out flushes whose looks go
        backward, instead of refusing.

    Raises
    ------
    InputError, LookError, WeatherError
        If looks or weather cannot be read, or no season can be forecast.

    Examples
    --------
    >>> from reports.notebook import hindcast, open_garden
    >>> garden = open_garden("demo", as_of="2026-06-14")
    >>> judged = hindcast(garden.looks(), garden.weather(), given="budbreak", target="hardened")
    >>> judged.scores()[["forecaster", "rows", "mae_days"]].round(0)
                                   forecaster  rows  mae_days
    0                               flushcast   115       5.0
    1                      same date as usual   115      18.0
    2  usual days after budbreak, by its date   115      10.0
    """
    if (train is None) != (test is None):
        raise InputError("give both train and test, or neither to leave every season out in turn")
    calendar = SeasonCalendar.for_latitude(45.0 if latitude is None else latitude)
    begins = START if given == START else find_stage(given)
    question = Question(begins, find_stage(target), known_weather, train, test, tuple(issued))
    result = run_hindcast(
        _sights(looks, calendar),
        daily_weather(weather, units=units),
        question,
        calendar=calendar,
        prior_of=catalogue_priors(question.given, question.target),
        latitude=latitude,
        skip_bad=skip_bad,
    )
    return HindcastFrames(result, question, calendar)


def _sights(looks: Looks, calendar: SeasonCalendar) -> Sequence[DatedSight]:
    if isinstance(looks, pd.DataFrame):
        return list(_of_frame(looks))
    return read_looks(Path(looks), today=today(), calendar=calendar)


def _of_frame(looks: pd.DataFrame) -> Iterator[DatedSight]:
    if "tree" not in looks.columns and "label" in looks.columns:
        looks = looks.rename(columns={"label": "tree"})
    missing = [name for name in ("date", "tree", "species", "flush", "stage") if name not in looks.columns]
    if missing:
        raise InputError(f"the looks have no column {', '.join(missing)}")
    latest = _days(looks, "latest" if "latest" in looks.columns else "date")
    earliest = _days(looks, "earliest") if "earliest" in looks.columns else latest
    kinds = looks["kind"].tolist() if "kind" in looks.columns else ["seen"] * len(looks)
    columns = (looks[name].tolist() for name in ("tree", "species", "flush", "stage"))
    for tree, species, flush, stage, first, last, kind in zip(*columns, earliest, latest, kinds, strict=True):
        yield DatedSight(str(tree), str(species), int(flush), find_stage(str(stage)), first, last, str(kind))


def _days(looks: pd.DataFrame, name: str) -> list[date]:
    try:
        days = pd.to_datetime(looks[name])
    except (ValueError, TypeError) as error:
        raise InputError(f"the looks' column '{name}' holds something that is no date: {error}") from None
    if days.isna().any():
        raise InputError(f"the looks' column '{name}' is empty in row {int(days.isna().to_numpy().argmax())}")
    return [day.date() for day in days]
