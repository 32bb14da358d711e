"""The front door for Python: a garden opened, its results as DataFrames, its pictures."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from data_sources.demo.garden import demo_day, store_demo
from data_sources.journal.changes import Change
from phenology.garden import Garden
from phenology.language.vague_dates import parse
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.model.track_record import PastForecast
from reports.charts import learned_charts, tree_charts, weather_charts
from reports.garden.clock import today
from reports.garden.meant import named_tree
from reports.garden.open_garden import OpenGarden, one_day
from reports.garden.past_forecasts import garden_past
from reports.garden.place_weather import StationPair, station_pair
from reports.notebook.ahead import Ahead
from reports.notebook.learned import LearnedFrames
from reports.notebook.opened import Opened
from reports.notebook.records import Records
from reports.notebook.seasons import Elsewhere, SeasonFrames
from reports.notebook.weather import WeatherFrames

if TYPE_CHECKING:
    from matplotlib.axes import Axes


class Pictures(Opened):
    """Pictures: each returns its axes and shows nothing by itself.

    In a notebook end the cell with ``.figure``, or draw into axes of your own:
    ``garden.plot_garden(plt.subplots()[1])``. A `tree` is its label, or words that mean this one tree;
    `units`, "C" or "F", are the garden's own unless given.
    """

    def plot_garden(self, ax: Axes | None = None) -> Axes:
        """Draw the main picture: every tree on one axis, what comes, when to look and when to stop.

        Examples
        --------
        >>> garden.plot_garden().figure.savefig("garden.svg")  # doctest: +SKIP
        """
        return tree_charts.plot_garden(self.outlook, ax)

    def plot_tree(self, tree: str, ax: Axes | None = None) -> Axes:
        """Draw one tree's season: what was seen, what is likely, what is usual for it."""
        return tree_charts.plot_tree(self.outlook, named_tree(self.snapshot, tree), ax)

    def plot_ripening(self, tree: str, ax: Axes | None = None) -> Axes:
        """Draw the odds that what a cut wakes ripens, by the day of the cut, with the last safe day."""
        return tree_charts.plot_ripening(self.snapshot, named_tree(self.snapshot, tree), ax)

    def plot_calibration(self, species: str | None = None, ax: Axes | None = None) -> Axes:
        """Draw what was learned beside what the catalogue believed, a row a species and step."""
        return learned_charts.plot_calibration(self.fit, self._latin(species), ax)

    def plot_past(self, species: str | None = None, ax: Axes | None = None) -> Axes:
        """Draw how far past forecasts missed, by how long before they were made."""
        return learned_charts.plot_past(self._past_forecasts(species), ax)

    def plot_reliability(self, species: str | None = None, ax: Axes | None = None) -> Axes:
        """Draw how often it had come when the forecast gave it a chance."""
        return learned_charts.plot_reliability(self._past_forecasts(species), ax)

    def plot_seasons(self, ax: Axes | None = None, *, units: str | None = None) -> Axes:
        """Draw this season's warmth among past ones."""
        return weather_charts.plot_seasons(self.snapshot, ax, units=units or self.settings.units)

    def plot_station(
        self, place: str | None = None, ax: Axes | None = None, *, units: str | None = None
    ) -> Axes:
        """Draw how much warmer or colder a place is than its station, day by day and as learned."""
        return weather_charts.plot_station(
            self.read_pair(self._place(place)), ax, units=units or self.settings.units
        )

    def plot_heat_curve(self, ax: Axes | None = None, *, units: str | None = None) -> Axes:
        """Draw what a day at one steady temperature counts, by each clock."""
        return weather_charts.plot_heat_curve(ax, units=units or self.settings.units)


DEMO = "demo"


