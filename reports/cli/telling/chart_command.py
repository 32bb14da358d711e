"""`flushcast chart`: pictures as SVG or PNG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import as_of_option, open_garden_option, read_forecast, say, tell
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = ("garden", "tree", "ripening", "calibration", "past", "reliability", "seasons", "station",
         "heat-curve")  # fmt: skip
LOOKING_BACK = ("past", "reliability")
OF_A_TREE = ("tree", "ripening")


@click.command("chart")
@click.argument("name", type=click.Choice(NAMES), metavar="KIND")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="Ending in .svg or .png.")  # fmt: skip
@click.option("--tree", metavar="NAME", help="For the charts of one tree.")
@click.option("--species", metavar="NAME", help="For calibration, and to look back on one species.")
@click.option("--place", metavar="NAME", help="For the station against a place.")
@as_of_option
@open_garden_option
def chart_command(
    garden: OpenGarden,
    name: str,
    out: Path,
    tree: str | None,
    species: str | None,
    place: str | None,
    as_of: str | None,
) -> None:
    """Draw a picture, readable in grey and without colour vision; what it shows is also said in words.

    \b
    flushcast chart garden --out garden.svg
    flushcast chart tree --tree "Elm 2" --out elm.png

    \b
    KIND: garden       every tree on one axis
          tree         the season of one tree
          ripening     what waiting costs one tree
          calibration  what was learned
          past         how far past forecasts missed
          reliability  whether their odds were honest
          seasons      this season among past ones
          station      the station against your own readings
          heat-curve   how fast each way of counting warmth runs
    """
    if (name in OF_A_TREE) != (tree is not None):
        raise click.UsageError("--tree goes with the charts of one tree, tree and ripening")
    if species is not None and name not in ("calibration", *LOOKING_BACK):
        raise click.UsageError(f"--species does not go with '{name}'")
    if place is not None and name != "station":
        raise click.UsageError(f"--place does not go with '{name}'")
    from phenology.language.date_style import weekday_full_date
    from reports.charts.ink import FORMATS, save_chart

    if out.suffix.lower().lstrip(".") not in FORMATS:
        raise click.UsageError(f"a chart is written as .svg or .png, not as '{out.name}'")
    if name in ("garden", "tree", "ripening"):
        axes, words = _of_trees(garden, as_of, name, tree)
    elif name in ("seasons", "station", "heat-curve"):
        axes, words = _of_weather(garden, as_of, name, place)
    else:
        axes, words = _of_learning(garden, as_of, name, species)
    heading = ""
    if name != "heat-curve":
        heading = f"{garden.settings.name}, {weekday_full_date(garden.snapshot(as_of).as_of)}"
    save_chart(axes, out, words, heading)
    tell(f"Wrote {out}. {words}")


def _of_trees(opened: OpenGarden, as_of: str | None, name: str, tree: str | None) -> tuple[Axes, str]:
    from reports.charts import tree_charts as charts

    if name == "ripening":
        garden, chosen = opened.snapshot(as_of), opened.select_one(tree or "")
        return charts.plot_ripening(garden, chosen), charts.describe_ripening(garden, chosen)
    forecast = read_forecast(opened, as_of)
    if tree is None:
        return charts.plot_garden(forecast), charts.describe_garden(forecast)
    chosen = opened.select_one(tree)
    return charts.plot_tree(forecast, chosen), charts.describe_tree(forecast, chosen)


def _of_weather(opened: OpenGarden, as_of: str | None, name: str, place: str | None) -> tuple[Axes, str]:
    """Of the season so far, a place beside its station, or no garden, though in its units if there is one."""
    from reports.charts import weather_charts as charts
    from reports.garden.place_weather import station_pair

    if name == "heat-curve":
        units = opened.settings_or_usual.units
        return charts.plot_heat_curve(units=units), charts.describe_heat_curve(units)
    if name == "seasons":
        garden = opened.snapshot(as_of)
        return charts.plot_seasons(garden, units=opened.settings.units), charts.describe_seasons(garden)
    pair = station_pair(opened.folder, opened.place(place), opened.past_day(as_of) if as_of else None)
    units = opened.settings.units
    return charts.plot_station(pair, units=units), charts.describe_station(pair, units)


def _of_learning(opened: OpenGarden, as_of: str | None, name: str, species: str | None) -> tuple[Axes, str]:
    """Of what was learned of a species, or of how past forecasts did."""
    from phenology.learning.garden_fit import GardenFit
    from phenology.model.track_record import first_hardenings
    from phenology.species.catalogue import find_species
    from reports.charts import learned_charts as charts
    from reports.garden.past_forecasts import garden_past
    from reports.views.progress import progress

    garden, units = opened.snapshot(as_of), opened.settings.units
    kept = {t.species for t in garden.trees}
    mine = {latin: s for latin, s in garden.species.items() if latin in kept}
    latin = find_species(species, mine).latin if species else None
    if name == "calibration":
        fit = GardenFit(garden)
        axes = charts.plot_calibration(fit, latin, units=units)
        return axes, charts.describe_calibration(fit, latin, units=units)
    with progress("past forecast") as step:
        made = first_hardenings(garden_past(opened.folder, garden, say=say, progress=step))
    made = [one for one in made if latin is None or one.species == latin]
    return (charts.plot_past if name == "past" else charts.plot_reliability)(made), charts.describe_past(made)
