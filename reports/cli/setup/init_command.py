"""`flushcast init`: a garden in a folder."""

from __future__ import annotations

from pathlib import Path

import click

from phenology.language.date_style import SHOWN_ORDERS
from reports.cli.common import garden_folder, may_ask

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@click.command("init")
@click.argument("folder", required=False, type=click.Path(path_type=Path), metavar="[DIR]")
@click.option("--name", metavar="NAME", help="What the garden is called.")
@click.option("--town", metavar="TOWN", help="Where it is, by a town's name: 'Springfield, OH'.")
@click.option("--lat", metavar="DEGREES", help="Latitude, such as 47.2 or '33.9 S'.")
@click.option("--lon", metavar="DEGREES", help="Longitude, such as 8.3 or '122.4 W'.")
@click.option("--elevation", metavar="METRES", help="Above the sea; '1017ft' is understood.")
@click.option("--timezone", metavar="ZONE", help="Such as Europe/Zurich (default: that of the nearest town).")
@click.option(
    "--place",
    "place_name",
    metavar="NAME",
    help="What the spot is called (default: Bench). Alone it says the town too.",
)
@click.option(
    "--units", type=click.Choice(["C", "F"], case_sensitive=False), help="How temperatures are shown."
)
@click.option(
    "--tree", "trees", multiple=True, metavar="LABEL=SPECIES", help='A tree: "Hornbeam 1=Carpinus laxiflora".'
)
@click.option("--season-start", metavar="MM-DD", help="First day of a season (default: by hemisphere).")
@click.option(
    "--date-order",
    type=click.Choice(SHOWN_ORDERS),
    help="How dates are shown and 4/7 is read (default: as the country does).",
)
@click.option(
    "--first-weekday",
    type=click.Choice(WEEKDAYS, case_sensitive=False),
    metavar="WEEKDAY",
    help="Where weeks begin (default: as in the country).",
)
@click.option(
    "--from", "export", type=click.Path(path_type=Path), metavar="EXPORT", help="Rebuild an exported garden."
)
@click.pass_context
def init_command(
    ctx: click.Context,
    folder: Path | None,
    name: str | None,
    town: str | None,
    lat: str | None,
    lon: str | None,
    elevation: str | None,
    timezone: str | None,
    place_name: str | None,
    units: str | None,
    trees: tuple[str, ...],
    season_start: str | None,
    date_order: str | None,
    first_weekday: str | None,
    export: Path | None,
) -> None:
    """Make a garden: where it is, its units, its first trees.

    \b
    flushcast init my-garden --town "Chur, Switzerland" --elevation 590 \\
        --tree "Hornbeam 1=Carpinus laxiflora" --tree "Elm 1=Ulmus parvifolia"
    """
    from reports.cli.setup import init_entry as entry

    target = folder or garden_folder((ctx.obj or {}).get("garden"))
    entry.refuse_where_a_garden_is(target)
    if export is not None:
        entry.rebuild(target, export)
        return
    from reports.cli.setup.init_where import find_where

    where = find_where(town or (None if lat or lon else place_name), lat, lon, timezone)
    if may_ask():
        if elevation is None:
            elevation = click.prompt(
                "Elevation in metres (empty: unknown)", default="", show_default=False, err=True
            )
        units = units or click.prompt(
            "Temperatures in C or F", type=click.Choice(["C", "F"]), default="C", err=True
        )
        trees = trees or tuple(_ask_for_trees())
    given = entry.Given(
        name,
        where,
        elevation or None,
        place_name,
        units or "C",
        trees,
        season_start,
        date_order,
        first_weekday,
    )
    entry.make(target, given)


def _ask_for_trees() -> list[str]:
    """Trees one by one until an empty line."""
    trees: list[str] = []
    while True:
        line = click.prompt(
            "A tree as LABEL=SPECIES, such as Elm 1=Ulmus parvifolia (empty: no more)",
            default="",
            show_default=False,
            err=True,
        )
        if not line.strip():
            return trees
        trees.append(line)
