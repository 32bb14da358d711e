"""How past forecasts of a garden did, kept in `past_skill.json` so that a forecast need not reckon it anew.

A cache and nothing more: it may be deleted, and an unreadable one is made again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from data_sources.garden_settings import replace_text
from phenology.model.errors import FlushcastError
from phenology.model.species_skill import SpeciesSkill

FILE_NAME = "past_skill.json"


def read_skill(folder: Path, key: str) -> dict[str, SpeciesSkill] | None:
    """What was kept under a key; None when nothing was, or under another one."""
    try:
        kept = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
        if kept["key"] != key:
            return None
        return {name: SpeciesSkill(**values) for name, values in kept["species"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def keep_skill(folder: Path, key: str, skills: Mapping[str, SpeciesSkill]) -> None:
    """Keep it, if the folder can be written; a forecast does not depend on it."""
    record = {"key": key, "species": {name: vars(skill) for name, skill in skills.items()}}
    try:
        replace_text(folder / FILE_NAME, json.dumps(record, ensure_ascii=False, indent=1))
    except (OSError, FlushcastError):
        return
