"""How a species is worked: the fields of its technique profile, the values they take, and their checks.

Every default is common practice, no source; where practice differs the more cautious value is shipped.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
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


def check_profile(latin: str, key: str, value: Any, practices: Mapping[str, Any]) -> None:
    """Refuse a value that a field of the technique profile cannot take.

    Raises
    ------
    InputError
        Naming the species, the field, what was given and what is allowed.
    """
    if key == "practice":
        if value not in tuple(practices):
            raise InputError(f"{latin}: practice is {value!r}; it may be {', '.join(practices)}")
    elif key == "keeps":
        check_counts(latin, key, value, "[1, 2]")
    elif key == "needs":
        _check_needs(latin, value)
    elif key in CHOICES:
        if value not in CHOICES[key]:
            raise InputError(f"{latin}: {key} is {value!r}; it may be {', '.join(CHOICES[key])}")
    else:
        _check_words(f"{latin}: {key}", value, LISTS[key])


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


def check_counts(latin: str, key: str, value: Any, example: str) -> None:
    """Refuse anything but two whole numbers above zero, low and high.

    Raises
    ------
    InputError
    """
    pair = isinstance(value, list | tuple) and len(value) == 2
    whole = pair and all(
        isinstance(n, int | float) and not isinstance(n, bool) and n == n and n % 1 == 0 for n in value
    )
    if not (whole and 0 < value[0] <= value[1]):
        raise InputError(f"{latin}: {key} is {value!r}; write two counts, low and high, such as {example}")


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
