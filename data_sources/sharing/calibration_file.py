"""The file that carries a garden's calibrations to other gardens: written, and read as from a stranger.

`calibration_file.schema.json` says what may stand in it, `docs/shared-calibrations.md` what it means. A
file is checked in full before a number of it is used; what is wrong is named, and a hostile one only refused.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any

from phenology.heat.clocks import CLOCKS, Clock
from phenology.learning.sharing import FARTHEST, SHARED
from phenology.learning.transitions import Transition, prior_of_transition
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.model.shared_calibration import (
    Reading,
    SharedCalibration,
    SharedClimate,
    SharedStep,
    SharedWait,
)
from phenology.species.catalogue import load_species

SCHEMA = "flushcast.calibrations/1"
MOST_BYTES = 1_000_000
SUREST = 0.05
"""No looks of one season pin a species' mean closer than this, on the log scale; of n, by its root (ours)."""


def garden_code(places: Iterable[Place]) -> str:
    """What tells this garden from others: a digest of its first place's random id."""
    first = next(iter(places)).id
    return sha256(f"flushcast {first}".encode()).hexdigest()[:16]


def to_text(shared: SharedCalibration, made: date) -> str:
    """The file of a garden's calibrations; species that the shipped catalogue lacks stay out."""
    known = load_species()
    steps = [
        {
            "from": step.start,
            "to": step.target,
            "clock_factors": {name: round(factor, 4) for name, factor in step.clocks.items()},
            "later_flush": {
                name: {"log_ratio": round(r.log, 3), "log_sd": round(r.sd, 3)}
                for name, r in step.later.items()
            },
            "species": [
                {
                    "species": wait.species,
                    "seasons": wait.seasons,
                    "trees": wait.trees,
                    "looks": wait.looks,
                    "waits": {
                        name: {"days": round(math.exp(r.log), 2), "log_sd": round(r.sd, 3)}
                        for name, r in wait.readings.items()
                    },
                }
                for wait in step.waits
                if wait.species in known
            ],
        }
        for step in shared.steps
    ]
    content = {
        "schema": SCHEMA,
        "garden": shared.garden,
        "made": made.isoformat(),
        "climate": {
            "latitude": round(shared.climate.latitude),
            "coldest_c": round(shared.climate.coldest * 2) / 2,
            "warmest_c": round(shared.climate.warmest * 2) / 2,
        },
        "clocks": [_defined(clock) for clock in CLOCKS],
        "steps": [step for step in steps if step["species"]],
    }
    return json.dumps(content, indent=1, ensure_ascii=False)


