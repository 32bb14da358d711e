"""The file of shared calibrations: what is written is read, and whatever is wrong with it is refused."""

from __future__ import annotations

import copy
import json
import math
import random
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from data_sources.sharing.calibration_file import (
    MOST_BYTES,
    SUREST,
    checked,
    garden_code,
    kept,
    read_calibrations,
    to_text,
)
from phenology.heat.clocks import CLOCKS
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.model.shared_calibration import (
    Reading,
    SharedCalibration,
    SharedClimate,
    SharedStep,
    SharedWait,
)

ELM = "Ulmus parvifolia"
READINGS = {clock.name: Reading(math.log(28.0), 0.12) for clock in CLOCKS}
SHARED = SharedCalibration(
    "0123456789abcdef",
    "anna",
    SharedClimate(48, -1.3, 19.2),
    (
        SharedStep(
            "budbreak",
            "extended",
            {clock.name: 0.5 for clock in CLOCKS},
            {"heat above 5": Reading(-0.1, 0.08)},
            (SharedWait(ELM, 3, 2, 41, READINGS), SharedWait("Grandmothers tree", 3, 1, 9, READINGS)),
        ),
    ),
)
TEXT = to_text(SHARED, date(2026, 7, 25))


def test_what_is_written_is_read_but_for_rounding_and_own_words():
    back = checked(TEXT, "anna")
    assert back == kept(TEXT, "anna")
    (step,) = back.steps
    assert (back.garden, back.label, back.species) == (SHARED.garden, "anna", (ELM,))
    assert back.climate == SharedClimate(48, -1.5, 19.0)
    assert step.waits[0].readings["plain days"].log == pytest.approx(math.log(28.0), abs=1e-3)
    assert step.later["heat above 5"] == Reading(-0.1, 0.08)
    assert "Grandmother" not in TEXT


def test_a_garden_is_told_from_others_by_what_says_nothing_of_it():
    here, there = (Place(id, "Bench", 48.1234, 8.2) for id in ("a-random-id", "another"))
    assert garden_code([here]) != garden_code([there])
    assert len(garden_code([here])) == 16 and "random" not in garden_code([here])


def changed(*path: str | int, to: Any = None, drop: bool = False) -> str:
    content = json.loads(TEXT)
    at = content
    for key in path[:-1]:
        at = at[key]
    if drop:
        del at[path[-1]]
    else:
        at[path[-1]] = to
    return json.dumps(content)


STEP = json.loads(TEXT)["steps"][0]
WAITS = ("steps", 0, "species", 0, "waits")
HOSTILE = {
    "not JSON": ("{", "line 1, column 2: it is not JSON"),
    "a list": ("[]", "no file of calibrations"),
    "another program's": ('{"schema": "recipes/1"}', "no file of calibrations"),
    "a later version": (changed("schema", to="flushcast.calibrations/2"), "it was written for"),
    "deep": ("[" * 100_000, "deeper in each other"),
    "a name": (changed("name", to="Anna"), "Additional properties"),
    "a note of a species": (changed("steps", 0, "species", 0, "note", to="mine"), "Additional properties"),
    "a place to the metre": (changed("climate", "latitude", to=48.1234), "climate/latitude"),
    "no garden": (changed("garden", drop=True), "'garden' is a required property"),
    "markup": (changed("garden", to="<script>"), "garden"),
    "a wait below nought": (changed(*WAITS, "plain days", "days", to=-3), "days"),
    "a wait of years": (changed(*WAITS, "plain days", "days", to=4000), "days"),
    "a wait of no such species": (changed(*WAITS, "heat above 5", "days", to=390), "cannot be"),
    "text for a number": (changed(*WAITS, "plain days", "days", to="28"), "not of type"),
    "true for a number": (changed("steps", 0, "species", 0, "trees", to=True), "not of type"),
    "too sure": (changed(*WAITS, "plain days", "log_sd", to=1e-9), "log_sd"),
    "not a number": (TEXT.replace("28.0,", "NaN,", 1), "NaN is no number"),
    "endless": (TEXT.replace("28.0,", "1e999,", 1), "inf is greater than"),
    "no seasons": (changed("steps", 0, "species", 0, "seasons", to=0), "seasons"),
    "a clock ruled out": (changed("steps", 0, "clock_factors", "date", to=0.0), "clock_factors/date"),
    "a clock of its own": (changed("clocks", 0, "base_c", to=9.0), "reads a day in another way"),
    "a step backwards": (changed("steps", 0, "from", to="extended"), "there is no step"),
    "a step twice": (changed("steps", to=[STEP, STEP]), "stands there twice"),
    "a species twice": (changed("steps", 0, "species", to=STEP["species"] * 2), "stands there twice"),
    "a key twice": (TEXT.replace('"made"', '"garden": "fedcba9876543210", "made"'), "the same thing twice"),
    "a species in words": (changed("steps", 0, "species", 0, "species", to="Anna's elm"), "species"),
    "steps without end": (changed("steps", to=[STEP] * 21), "steps"),
}


@pytest.mark.parametrize(("text", "why"), HOSTILE.values(), ids=HOSTILE)
def test_what_no_flushcast_writes_is_refused_with_the_reason(text, why):
    with pytest.raises(ValueError, match=why):
        checked(text)


def test_any_file_is_read_within_bounds_or_refused():
    """Parts of a good file put in each other's places, and wild values: nothing else ever comes out."""
    rng = random.Random(7)
    wild = [None, True, "", "x" * 400, -1, 0, 1e308, 2**80, [], {}, [[]], "\u0000", math.pi]

    def every(node: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        keys = node.keys() if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
        return [path, *(p for key in keys for p in every(node[key], (*path, key)))]

    good, read = json.loads(TEXT), 0
    paths = [p for p in every(good) if p]
    for _ in range(150):
        content = copy.deepcopy(good)
        for path in rng.sample(paths, rng.choice((1, 2))):
            at: Any = content
            try:
                for key in path[:-1]:
                    at = at[key]
                at[path[-1]] = rng.choice(wild)
            except (KeyError, IndexError, TypeError):
                continue
        try:
            found = checked(json.dumps(content))
        except ValueError:
            continue
        read += 1
        for step in found.steps:
            for wait in step.waits:
                for reading in wait.readings.values():
                    assert 0.2 <= math.exp(reading.log) <= 401 and 0.02 <= reading.sd <= 3
    assert read < 60


def test_clocks_of_a_later_flushcast_are_left_out():
    later = {"heat in moonlight": {"days": 28.0, "log_sd": 0.1}}
    (step,) = checked(
        changed(*WAITS, to={**json.loads(TEXT)["steps"][0]["species"][0]["waits"], **later})
    ).steps
    assert set(step.waits[0].readings) == set(READINGS)
    (alone,) = checked(changed(*WAITS, to=later)).steps
    assert alone.waits == ()


def test_no_file_is_surer_than_looks_can_be():
    (step,) = checked(changed(*WAITS, "plain days", "log_sd", to=0.02)).steps
    assert step.waits[0].readings["plain days"].sd == pytest.approx(SUREST / math.sqrt(3))


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path):
    path = tmp_path / "anna.json"
    with pytest.raises(InputError, match=r"anna\.json cannot be read: no such file"):
        read_calibrations(path, "anna")
    path.write_bytes(b" " * (MOST_BYTES + 1))
    with pytest.raises(InputError, match=r"anna\.json is refused: it is larger"):
        read_calibrations(path, "anna")
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="is refused"):
        read_calibrations(path, "anna")
