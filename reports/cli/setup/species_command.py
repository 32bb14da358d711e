"""`flushcast species`: what is believed of a species before it is seen, and this garden's own values."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import click

from data_sources.garden import GardenSettings
from data_sources.tables.import_draft import species_named
from phenology.model.errors import InputError
from phenology.species.catalogue import STEPS, load_species
from phenology.species.fields import FIELDS, PROFILE_FIELDS, profile_value
from reports.cli.common import open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden


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
@open_garden_option
def species_command(
    garden: OpenGarden, words: tuple[str, ...], changes: tuple[str, ...], reset: bool
) -> None:
    """List the species, or show one with where each value comes from.

    \b
    flushcast species
    flushcast species "trident maple"
    flushcast species "Ulmus parvifolia" --set leaves=5-9 --set defoliation=once
    flushcast species "Acer rubrum" --set "names=red maple, swamp maple"

    NAME: Latin or common, or a part of either. --set adds a species that is missing.
    """
    from reports.cli.setup.species_text import everything, one

    name = "" if words == ("list",) else " ".join(words)
    shared = garden.shared if garden.exists else []
    if changes or reset:
        if not name:
            raise click.UsageError("say which species")
        _change(garden, name, changes, reset=reset)
    elif name:
        put(one(name, garden.catalogue, garden.settings_or_usual.units, shared))
    else:
        put(everything(garden.catalogue, shared))


def _change(garden: OpenGarden, name: str, changes: Sequence[str], *, reset: bool) -> None:
    """Set or forget a garden's own values for one species; every value is checked before any is written."""
    latin = species_named(name, garden.catalogue)
    garden.change_settings(lambda now: _with_own(now, garden, latin, changes, reset=reset))
    if reset and not changes:
        tell(f"{latin}: back to the shipped values.")
    else:
        tell(f"{latin}: {', '.join(changes)}. Kept in garden.toml; --reset takes this garden's values back.")


def _with_own(
    settings: GardenSettings, garden: OpenGarden, latin: str, changes: Sequence[str], *, reset: bool
) -> GardenSettings:
    own: dict[str, Any] = {k: dict(v) for k, v in settings.species.items()}
    mine: dict[str, Any] = {} if reset else dict(own.get(latin, {}))
    for text in changes:
        field, equals, value = (part.strip() for part in text.partition("="))
        if not equals:
            raise InputError(f"--set takes FIELD=VALUE; got '{text}'")
        if field in STEPS:
            mine["priors"] = {**mine.get("priors", {}), field: _prior(value)}
        elif field == "needs" and latin in garden.catalogue:  # what other techniques ask stays
            before = {name: list(asked) for name, asked in garden.catalogue[latin].needs.items()}
            mine[field] = {**before, **_value(field, value)}
        else:
            mine[field] = _value(field, value)
    own[latin] = mine
    own = {k: v for k, v in own.items() if v or k != latin}
    load_species(own)
    return replace(settings, species=own)


def _value(field: str, text: str) -> Any:
    if field not in FIELDS:
        known = ", ".join((*FIELDS, *STEPS))
        raise InputError(f"species have no field '{field}'; they have {known}")
    if field == "names":
        return [part.strip() for part in text.split(",") if part.strip()]
    if field == "leaves":
        low, _, high = text.replace("–", "-").partition("-")
        if not all(re.fullmatch(r"\s*[0-9]{1,4}\s*", count) for count in (low, high or low)):
            raise InputError(f"leaves takes two counts such as 5-9; got '{text}'")
        return [int(low), int(high or low)]
    if field == "prone":
        if text.casefold() not in ("yes", "no", "true", "false"):
            raise InputError(f"prone takes yes or no; got '{text}'")
        return text.casefold() in ("yes", "true")
    return profile_value(field, text) if field in PROFILE_FIELDS else text


def _prior(text: str) -> dict[str, float]:
    """Median days at 18 degC, and how far they may be off: "35" or "35, 0.3"."""
    try:
        parts = [float(part) for part in text.split(",")]
    except ValueError:
        parts = []
    if len(parts) not in (1, 2):
        raise InputError(
            f"a step takes days at 18 degC and, if you like, a log-scale spread: 35 or 35,0.3; got '{text}'"
        )
    return {"days": parts[0]} if len(parts) == 1 else {"days": parts[0], "log_sd": parts[1]}
