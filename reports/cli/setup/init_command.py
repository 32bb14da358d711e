"""`flushcast init`: a garden in a folder, new or from an export."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from data_sources.garden import (
    JOURNAL_NAME,
    SETTINGS_NAME,
    GardenSettings,
    create_garden,
    new_id,
    open_journal,
    write_settings,
)
from data_sources.garden_settings import WEEKDAYS
from phenology.language.date_style import SHOWN_ORDERS
from phenology.language.plain_names import name_key, plain_name
from phenology.language.tree_selection import few_labels
from phenology.model.errors import InputError, StoreError
from phenology.model.records import Place, Stand, Tree
from reports.cli.common import garden_folder, may_ask, say, tell
from reports.cli.setup.positions import read_elevation, read_latitude, read_longitude, shown_position
from reports.text.lines import counted

if TYPE_CHECKING:
    from data_sources.country_dates import CountryDates


@click.command("init")
@click.argument("folder", required=False, type=click.Path(path_type=Path), metavar="[DIR]")
@click.option("--name", default="Garden", metavar="NAME", help="What the garden is called.")
@click.option("--town", metavar="TOWN", help="Where it is, by a town's name: 'Springfield, OH'.")
@click.option("--lat", metavar="DEGREES", help="Latitude, such as 47.2 or '33.9 S'.")
@click.option("--lon", metavar="DEGREES", help="Longitude, such as 8.3 or '122.4 W'.")
@click.option("--elevation", metavar="METRES", help="Above the sea; '1017ft' is understood.")
@click.option("--timezone", metavar="ZONE", help="Such as Europe/Zurich (default: that of the nearest town).")
@click.option("--place", metavar="NAME", help="What the spot is called (Bench). Alone it says the town too.")
@click.option(
    "--units", type=click.Choice(["C", "F"], case_sensitive=False), help="How temperatures are shown."
)
@click.option("--tree", "trees", multiple=True, metavar="LABEL=SPECIES",
              help='A tree: "Hornbeam 1=Carpinus laxiflora".')  # fmt: skip
@click.option("--season-start", metavar="MM-DD", help="First day of a season (default: by hemisphere).")
@click.option("--date-order", type=click.Choice(SHOWN_ORDERS),
              help="How dates are shown and 4/7 is read (default: as the country does).")  # fmt: skip
@click.option("--first-weekday", type=click.Choice(WEEKDAYS, case_sensitive=False), metavar="WEEKDAY",
              help="Where weeks begin (default: as in the country).")  # fmt: skip
@click.option("--from", "export", type=click.Path(path_type=Path), metavar="EXPORT",
              help="Rebuild an exported garden.")  # fmt: skip
@click.pass_context
def init_command(
    ctx: click.Context,
    folder: Path | None,
    name: str,
    town: str | None,
    lat: str | None,
    lon: str | None,
    elevation: str | None,
    timezone: str | None,
    place: str | None,
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
    target = folder or garden_folder((ctx.obj or {}).get("garden"))
    if target.is_file():
        raise StoreError(f"{target} is a file, not a folder; name another folder. Nothing was changed")
    if (target / JOURNAL_NAME).exists() and (target / SETTINGS_NAME).exists():
        raise StoreError(f"there is a garden in {target} already; nothing was changed")
    if export is not None:
        _rebuild(target, export)
        return
    if (target / JOURNAL_NAME).exists():
        if town or lat or lon or elevation or timezone or place or trees:
            raise click.UsageError("the journal there has its places and trees; only settings can be given")
        _mend(target, name, units, season_start, date_order, first_weekday)
        return
    from data_sources.country_dates import country_dates
    from reports.cli.setup.init_where import find_where

    where = find_where(town or (None if lat or lon else place), lat, lon, timezone)
    if may_ask():
        if elevation is None:
            question = "Elevation in metres (empty: unknown)"
            elevation = click.prompt(question, default="", show_default=False, err=True)
        choices = click.Choice(["C", "F"])
        units = units or click.prompt("Temperatures in C or F", type=choices, default="C", err=True)
        trees = trees or tuple(_ask_for_trees())
    spot = Place(
        new_id(),
        plain_name(place or "Bench"),
        read_latitude(where.latitude),
        read_longitude(where.longitude),
        read_elevation(elevation) if elevation else None,
        where.timezone,
    )
    grown, unknown = _read_trees(trees)
    usual = country_dates(where.timezone)
    settings = GardenSettings(
        name=plain_name(name) or "Garden",
        units=(units or "C").upper(),
        season_start=season_start,
        date_order=date_order or (usual.order if usual else None),
        first_weekday=first_weekday or (usual.first_weekday if usual else None),
    )
    stands = [Stand(new_id(), tree.id, spot.id) for tree in grown]
    label = f"made the garden: {spot.name}, {counted(len(grown), 'trees')}"
    create_garden(target, settings, [spot, *grown, *stands], label)
    named = f" with {few_labels(grown)}" if grown else ""
    tell(f"Made {settings.name} in {target}: {spot.name} at {shown_position(spot)}{named}.")
    for latin in unknown:
        tell(f"Note: {latin} is not in the catalogue, so it starts from a neutral guess.")
    if usual is not None and not (date_order and first_weekday):
        tell(_dates_of(settings, usual))
    there = "" if target == Path(".") else f"--garden {target} "
    say("Next:")
    say(f"  flushcast {there}" + (f'look "{grown[0].label}" soft' if grown else TREE_ADD))
    say(f"  flushcast {there}weather add FILE.csv")


def _mend(
    folder: Path,
    name: str,
    units: str | None,
    season_start: str | None,
    date_order: str | None,
    first_weekday: str | None,
) -> None:
    """New settings for a garden that has lost them; its journal stays as it is."""
    open_journal(folder).close()  # it must be one that can be used
    settings = GardenSettings(
        name=plain_name(name) or "Garden",
        units=(units or "C").upper(),
        season_start=season_start,
        date_order=date_order,
        first_weekday=first_weekday,
    )
    write_settings(folder, settings)
    tell(
        f"The journal in {folder} is kept; it has new settings, at their defaults unless given: look them "
        "through with flushcast settings, the season's start above all."
    )


TREE_ADD = 'tree add "Elm 1" "Ulmus parvifolia"'


def _rebuild(folder: Path, export: Path) -> None:
    """A garden exactly as an export has it."""
    from data_sources.garden_export import rebuild_garden

    counts = rebuild_garden(folder, export)
    rows = ", ".join(counted(counts[name], name) for name in ("places", "trees", "works", "looks"))
    weather = f", {counts['days']} days of weather" if counts["days"] else ""
    tell(f"Rebuilt the garden in {folder} from {export}: {rows}{weather}.")


def _dates_of(settings: GardenSettings, usual: CountryDates) -> str:
    """How dates will be shown and read, and where that comes from."""
    shown = settings.date_style.short(date(2026, 7, 4))
    order = {
        "day-first": f"shown and read day first ({shown})",
        "month-first": f"shown and read month first ({shown})",
        "year-first": f"shown year first ({shown})",
        None: f"shown day first ({shown}), and 4/7 is asked about",
    }[settings.date_order]
    weeks = (settings.first_weekday or WEEKDAYS[0]).capitalize()
    return (
        f"Dates ({usual.country}): {order}; weeks begin on {weeks}. "
        "Change it with: flushcast settings date-order, flushcast settings first-weekday."
    )


def _ask_for_trees() -> Iterator[str]:
    """Trees one by one until an empty line."""
    question = "A tree as LABEL=SPECIES, such as Elm 1=Ulmus parvifolia (empty: no more)"
    while (line := click.prompt(question, default="", show_default=False, err=True)).strip():
        yield line


def _read_trees(typed: Sequence[str]) -> tuple[list[Tree], list[str]]:
    """Trees as typed, and the species that nobody has described."""
    from data_sources.tables.import_draft import species_named
    from phenology.species.catalogue import load_species

    catalogue = load_species()
    trees: list[Tree] = []
    for text in typed:
        label, equals, species = (plain_name(part) for part in text.partition("="))
        if not equals or not label or not species:
            raise InputError(
                f"--tree takes LABEL=SPECIES, such as {json.dumps('Elm 1=Ulmus parvifolia')}; got '{text}'"
            )
        if name_key(label) in {name_key(tree.label) for tree in trees}:
            raise InputError(f"two trees are called '{label}'; labels must differ")
        trees.append(Tree(new_id(), label, species_named(species, catalogue)))
    return trees, [tree.species for tree in trees if tree.species not in catalogue]
