"""A garden's own values for species, kept in garden.toml."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from data_sources.garden import read_settings, write_settings
from data_sources.tables.import_draft import species_named
from phenology.model.errors import InputError
from phenology.species.catalogue import ALLOWED, STEPS, load_species
from reports.cli.writing.desk import tell

FIELDS = ("names", "leaves", "group", "prone", "note", *ALLOWED, *STEPS)


def change(garden: Path, name: str, changes: Sequence[str], *, reset: bool) -> None:
    """Set or forget a garden's own values for one species.

    Raises
    ------
    InputError
        If a field or value is not allowed; nothing is written.
    """
    settings = read_settings(garden)
    latin = species_named(name, load_species(settings.species))
    own: dict[str, Any] = {k: dict(v) for k, v in settings.species.items()}
    mine: dict[str, Any] = {} if reset else dict(own.get(latin, {}))
    for text in changes:
        field, equals, value = (part.strip() for part in text.partition("="))
        if not equals:
            raise InputError(f"--set takes FIELD=VALUE; got '{text}'")
        if field in STEPS:
            mine["priors"] = {**mine.get("priors", {}), field: _prior(value)}
        else:
            mine[field] = _value(field, value)
    if mine:
        own[latin] = mine
    else:
        own.pop(latin, None)
    load_species(own)  # every value checked before anything is written
    write_settings(garden, replace(settings, species=own))
    if reset and not changes:
        tell(f"{latin}: back to the shipped values.")
    else:
        tell(f"{latin}: {', '.join(changes)}. Kept in garden.toml; --reset takes this garden's values back.")


def _value(field: str, text: str) -> Any:
    if field not in FIELDS:
        raise InputError(f"species have no field '{field}'; they have {', '.join(FIELDS)}")
    if field == "names":
        return [part.strip() for part in text.split(",") if part.strip()]
    if field == "leaves":
        low, _, high = text.replace("–", "-").partition("-")
        if not low.strip().isdigit() or (high and not high.strip().isdigit()):
            raise InputError(f"leaves takes two counts such as 5-9; got '{text}'")
        return [int(low), int(high or low)]
    if field == "prone":
        if text.casefold() not in ("yes", "no", "true", "false"):
            raise InputError(f"prone takes yes or no; got '{text}'")
        return text.casefold() in ("yes", "true")
    return text


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
