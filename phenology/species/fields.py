"""What a species table may hold: its fields, the values they take, and the checks that refuse the rest."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from phenology.model.errors import InputError
from phenology.species.practice import CHOICES, PROFILE_FIELDS, check_counts, check_profile

ALLOWED: dict[str, tuple[str, ...]] = {
    "arrangement": ("alternate", "opposite"),
    "growth": ("free", "fixed"),
    "habit": ("deciduous", "evergreen", "semi-evergreen"),
    "defoliation": ("never", "once", "repeat"),
    "grown_for": ("leaf", "flower", "fruit"),
    "sap": ("none", "irritant", "severe"),
    "woken_by": ("season", "bloom", "warmth"),
    **CHOICES,
}
STEPS = ("start_budbreak", "work_budbreak", "budbreak_extended", "extended_hardened")
KINDS = ("published", "common practice, no source", "from memory, unverified", "derived")
FIELDS = tuple(dict.fromkeys(("names", "leaves", "group", "prone", "note", *ALLOWED, *PROFILE_FIELDS)))
PRIOR_FIELDS = ("days", "log_sd", "why")
MOST_DAYS, MOST_LOG_SD = 400.0, 2.0

CAUTIONS: dict[str, str] = {
    "sap irritant": "Its sap irritates: gloves on, hands away from eyes, blades wiped.",
    "sap severe": (
        "Its sap can cause a severe rash: gloves, covered arms, eye protection, and never burn any of it."
    ),
    "habit evergreen": "Old leaves drop as the new flush opens; that is not illness.",
    "habit semi-evergreen": "Leaves kept over winter drop as the new flush opens; that is not illness.",
    "woken_by bloom": "The new flush follows the bloom; work waits until the flowers are over.",
    "woken_by warmth": "It flushes with warmth rather than with the calendar: look when nights turn warm.",
    "growth fixed": "One preformed flush a year; a second is seen, never assumed.",
    "leads base": "Its low shoots are the strong ones: cut them harder than the top; clear suckers early.",
}
"""Common practice, no source; on sap: from memory, unverified."""


def check_table(
    latin: str, table: Mapping[str, Any], groups: Mapping[str, Any], practices: Mapping[str, Any]
) -> None:
    """Refuse a species table with an unknown field or a value that its field cannot take.

    Raises
    ------
    InputError
        Naming the species, the field, what was given and what is allowed.
    """
    for key, value in table.items():
        if key in PROFILE_FIELDS:
            check_profile(latin, key, value, practices)
        elif key in ALLOWED:
            if value not in ALLOWED[key]:
                raise InputError(f"{latin}: {key} is {value!r}; it may be {', '.join(ALLOWED[key])}")
        elif key == "group":
            if value not in tuple(groups):
                raise InputError(f"{latin}: group is {value!r}; it may be {', '.join(groups)}")
        elif key == "names":
            if not isinstance(value, list | tuple) or not all(
                isinstance(n, str) and n.strip() for n in value
            ):
                raise InputError(f'{latin}: names is {value!r}; write a list such as ["field maple"]')
        elif key == "leaves":
            check_counts(latin, key, value, "[4, 8]")
        elif key == "prone":
            if not isinstance(value, bool):
                raise InputError(f"{latin}: prone is {value!r}; it may be true or false")
        elif key == "note":
            if not isinstance(value, str):
                raise InputError(f"{latin}: note is {value!r}; write it as text in quotes")
        elif key != "priors":
            raise InputError(
                f"{latin}: there is no field '{key}'; the fields are {', '.join(FIELDS)}, priors"
            )


def own_priors(latin: str, table: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """The priors of a species' own table, by step; `budbreak->extended` is read as `budbreak_extended`.

    Raises
    ------
    InputError
        If a step, a field or a number is not allowed.
    """
    given = table.get("priors", {})
    if not isinstance(given, Mapping):
        raise InputError(f"{latin}: priors is {given!r}; write a table such as {STEPS[0]} = {{ days = 14 }}")
    out: dict[str, dict[str, Any]] = {}
    for written, prior in given.items():
        step = written.replace("->", "_")
        if step not in STEPS:
            raise InputError(f"{latin}: there is no prior '{written}'; the steps are {', '.join(STEPS)}")
        if not isinstance(prior, Mapping):
            raise InputError(f"{latin}: prior {step} is {prior!r}; write a table such as {{ days = 14 }}")
        check_prior(f"{latin}: prior {step}", prior)
        out[step] = dict(prior)
    return out


def check_prior(where: str, prior: Mapping[str, Any]) -> None:
    """Refuse a prior with an unknown field or a number that is not believable."""
    for key, value in prior.items():
        if key not in PRIOR_FIELDS:
            raise InputError(f"{where}: there is no field '{key}'; the fields are {', '.join(PRIOR_FIELDS)}")
        if key == "days" and not (_is_number(value) and 0 < value < MOST_DAYS):
            raise InputError(f"{where}: days is {value!r}; write days at 18 degC, above 0 and below 400")
        if key == "log_sd" and not (_is_number(value) and 0 < value <= MOST_LOG_SD):
            raise InputError(f"{where}: log_sd is {value!r}; write a number above 0 and at most 2")
        if key == "why" and not isinstance(value, str):
            raise InputError(f"{where}: why is {value!r}; write it as text in quotes")


def source_texts(provenance: Mapping[str, Mapping[str, Any]]) -> dict[str, str]:
    """The provenance entries as sentences: kind, words, arithmetic, and what they rest on.

    Raises
    ------
    InputError
        If an entry has no known kind, no words, or rests on an entry that is not there.
    """
    plain: dict[str, str] = {}
    for key, entry in provenance.items():
        if entry.get("kind") not in KINDS or not entry.get("text"):
            raise InputError(f"provenance {key} needs words and a kind: {' / '.join(KINDS)}")
        sums = f" ({entry['arithmetic']})" if "arithmetic" in entry else ""
        plain[key] = f"{entry['kind']}: {entry['text']}{sums}"
    out = {}
    for key, entry in provenance.items():
        missing = [used for used in entry.get("uses", ()) if used not in plain]
        if missing:
            raise InputError(f"provenance {key} rests on {', '.join(missing)}, which is not there")
        out[key] = ". Rests on ".join([plain[key], *(plain[used] for used in entry.get("uses", ()))])
    return out


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value == value
