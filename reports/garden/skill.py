"""A garden with what its own past forecasts say of it: kept, or reckoned once a season."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from data_sources.kept.past_skill import keep_skill, read_skill
from phenology.garden import Garden
from phenology.model.species_skill import SpeciesSkill
from reports.garden.open_garden import OpenGarden
from reports.text.progress import Step, progress

VERSION = 3  # raised when forecasts would come out differently on the same records


def read_with_skill(opened: OpenGarden, as_of: str | None = None) -> Garden:
    """The garden on a day, ready to be forecast; a slow first reckoning is shown."""
    garden = opened.snapshot(as_of)
    with progress("past flush") as step:
        return with_skill(garden, opened.folder, past=as_of is not None, progress=step)


def with_skill(
    garden: Garden, folder: Path, *, past: bool = False, keep: bool = True, progress: Step | None = None
) -> Garden:
    """The same garden, its species' past skill known.

    Only finished seasons count, so the reckoning holds until a new season or older records come in. A garden
    asked about in the past is reckoned for itself, and not kept; nor is anything without `keep`.
    """
    if past:
        return replace(garden, skills=_reckoned(garden, progress))
    key = _key(garden)
    skills = read_skill(folder, key)
    if skills is None:
        skills = _reckoned(garden, progress)
        if keep:
            keep_skill(folder, key, skills)
    return replace(garden, skills=skills)


def _reckoned(garden: Garden, progress: Step | None) -> dict[str, SpeciesSkill]:
    from phenology.judging.garden_hindcast import past_skill
    from phenology.learning.garden_fit import GardenFit

    return {
        skill.species: SpeciesSkill(skill.seasons, skill.missed, skill.usual_missed)
        for skill in past_skill(GardenFit(garden), progress=progress)
    }


def _key(garden: Garden) -> str:
    """What the skill depends on, as a short text: records and weather of past seasons."""
    start = garden.calendar.start(garden.season)
    looks = sum(1 for look in garden.looks if look.latest < start)
    works = sum(1 for work in garden.works if work.latest < start)
    weather = ",".join(
        f"{place}:{series.first_day}:{int((series.source != '').sum()) if series.last_day < start else 'now'}"
        for place, series in sorted(garden.weather.items())
    )
    return f"{VERSION}|{garden.season}|{looks}|{works}|{len(garden.trees)}|{weather}"