def read_calibrations(path: Path, label: str) -> tuple[SharedCalibration, str]:
    """A file's calibrations under a label, and its content as text to be kept.

    Raises `InputError` if it cannot be read, is too large, or holds anything that no flushcast writes; the
    message says what.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise ValueError("it is larger than such files are, a million bytes")
        text = data.decode("utf-8-sig")
        shared = checked(text, label)
        return shared, json.dumps(json.loads(text), separators=(",", ":"), ensure_ascii=False)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {(error.strerror or str(error)).lower()}") from None
    except ValueError as error:
        raise InputError(f"{path} is refused: {error}. Nothing was learned") from None


def checked(text: str, label: str = "") -> SharedCalibration:
    """Calibrations from a text of any origin. Raises `ValueError` saying what is wrong with it."""
    import jsonschema

    try:
        content = json.loads(text, parse_constant=_no_number, object_pairs_hook=_once)
    except RecursionError:
        raise ValueError("its parts lie deeper in each other than they ever do") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"line {error.lineno}, column {error.colno}: it is not JSON ({error.msg})") from None
    if not isinstance(content, dict) or not str(content.get("schema", "")).startswith("flushcast.calib"):
        raise ValueError("it is no file of calibrations: `flushcast share` writes one")
    if content["schema"] != SCHEMA:
        raise ValueError(f"it was written for '{content['schema']}'; this flushcast reads '{SCHEMA}'")
    schema = json.loads(Path(__file__).with_suffix(".schema.json").read_text(encoding="utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    wrong = next(iter(sorted(validator.iter_errors(content), key=lambda e: len(e.path))), None)
    if wrong is not None:
        where = "/".join(map(str, wrong.absolute_path)) or "the file"
        raise ValueError(f"{where}: {wrong.message[:200]}")
    _check_clocks(content["clocks"])
    shared = _from(content, label)
    _check_steps(shared)
    return shared


def kept(text: str, label: str) -> SharedCalibration:
    """Calibrations from a text that was checked before it was kept."""
    return _from(json.loads(text), label)


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number that a file may hold")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("one of its parts says the same thing twice")
    return found


def _defined(clock: Clock) -> dict[str, str | float | None]:
    """How a clock reads a day."""
    found: dict[str, str | float | None] = {"name": clock.name, "kind": clock.kind, "day_shape": None}
    if not clock.by_calendar:
        found |= {"day_shape": "sine", "base_c": clock.base}
    if clock.kind == "falling":
        found |= {"optimum_c": clock.optimum, "ceiling_c": clock.ceiling}
    if clock.by_light:
        found |= {"per_hour": clock.per_hour, "usual_hours": clock.usual_hours}
    return found


def _check_clocks(clocks: list[dict[str, Any]]) -> None:
    ours = {clock.name: _defined(clock) for clock in CLOCKS}
    for clock in clocks:
        if ours.get(clock["name"], clock) != clock:
            raise ValueError(f"clocks: '{clock['name']}' reads a day in another way than this flushcast does")


def _check_steps(shared: SharedCalibration) -> None:
    """Refuse what the schema cannot see: steps that are none or come twice, waits far from the catalogue."""
    catalogue, seen = load_species(), set()
    heat = {clock.name for clock in CLOCKS if not clock.by_calendar}
    for step in shared.steps:
        transition = Transition(step.start, step.target)
        if transition not in SHARED:
            raise ValueError(f"steps: there is no step from {step.start} to {step.target}")
        for key in [(transition, ""), *((transition, wait.species) for wait in step.waits)]:
            if key in seen:
                raise ValueError(f"steps: {f'{transition.words} {key[1]}'.strip()} stands there twice")
            seen.add(key)
        for wait in step.waits:
            if wait.species not in catalogue:
                continue
            days = prior_of_transition(catalogue[wait.species], transition)[0]
            for name in heat & wait.readings.keys():
                told = math.exp(wait.readings[name].log)
                if not days / FARTHEST * 0.99 <= told <= days * FARTHEST * 1.01:  # it was rounded
                    raise ValueError(
                        f"{wait.species}, {transition.words}: {told:.3g} days cannot be, "
                        f"where {days:.0f} are usual"
                    )


def _from(content: Mapping[str, Any], label: str) -> SharedCalibration:
    climate = content["climate"]
    return SharedCalibration(
        content["garden"],
        label,
        SharedClimate(climate["latitude"], climate["coldest_c"], climate["warmest_c"]),
        tuple(
            SharedStep(
                step["from"],
                step["to"],
                step["clock_factors"],
                {name: Reading(r["log_ratio"], r["log_sd"]) for name, r in step["later_flush"].items()},
                tuple(wait for told in step["species"] if (wait := _wait(told)).readings),
            )
            for step in content["steps"]
        ),
    )


def _wait(told: Mapping[str, Any]) -> SharedWait:
    least = SUREST / math.sqrt(told["seasons"])
    known = {clock.name for clock in CLOCKS}  # a later flushcast may read others besides
    readings = {
        name: Reading(math.log(r["days"]), max(r["log_sd"], least))
        for name, r in told["waits"].items()
        if name in known
    }
    return SharedWait(told["species"], told["seasons"], told["trees"], told["looks"], readings)
