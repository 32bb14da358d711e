"""The pictures of a garden, drawn into the axes given or into new ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reports.charts import learned_charts, tree_charts, weather_charts
from reports.garden.named_tree import named_tree
from reports.notebook.opened import Opened

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
