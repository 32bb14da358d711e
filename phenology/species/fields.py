"""What a species table may hold: its fields, the values they take, and the checks that refuse the rest.

The fields of the technique profile say how a species is worked. Every default of theirs is common practice,
no source; where practice differs the more cautious value is shipped.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from phenology.model.errors import InputError

TECHNIQUES: dict[str, str] = {
    "pinch": "pinching",
    "extend-cut": "cutback",
    "outer-defoliation": "partial-defoliation",
    "full-defoliation": "full-defoliation",
    "halve": "halving",
    "bloom-cut": "cutback",
    "none": "",
}
"""What a flush may open, and the operation it is written down as; "none" opens nothing."""

CONDITIONS = ("strong", "not-repotted", "warm-nights")
"""What a technique may ask: a strong tree, roots left alone this season, nights that stay warm."""

SEASONS = ("bare", "leaf-fall", "bud-swell", "after-bloom", "summer", "autumn", "warm-nights")
"""When roots or wood may be cut; see `phenology.work.season_of_work`."""

NOT_HALVED = ("small", "compound", "needle-like")
"""Leaves too small or too finely divided to be cut in half."""

DISEASES: dict[str, tuple[str, tuple[str, ...]]] = {
    "fire-blight": (
        "wet wounds",
        ("Malus", "Crataegus", "Chaenomeles", "Pseudocydonia", "Cotoneaster", "Pyracantha"),
    ),
    "apple-canker": ("wet wounds", ("Malus",)),
    "bacterial-canker": ("wet wounds", ("Prunus",)),
    "silver-leaf": ("winter wounds", ("Prunus",)),
    "box-blight": ("wet leaves", ("Buxus",)),
    "crown-gall": ("root wounds", ("Chaenomeles", "Malus", "Prunus")),
}
"""Diseases that work lets in: by which way, and the genera here that get it. From memory, unverified."""

CHOICES: dict[str, tuple[str, ...]] = {
    "leaf_kind": ("large", "medium", "small", "compound", "needle-like"),
    "blooms": ("none", "late-winter", "spring", "early-summer", "summer", "autumn"),
    "leads": ("top", "base", "even"),
}
"""Fields of one word."""

LISTS: dict[str, tuple[str, ...]] = {
    "first_flush": tuple(TECHNIQUES),
    "later_flush": tuple(TECHNIQUES),
    "repot": SEASONS,
    "prune": SEASONS,
    "diseases": tuple(DISEASES),
}
"""Fields of several words, in order of preference where order means something."""

PROFILE_FIELDS = ("practice", "keeps", "needs", *CHOICES, *LISTS)

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

_COUNTS = {"leaves": "[4, 8]", "keeps": "[1, 2]"}
"""Fields of two counts, with an example."""

_PLAIN: dict[str, tuple[Callable[[Any], bool], str]] = {
    "names": (
        lambda value: (
            isinstance(value, list | tuple) and all(isinstance(n, str) and n.strip() for n in value)
        ),
        'write a list such as ["field maple"]',
    ),
    "prone": (lambda value: isinstance(value, bool), "it may be true or false"),
    "note": (lambda value: isinstance(value, str), "write it as text in quotes"),
}
"""What other fields take, and what to write."""

_PRIOR: dict[str, tuple[Callable[[Any], bool], str]] = {
    "days": (
        lambda value: _is_number(value) and 0 < value < 400.0,
        "write days at 18 °C, above 0 and below 400",
    ),
    "log_sd": (
        lambda value: _is_number(value) and 0 < value <= 2.0,
        "write a number above 0 and at most 2",
    ),
    "why": _PLAIN["note"],
}
"""The same of the fields of a prior."""


def check_table(
    where: str, table: Mapping[str, Any], groups: Mapping[str, Any], practices: Mapping[str, Any]
) -> None:
    """Refuse a table of a species or practice with an unknown field or a value that its field cannot take.

    Raises
    ------
    InputError
        Naming the species, the field, what was given and what is allowed.
    """
    one_of = {**ALLOWED, "group": tuple(groups), "practice": tuple(practices)}
    for key, value in table.items():
        given = f"{where}: {key} is {value!r}"
        if key in one_of:
            if value not in one_of[key]:
                raise InputError(f"{given}; it may be {', '.join(one_of[key])}")
        elif key in LISTS:
            _check_words(f"{where}: {key}", value, LISTS[key])
        elif key in _COUNTS:
            if not _are_counts(value):
                raise InputError(f"{given}; write two counts, low and high, such as {_COUNTS[key]}")
        elif key in _PLAIN:
            fits, how = _PLAIN[key]
            if not fits(value):
                raise InputError(f"{given}; {how}")
        elif key == "needs":
            _check_needs(where, value)
        elif key != "priors":
            raise InputError(
                f"{where}: there is no field '{key}'; the fields are {', '.join(FIELDS)}, priors"
            )


def _check_words(where: str, value: Any, allowed: tuple[str, ...]) -> None:
    if not isinstance(value, list | tuple):
        raise InputError(f'{where} is {value!r}; write a list such as ["{allowed[0]}"]')
    wrong = [word for word in value if word not in allowed]
    if wrong:
        raise InputError(f"{where} holds {wrong[0]!r}; it may hold {', '.join(allowed)}")


def _check_needs(latin: str, value: Any) -> None:
    if not isinstance(value, Mapping):
        raise InputError(f'{latin}: needs is {value!r}; write a table such as {{ pinch = ["strong"] }}')
    for technique, asked in value.items():
        if technique not in TECHNIQUES:
            raise InputError(
                f"{latin}: needs names {technique!r}; the techniques are {', '.join(TECHNIQUES)}"
            )
        _check_words(f"{latin}: needs of {technique}", asked, CONDITIONS)


def _are_counts(value: Any) -> bool:
    """Whether a value is two whole numbers above zero, low and high."""
    pair = isinstance(value, list | tuple) and len(value) == 2
    return pair and all(_is_number(n) and n % 1 == 0 for n in value) and 0 < value[0] <= value[1]


def profile_value(field: str, text: str) -> Any:
    """A field of the profile as typed on one line: words apart by commas, counts as "1-2".

    Conditions of a technique are written "pinch: strong + not-repotted; halve: strong".

    Raises
    ------
    InputError
        If counts are not counts. Words are checked when the species is loaded.

    Examples
    --------
    >>> profile_value("repot", "autumn, bud-swell"), profile_value("keeps", "1-2")
    (['autumn', 'bud-swell'], [1, 2])
    >>> profile_value("needs", "pinch: strong + not-repotted")
    {'pinch': ['strong', 'not-repotted']}
    """
    if field in LISTS:
        return [word for part in text.split(",") if (word := _word(part))]
    if field == "keeps":
        low, _, high = text.replace("–", "-").partition("-")
        if not all(re.fullmatch(r"\s*[0-9]{1,4}\s*", count) for count in (low, high or low)):
            raise InputError(f"keeps takes one count or two, such as 1-2; got '{text}'")
        return [int(low), int(high or low)]
    if field == "needs":
        pairs = (part.partition(":") for part in text.split(";") if part.strip())
        return {
            _word(name): [_word(one) for one in asked.split("+") if _word(one)] for name, _, asked in pairs
        }
    return _word(text)


def _word(text: str) -> str:
    return "-".join(text.casefold().split())


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
        if key not in _PRIOR:
            raise InputError(f"{where}: there is no field '{key}'; the fields are {', '.join(_PRIOR)}")
        fits, how = _PRIOR[key]
        if not fits(value):
            raise InputError(f"{where}: {key} is {value!r}; {how}")


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
