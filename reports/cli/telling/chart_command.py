"""`flushcast chart`: pictures as SVG or PNG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import as_of_option, open_garden_option, say
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from data_sources.garden import GardenSettings
    from phenology.garden import Garden

NAMES = ("garden", "tree", "calibration", "past", "reliability", "seasons", "station", "heat-curve")
LOOKING_BACK = ("past", "reliability")


@click.command("chart")
@click.argument("name", type=click.Choice(NAMES))
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="Ending in .svg or .png.")  # fmt: skip
@click.option("--tree", metavar="NAME", help="For the chart of one tree.")
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
    """Draw a picture: the garden by week, one tree, what was learned, how past forecasts did, this season
    among past ones, the station against your own readings, or how fast each way of counting warmth runs.

    Readable in grey and without colour vision; what it shows is also said in words.
    """
    if (name == "tree") != (tree is not None):
        raise click.UsageError("--tree goes with the chart of one tree")
    if species is not None and name not in ("calibration", *LOOKING_BACK):
        raise click.UsageError(f"--species does not go with '{name}'")
    if place is not None and name != "station":
        raise click.UsageError(f"--place does not go with '{name}'")
    if name == "calibration" and species is None:
        raise click.UsageError("calibration needs --species")
    from reports.charts.ink import FORMATS, save_chart
    from reports.garden.past_forecasts import read_with_skill

    if out.suffix.lower().lstrip(".") not in FORMATS:
        raise click.UsageError(f"a chart is written as .svg or .png, not as '{out.name}'")
    if name == "heat-curve":
        axes, words = _heat_curve(garden)
    elif name == "station":
        axes, words = _station(garden, place, as_of)
    else:
        snapshot, settings = read_with_skill(garden, as_of), garden.settings
        axes, words = _drawn(garden.folder, snapshot, settings, name, tree, species, as_of is not None)
    save_chart(axes, out, words)
    say(f"Wrote {out}. {words}")


def _heat_curve(garden: OpenGarden) -> tuple[Axes, str]:
    """Of no garden, but in its units where there is one."""
    from reports.charts.heat_curve import describe_heat_curve, plot_heat_curve

    units = garden.settings_or_usual.units
    return plot_heat_curve(units=units), describe_heat_curve(units)


def _station(garden: OpenGarden, place: str | None, as_of: str | None) -> tuple[Axes, str]:
    from reports.charts.station_chart import describe_station, plot_station
    from reports.garden.station_pair import station_pair

    pair = station_pair(garden.folder, garden.place(place), garden.past_day(as_of) if as_of else None)
    units = garden.settings.units
    return plot_station(pair, units=units), describe_station(pair, units)


def _drawn(
    folder: Path,
    garden: Garden,
    settings: GardenSettings,
    name: str,
    tree: str | None,
    species: str | None,
    past: bool,
) -> tuple[Axes, str]:
    if name == "seasons":
        from reports.charts.seasons_chart import describe_seasons, plot_seasons

        return plot_seasons(garden, units=settings.units), describe_seasons(garden)
    if name in ("garden", "tree"):
        return _forecast_chart(garden, tree)
    from phenology.species.catalogue import find_species

    kept = {t.species for t in garden.trees}
    mine = {latin: s for latin, s in garden.species.items() if latin in kept}
    latin = find_species(species, mine).latin if species else None
    if name == "calibration":
        from phenology.learning.garden_fit import GardenFit
        from reports.charts.calibration_chart import describe_calibration, plot_calibration

        fit, units = GardenFit(garden), settings.units
        words = describe_calibration(fit, latin or "", units=units)
        return plot_calibration(fit, latin or "", units=units), words
    from phenology.model.track_record import first_hardenings
    from reports.charts.past_chart import describe_past, plot_past, plot_reliability
    from reports.garden.past_forecasts import garden_past
    from reports.text.progress import progress

    with progress("past forecast") as step:
        made = first_hardenings(garden_past(folder, garden, say=say, progress=step))
    made = [one for one in made if latin is None or one.species == latin]
    return (plot_past if name == "past" else plot_reliability)(made), describe_past(made)


def _forecast_chart(garden: Garden, tree: str | None) -> tuple[Axes, str]:
    from phenology.advice.garden_forecast import forecast_garden
    from reports.charts.garden_weeks import describe_garden, plot_garden
    from reports.charts.one_tree import describe_tree, plot_tree
    from reports.text.progress import progress

    with progress("tree") as step:
        forecast = forecast_garden(garden, progress=step)
    if tree is None:
        return plot_garden(forecast), describe_garden(forecast)
    from phenology.language.tree_selection import Roster, select_trees
    from phenology.model.errors import InputError

    names = {latin: species.names for latin, species in garden.species.items()}
    roster = Roster(garden.trees, garden.places, garden.stands, names)
    chosen = select_trees(tree, roster, on=garden.as_of)
    if len(chosen) != 1:
        raise InputError(f"'{tree}' means {len(chosen)} trees; name one")
    return plot_tree(forecast, chosen[0]), describe_tree(forecast, chosen[0])
