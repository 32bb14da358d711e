"""`flushcast species`: what is believed of a species before it is seen."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option, put


@click.command("species")
@click.argument("words", nargs=-1, metavar="[NAME]")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="FIELD=VALUE",
    help="This garden's own value, such as defoliation=once.",
)
@click.option("--reset", is_flag=True, help="Forget this garden's own values for the species.")
@garden_option
def species_command(garden: Path, words: tuple[str, ...], changes: tuple[str, ...], reset: bool) -> None:
    """List the species, or show one with where each value comes from.

    \b
    flushcast species
    flushcast species "trident maple"
    flushcast species "Ulmus parvifolia" --set leaves=5-9 --set defoliation=once
    flushcast species "Acer rubrum" --set "names=red maple, swamp maple"

    NAME: Latin or common, or a part of either. --set adds a species that is missing.
    """
    from data_sources.garden import GardenSettings, read_settings
    from phenology.model.errors import StoreError
    from phenology.species.catalogue import load_species
    from reports.cli.setup import species_changes, species_text

    name = "" if words == ("list",) else " ".join(words)
    if (changes or reset) and not name:
        raise click.UsageError("say which species")
    if changes or reset:
        species_changes.change(garden, name, changes, reset=reset)
        return
    try:
        settings = read_settings(garden)
    except StoreError:  # the shipped catalogue can be read without a garden
        settings = GardenSettings()
    catalogue = load_species(settings.species)
    put(species_text.one(name, catalogue, settings.units) if name else species_text.everything(catalogue))
