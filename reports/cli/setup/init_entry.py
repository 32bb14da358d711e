"""Making a garden, new or from an export, for `flushcast init`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from data_sources.country_dates import CountryDates, country_dates
from data_sources.garden import JOURNAL_NAME, SETTINGS_NAME, GardenSettings, create_garden, new_id
from data_sources.garden_settings import WEEKDAYS
from data_sources.journal.schema import Record
from data_sources.tables.import_draft import species_named
from phenology.language.tree_selection import label_list, plain_spaces
from phenology.model.errors import InputError, StoreError
from phenology.model.records import Place, Stand, Tree
from phenology.species.catalogue import load_species
from reports.cli.common import say, tell
from reports.cli.setup.init_where import Where
from reports.cli.setup.positions import read_elevation, read_latitude, read_longitude, shown_position
from reports.text.lines import counted


@dataclass(frozen=True)
class Given:
    """The options of a new garden, as typed."""

    name: str | None
    where: Where
    elevation: str | None
    place: str | None
    units: str
    trees: Sequence[str]
    season_start: str | None
    date_order: str | None = None
    first_weekday: str | None = None


def refuse_where_a_garden_is(folder: Path) -> None:
    """One sentence when the folder holds a garden, or is a file."""
    if folder.is_file():
        raise StoreError(f"{folder} is a file, not a folder; name another folder. Nothing was changed")
    if (folder / JOURNAL_NAME).exists() and (folder / SETTINGS_NAME).exists():
        raise StoreError(f"there is a garden in {folder} already; nothing was changed")


def make(folder: Path, given: Given) -> None:
    """Make the garden and say what to type next."""
    place = Place(
        new_id(),
        plain_spaces(given.place or "Bench"),
        read_latitude(given.where.latitude),
        read_longitude(given.where.longitude),
        read_elevation(given.elevation) if given.elevation else None,
        given.where.timezone,
    )
    trees, warnings = _trees(given.trees)
    records: list[Record] = [place, *trees, *(Stand(new_id(), t.id, place.id) for t in trees)]
    usual = country_dates(place.timezone or "")
    settings = GardenSettings(
        name=plain_spaces(given.name or "Garden"),
        units=given.units.upper(),
        season_start=given.season_start,
        date_order=given.date_order or (usual.order if usual else None),
        first_weekday=given.first_weekday or (usual.first_weekday if usual else None),
    )
    create_garden(folder, settings, records, f"made the garden: {place.name}, {counted(len(trees), 'trees')}")
    named = f" with {label_list(t.label for t in trees)}" if trees else ""
    tell(f"Made {settings.name} in {folder}: {place.name} at {shown_position(place)}{named}.")
    for warning in warnings:
        tell(f"Note: {warning}.")
    if usual is not None and not (given.date_order and given.first_weekday):
        tell(_dates_told(settings, usual))
    where = "" if folder == Path(".") else f"--garden {folder} "
    first = f'"{trees[0].label}" soft' if trees else ""
    say("Next:")
    if not trees:
        say(f'  flushcast {where}tree add "Elm 1" "Ulmus parvifolia"')
    else:
        say(f"  flushcast {where}look {first}")
    say(f"  flushcast {where}weather add FILE.csv")


def _dates_told(settings: GardenSettings, usual: CountryDates) -> str:
    """How dates will be shown and read, and where that comes from."""
    style = settings.date_style
    shown = style.short(date(2026, 7, 4))
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


def rebuild(folder: Path, export: Path) -> None:
    """A garden exactly as an export has it."""
    from data_sources.garden_export import rebuild_garden

    counts = rebuild_garden(folder, export)
    told = ", ".join(counted(counts[name], name) for name in ("places", "trees", "works", "looks"))
    weather = f", {counts['days']} days of weather" if counts["days"] else ""
    tell(f"Rebuilt the garden in {folder} from {export}: {told}{weather}.")


def _trees(given: Sequence[str]) -> tuple[list[Tree], list[str]]:
    catalogue = load_species()
    trees: list[Tree] = []
    warnings: list[str] = []
    for text in given:
        label, equals, species = (plain_spaces(part) for part in text.partition("="))
        if not equals or not label or not species:
            raise InputError(
                f"--tree takes LABEL=SPECIES, such as {json.dumps('Elm 1=Ulmus parvifolia')}; got '{text}'"
            )
        if label.casefold() in {t.label.casefold() for t in trees}:
            raise InputError(f"two trees are called '{label}'; labels must differ")
        latin = species_named(species, catalogue)
        if latin not in catalogue:
            warnings.append(f"{latin} is not in the catalogue, so it starts from a neutral guess")
        trees.append(Tree(new_id(), label, latin))
    return trees, warnings
