"""`flushcast init`: a garden in a folder, new or from an export; `flushcast demo`: an invented one."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import replace
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
from reports.cli.common import garden_folder, may_ask, once_a_day, put, read_forecast, say, tell
from reports.cli.setup.place_command import read_elevation, read_latitude, read_longitude, shown_position
from reports.garden.open_garden import OpenGarden, one_day
from reports.views.words import counted

if TYPE_CHECKING:
    from data_sources.country_dates import CountryDates
    from reports.cli.setup.init_questions import Named

TREE_ADD = 'tree add "Elm 1" "Ulmus parvifolia"'


@click.command("init")
@click.argument("folder", required=False, type=click.Path(path_type=Path), metavar="[DIR]")
@click.option("--name", default="Garden", metavar="NAME", help="What the garden is called.")
@click.option("--town", metavar="TOWN", help="Where it is, by a town's name: 'London, Ontario'.")
@click.option("--lat", metavar="DEGREES", help="Latitude, such as 47.2 or '33.9 S'.")
@click.option("--lon", metavar="DEGREES", help="Longitude, such as 8.3 or '122.4 W'.")
@click.option("--elevation", metavar="METRES", help="Above the sea; '1017ft' is understood.")
@click.option("--timezone", metavar="ZONE", help="Such as Europe/Zurich (default: that of the nearest town).")
@click.option("--place", metavar="NAME", help="What the spot is called (Bench). Alone it says the town too.")
@click.option(
    "--units",
    type=click.Choice(["C", "F"], case_sensitive=False),
    help="How temperatures are shown (default: as in the country).",
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
    """Make a garden: where it is, its first trees, and a first forecast.

    At a terminal it asks what the flags leave open; every answer is kept when
    it is given, and a slip is asked again.

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
        _mend(target, _settings(name, units, season_start, date_order, first_weekday))
        return
    from data_sources.country_dates import country_dates
    from reports.cli.setup.init_questions import find_where

    where = find_where(town or (None if lat or lon else place), lat, lon, timezone)
    spot = Place(
        new_id(),
        plain_name(place or "Bench"),
        read_latitude(where.latitude),
        read_longitude(where.longitude),
        read_elevation(elevation) if elevation else None,
        where.timezone,
    )
    grown, slips, unknown = _read_trees(trees)
    usual = country_dates(where.timezone)
    settings = _settings(name, units, season_start, date_order, first_weekday, usual)
    stands = [Stand(new_id(), tree.id, spot.id) for tree in grown]
    label = f"made the garden: {spot.name}, {counted(len(grown), 'trees')}"
    create_garden(target, settings, [spot, *grown, *stands], label)
    named = f" with {few_labels(grown)}" if grown else ""
    tell(f"Made {settings.name} in {target}: {spot.name} at {shown_position(spot)}{named}.")
    for latin in unknown:
        tell(f"Note: {latin} is not in the catalogue, so it starts from a neutral guess.")
    if usual is not None and not (date_order and first_weekday):
        tell(_dates_of(settings, usual))
    if usual is not None and usual.units == "F" and not units:
        tell(f"Temperatures ({usual.country}) in °F. Change it with: flushcast settings units C.")
    there = "" if target == Path(".") else f"--garden {target} "
    if may_ask():
        first = _ask_on(target, there, spot, slips, ask_trees=not trees)
    else:
        first = f'look "{grown[0].label}" soft' if grown else TREE_ADD
    say("Next:")
    say(f"  flushcast {there}{first}")
    say(f"  flushcast {there}weather add FILE.csv")


def _ask_on(folder: Path, there: str, spot: Place, slips: Sequence[Named], *, ask_trees: bool) -> str:
    """Ask the rest of somebody at a terminal, every answer kept when it is given; what may be typed next."""
    from phenology.language.date_style import using_dates
    from phenology.language.degrees import using_units
    from reports.cli.setup.init_questions import ask_for_trees, ask_how_they_stand, asked
    from reports.garden.open_garden import OpenGarden

    garden = OpenGarden(folder, lambda warning: tell(f"Note: {warning}"))
    with using_dates(garden.settings.date_style), using_units(garden.settings.units):
        try:
            if spot.elevation is None:
                question = "Height above the sea, such as 410 or 1300ft (empty: unknown)"
                height = asked(question, lambda typed: read_elevation(typed) if typed else None)
                if height is not None:
                    with garden.changing():
                        garden.save(f"height of {spot.name}", [replace(spot, elevation=height)])
            ask_for_trees(garden, slips, more=ask_trees)
            ask_how_they_stand(garden)
        except click.Abort:
            say()
            tell("Stopped here; everything you answered is kept. Go on with:")
            say(f"  flushcast {there}{TREE_ADD}")
        else:
            _first_forecast(garden)
        finally:
            first = garden.trees[0].label if garden.trees else "Elm 1"
            garden.close()
    return f'look "{first}" soft'


