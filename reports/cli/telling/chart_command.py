"""`flushcast chart`: pictures as SVG or PNG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import as_of_option, open_garden_option, read_forecast, say
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = ("garden", "tree", "ripening", "calibration", "past", "reliability", "seasons", "station",
         "heat-curve")  # fmt: skip
LOOKING_BACK = ("past", "reliability")
OF_A_TREE = ("tree", "ripening")


@click.command("chart")
@click.argument("name", type=click.Choice(NAMES))
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
    """Draw a picture: the garden on one axis, one tree, what waiting costs, what was learned, how past
    forecasts did, this season among past ones, the station against your own readings, or how fast each way
    of counting warmth runs.

    Readable in grey and without colour vision; what it shows is also said in words.
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
    if name in ("garden", "tree"):
        axes, words = _forecast(garden, as_of, tree)
    elif name == "ripening":
        axes, words = _ripening(garden, as_of, tree or "")
    elif name == "heat-curve":
        axes, words = _heat_curve(garden)
    elif name == "station":
        axes, words = _station(garden, as_of, place)
    else:
        axes, words = _learned(garden, as_of, name, species)
    heading = ""
    if name != "heat-curve":
        heading = f"{garden.settings.name}, {weekday_full_date(garden.snapshot(as_of).as_of)}"
    save_chart(axes, out, words, heading)
    say(f"Wrote {out}. {words}")


def _forecast(opened: OpenGarden, as_of: str | None, tree: str | None) -> tuple[Axes, str]:
    from reports.charts.tree_charts import describe_garden, describe_tree, plot_garden, plot_tree

    forecast = read_forecast(opened, as_of)
    if tree is None:
        return plot_garden(forecast), describe_garden(forecast)
    chosen = opened.select_one(tree)
    return plot_tree(forecast, chosen), describe_tree(forecast, chosen)


def _ripening(opened: OpenGarden, as_of: str | None, tree: str) -> tuple[Axes, str]:
    from reports.charts.tree_charts import describe_ripening, plot_ripening

    garden, chosen = opened.snapshot(as_of), opened.select_one(tree)
    return plot_ripening(garden, chosen), describe_ripening(garden, chosen)


def _heat_curve(garden: OpenGarden) -> tuple[Axes, str]:
    """Of no garden, but in its units where there is one."""
    from reports.charts.weather_charts import describe_heat_curve, plot_heat_curve

    units = garden.settings_or_usual.units
    return plot_heat_curve(units=units), describe_heat_curve(units)


def _station(garden: OpenGarden, as_of: str | None, place: str | None) -> tuple[Axes, str]:
    from reports.charts.weather_charts import describe_station, plot_station
    from reports.garden.station_pair import station_pair

    pair = station_pair(garden.folder, garden.place(place), garden.past_day(as_of) if as_of else None)
    units = garden.settings.units
    return plot_station(pair, units=units), describe_station(pair, units)


def _learned(opened: OpenGarden, as_of: str | None, name: str, species: str | None) -> tuple[Axes, str]:
    """Of the season so far, of what was learned of a species, of how past forecasts did."""
    from phenology.learning.garden_fit import GardenFit
    from phenology.model.track_record import first_hardenings
    from phenology.species.catalogue import find_species
    from reports.charts.learned_charts import (
        describe_calibration,
        describe_past,
        plot_calibration,
        plot_past,
        plot_reliability,
    )
    from reports.charts.weather_charts import describe_seasons, plot_seasons
    from reports.garden.past_forecasts import garden_past
    from reports.text.progress import progress

    garden, units = opened.snapshot(as_of), opened.settings.units
    if name == "seasons":
        return plot_seasons(garden, units=units), describe_seasons(garden)
    kept = {t.species for t in garden.trees}
    mine = {latin: s for latin, s in garden.species.items() if latin in kept}
    latin = find_species(species, mine).latin if species else None
    if name == "calibration":
        fit = GardenFit(garden)
        return plot_calibration(fit, latin, units=units), describe_calibration(fit, latin, units=units)
    with progress("past forecast") as step:
        made = first_hardenings(garden_past(opened.folder, garden, say=say, progress=step))
    made = [one for one in made if latin is None or one.species == latin]
    return (plot_past if name == "past" else plot_reliability)(made), describe_past(made)