class GardenFrames(Ahead, Records, WeatherFrames, LearnedFrames, SeasonFrames, Elsewhere, Pictures):
    """A garden as it was read, every result of it as a plain DataFrame. Made by `open_garden`.

    Units stand in the columns' names, dates are real datetimes, `season` is the year in which a season
    starts, temperatures are in °C whatever the garden shows. Frames are the caller's own: changing one
    changes nothing else. Results are worked out when first asked for and then kept.

    A `species` is its Latin or common name, or part of it, without one every species that has trees; a
    `place` its name or part of it, without one the first; a `season` the year it starts in,
    without one that under way. In the examples ``garden`` is ``open_garden("demo", as_of="2026-06-14")``.

    ============================  ====================================================================
    what lies ahead               `agenda`, `forecast`, `chances`, `windows`, `last_safe_dates`, `care`,
                                  `round`, `changes`
    what was written down         `trees`, `places`, `species`, `looks`, `work`, `flushes`, `intervals`,
                                  `history`
    weather                       `weather`, `weather_coverage`, `readings`, `thermal_time`, `clocks`
    what was learned              `calibration`, `clock_shares`, `skill`, `season_skill`, `past_forecasts`,
                                  `leaf_counts`, `classic`, `habits`, `observers`
    seasons beside each other     `seasons`, `days_ahead`, `frosts`, `stages`, `tree_stages`, `followed`,
                                  `trends`, `elsewhere`
    pictures                      `plot_garden`, `plot_tree`, `plot_seasons`, `plot_calibration`,
                                  `plot_past`, `plot_reliability`, `plot_station`, `plot_heat_curve`
    behind the frames             `snapshot`, `outlook`, `fit`: the objects of `phenology` themselves
    ============================  ====================================================================
    """


def open_garden(
    path: str | os.PathLike[str] = DEMO, as_of: date | str | None = None, *, south: bool = False
) -> GardenFrames:
    """Open a garden for reading; nothing is written, printed or fetched.

    Parameters
    ----------
    path : path
        The garden's folder, or "demo": the invented garden, made afresh in a folder that is gone afterwards.
    as_of : date or text, optional
        Stand on an earlier day and forget what came after it, as `--as-of` does; for "demo" the day on which
        it is to stand, 14 June without one.
    south : bool
        For "demo": the same garden in the southern hemisphere.

    Returns
    -------
    GardenFrames

    Raises
    ------
    StoreError, InputError
        If there is no garden there, its files cannot be read, or the date cannot be understood.

    Notes
    -----
    A journal that an older flushcast wrote is brought up to date first, after a backup, as any command does.

    Examples
    --------
    >>> garden = open_garden("demo", as_of="2026-06-14")
    >>> garden
    <Larkfield (invented): 12 trees, 1064 looks, as of 2026-06-14>
    """
    if path == DEMO:
        day = (
            demo_day(today(), south=south)
            if as_of is None
            else one_day(as_of, lambda text: parse(text, today=today()))
        )
        return _demo(day, south)
    if south:
        raise InputError("only the demo garden can be put in the southern hemisphere")
    opened = OpenGarden(Path(path).expanduser())
    with opened:
        snapshot = opened.snapshot(as_of)
    return _frames(snapshot, opened, past=as_of is not None)


@cache
def _demo(day: date, south: bool) -> GardenFrames:
    """The demo garden of a day, made once: nobody can change it."""
    with TemporaryDirectory(prefix="flushcast-") as made:
        folder = Path(made) / DEMO
        store_demo(folder, day, south=south)
        with OpenGarden(folder) as opened:
            snapshot, changes = opened.snapshot(), opened.journal.history()
    frames = _frames(snapshot, opened, past=True)
    return replace(frames, read_history=lambda: changes, read_pair=_no_pair)


def _no_pair(place: Place) -> StationPair:
    raise InputError(f"{place.name} is invented and has no readings of its own")


def _frames(snapshot: Garden, opened: OpenGarden, *, past: bool) -> GardenFrames:
    def read_past() -> list[PastForecast]:
        return garden_past(opened.folder, snapshot, keep=False)

    def read_history() -> list[Change]:
        with opened:
            return opened.journal.history()

    def read_pair(place: Place) -> StationPair:
        return station_pair(opened.folder, place, snapshot.as_of if past else None)

    return GardenFrames(snapshot, opened.settings, read_past, read_history, read_pair)