def _first_forecast(garden: OpenGarden) -> None:
    """When to look at each tree."""
    if not garden.trees:
        return
    from phenology.advice.agenda import make_agenda
    from reports.cli.common import read_forecast
    from reports.views.forecast_text import CLOSING, forecast_text
    from reports.views.words import terminal_width

    say()
    put(forecast_text(make_agenda(read_forecast(garden, None)), terminal_width(), closing=CLOSING))
    say()


def _settings(
    name: str,
    units: str | None,
    season_start: str | None,
    date_order: str | None,
    first_weekday: str | None,
    usual: CountryDates | None = None,
) -> GardenSettings:
    """Settings as given, else as they are usual in the country."""
    return GardenSettings(
        name=plain_name(name) or "Garden",
        units=(units or (usual.units if usual else "C")).upper(),
        season_start=season_start,
        date_order=date_order or (usual.order if usual else None),
        first_weekday=first_weekday or (usual.first_weekday if usual else None),
    )


def _mend(folder: Path, settings: GardenSettings) -> None:
    """New settings for a garden that has lost them; its journal stays as it is."""
    open_journal(folder).close()  # it must be one that can be used
    write_settings(folder, settings)
    tell(
        f"The journal in {folder} is kept; it has new settings, at their defaults unless given: look them "
        "through with flushcast settings, the season's start above all."
    )


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


def _read_trees(typed: Sequence[str]) -> tuple[list[Tree], list[Named], list[str]]:
    """Trees as typed, those whose species has to be asked, and the species that nobody has described."""
    if not typed:
        return [], [], []
    from phenology.species.catalogue import load_species
    from reports.cli.setup.init_questions import latin_of, named

    catalogue = load_species()
    trees: list[Tree] = []
    slips: list[Named] = []
    wrong: list[str] = []
    labels: set[str] = set()
    for text in typed:
        if "=" not in text or not text.partition("=")[2].strip():
            example = json.dumps("Elm 1=Ulmus parvifolia")
            raise InputError(f"--tree takes LABEL=SPECIES, such as {example}; got '{text}'")
        one = named(text)
        if name_key(one.label) in labels:
            raise InputError(f"two trees are called '{one.label}'; labels must differ")
        labels.add(name_key(one.label))
        try:
            trees.append(Tree(new_id(), one.label, latin_of(one, catalogue)))
        except InputError as error:
            slips.append(one)
            wrong.append(f"{one.label}: {error}")
    if wrong and not may_ask():
        raise InputError("; ".join(wrong) if len(wrong) == 1 else "\n  ".join(("trees:", *wrong)))
    return trees, slips, [tree.species for tree in trees if tree.species not in catalogue]


@click.command("demo")
@click.option("--dir", "folder", type=click.Path(path_type=Path), default=Path("flushcast-demo"),
              metavar="DIR", help="Where to make the garden (default: flushcast-demo).")  # fmt: skip
@click.option("--date", "day", metavar="DATE",
              help="The day it stands on, 'today' included (default: 14 June).")  # fmt: skip
@click.option("--south", is_flag=True, help="The same garden in the southern hemisphere.")
def demo_command(folder: Path, day: str | None, south: bool) -> None:
    """Make an invented garden and print its forecast; needs no network."""
    from data_sources.demo.garden import demo_day, store_demo
    from phenology.advice.agenda import make_agenda
    from phenology.language.vague_dates import parse
    from reports.garden.clock import today
    from reports.views.forecast_text import CLOSING, forecast_text
    from reports.views.words import terminal_width

    now = today()
    stands_on = (
        demo_day(now, south=south) if day is None else one_day(day, lambda text: parse(text, today=now))
    )
    if store_demo(folder, stands_on, south=south):
        say(f"Made an invented garden in {folder}: 12 trees, four past seasons, and this one to {stands_on}.")
    else:
        say(f"Using the demo garden already in {folder}; remove the folder to start afresh.")
    with OpenGarden(folder) as opened:
        forecast, closing = read_forecast(opened), once_a_day(opened, CLOSING)
    say()
    put(forecast_text(make_agenda(forecast), terminal_width(), closing=closing))
    if day is None and today() != forecast.garden.as_of and os.environ.get("FLUSHCAST_TODAY"):
        say(f"\nFLUSHCAST_TODAY does not move the demo; --date {today()} does.")
    say(f"\nIt stands still on {forecast.garden.as_of}. Try next:")
    for line in ('look "maples" stopped', "forecast", "plan quince", "calibrate hornbeam", "compare"):
        say(f"  flushcast --garden {folder} {line}")
