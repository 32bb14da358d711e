"""The species catalogue: what a tree is, how it takes work, and what is believed before it is seen.

The shipped catalogue is `species.toml` beside this file; a garden may override or add species.
"""

from __future__ import annotations

import pkgutil
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from phenology.model.errors import InputError
from phenology.species.fields import (
    ALLOWED,
    CHOICES,
    FIELDS,
    LISTS,
    PROFILE_FIELDS,
    STEPS,
    check_prior,
    check_table,
    own_priors,
    source_texts,
)
from phenology.species.names import find_species, latin_meant
from phenology.species.species import Prior, Species

__all__ = [
    "ALLOWED",
    "STEPS",
    "UNKNOWN_GROUP",
    "Prior",
    "Species",
    "find_species",
    "load_species",
    "neutral_species",
]

UNKNOWN_GROUP = "unknown"
OWN = "this garden's own setting"
_AS_THEY_ARE = ("group", "practice", "prone", "note", *(key for key in ALLOWED if key not in CHOICES))


def load_species(overrides: Mapping[str, Mapping[str, Any]] | None = None) -> dict[str, Species]:
    """The catalogue by Latin name, with a garden's own values laid over it.

    Parameters
    ----------
    overrides : mapping, optional
        Latin name to the fields that differ, shaped as in `species.toml`. A species that the catalogue
        lacks needs only its name; everything else has a neutral value.

    Raises
    ------
    InputError
        If a field or value is not allowed, naming species, field and what is allowed; if a new species'
        name is a common name, or a misspelling of a known Latin one, and no `names` say it is meant.

    Examples
    --------
    >>> own = load_species({"Carpinus betulus": {"leaves": [5, 9]}})["Carpinus betulus"]
    >>> own.leaves, own.overridden
    ((5, 9), ('leaves',))
    """
    catalogue = dict(_shipped_species())
    for written, changes in (overrides or {}).items():
        if not isinstance(changes, Mapping):
            raise InputError(
                f'{written}: {changes!r} is not a table; write [species."{written}"] and its fields'
            )
        latin = latin_meant(written, _shipped_species(), another="names" in changes)
        base = _shipped()["species"].get(latin, _NEUTRAL)
        catalogue[latin] = _species(latin, base, changes)
    return catalogue


def neutral_species(latin: str) -> Species:
    """A species nobody has described: wide priors, never defoliated.

    Examples
    --------
    >>> neutral_species("Ficta arbor").defoliation
    'never'
    """
    return _species(latin, _NEUTRAL)


_NEUTRAL: dict[str, Any] = {
    "names": [],
    "arrangement": "alternate",
    "growth": "free",
    "habit": "deciduous",
    "defoliation": "never",
    "leaves": [4, 8],
    "group": UNKNOWN_GROUP,
    "practice": "undescribed",
}
_NOT_DESCRIBED = "common practice, no source: a cautious value for a species nobody has described"


@cache
def _shipped() -> dict[str, Any]:
    data = pkgutil.get_data("phenology.species", "species.toml")
    assert data is not None
    return tomllib.loads(data.decode("utf-8"))


@cache
def _shipped_species() -> Mapping[str, Species]:
    _check_practices()
    return {latin: _species(latin, table) for latin, table in _shipped()["species"].items()}


@cache
def _sources() -> Mapping[str, str]:
    return source_texts(_shipped()["provenance"])


def _species(latin: str, base: Mapping[str, Any], changes: Mapping[str, Any] | None = None) -> Species:
    own = dict(changes or {})
    shipped = _shipped()
    practices = shipped["practices"]
    check_table(latin, own, shipped["groups"], practices)
    described = base is not _NEUTRAL
    sources = {key: str(value) for key, value in base.items() if key.startswith("from_")}
    table = {key: value for key, value in base.items() if key not in sources}
    check_table(latin, table, shipped["groups"], practices)
    if "practice" in own:  # another way of working is taken whole
        table = {key: value for key, value in table.items() if key not in PROFILE_FIELDS}
        sources = {key: value for key, value in sources.items() if key[5:] not in PROFILE_FIELDS}
    both = {**table, **own}
    practice = practices[both["practice"]]
    provenance = {}
    for key in FIELDS:
        if key in own:
            provenance[key] = OWN
        elif described or "practice" in own:
            named = (sources, practice if key not in table else {}, {f"from_{key}": shipped["from"].get(key)})
            first = next(place[f"from_{key}"] for place in named if f"from_{key}" in place)
            provenance[key] = _source(f"{latin}: {key}", first)
        else:
            provenance[key] = _NOT_DESCRIBED
    return Species(
        latin=latin,
        names=tuple(both["names"]),
        leaves=_counts(both["leaves"]),
        priors=_priors(latin, both["group"], table, own),
        provenance=provenance,
        overridden=tuple(own),
        **{key: both[key] for key in _AS_THEY_ARE if key in both},
        **_profile(practice, both),
    )


def _counts(pair: Sequence[float]) -> tuple[int, int]:
    return int(pair[0]), int(pair[1])


def _profile(practice: Mapping[str, Any], both: Mapping[str, Any]) -> dict[str, Any]:
    """The technique profile: the species' own values over those of its way of working and of all."""
    layers = (_shipped()["common"], practice, both)
    given = {key: value for layer in layers for key, value in layer.items()}
    needs = {name: tuple(asked) for layer in layers for name, asked in layer.get("needs", {}).items()}
    return {
        "keeps": _counts(given["keeps"]),
        "needs": needs,
        **{key: given[key] for key in CHOICES},
        **{key: tuple(given[key]) for key in LISTS},
    }


@cache
def _check_practices() -> None:
    """Refuse a shipped way of working with a value that its field cannot take."""
    practices = _shipped()["practices"]
    for name, table in {"common": _shipped()["common"], **practices}.items():
        fields = {key: value for key, value in table.items() if key in PROFILE_FIELDS}
        check_table(f"practice {name}", fields, {}, practices)
        for key in table.keys() - fields.keys() - {"words"}:
            if not key.startswith("from_"):
                raise InputError(f"practice {name}: there is no field '{key}'")


def _source(where: str, named: str | None) -> str:
    sources = _sources()
    if named is None or named not in sources:
        raise InputError(f"{where} has no provenance; name one of {', '.join(sources)}")
    return sources[named]


@cache
def _group_priors(group: str) -> Mapping[str, Prior]:
    shipped = _shipped()
    given = {step: {**shipped["log_sd"][step], **shipped["groups"][group]["priors"][step]} for step in STEPS}
    return {step: _shipped_prior(f"group {group}: {step}", table) for step, table in given.items()}


def _shipped_prior(where: str, given: Mapping[str, Any]) -> Prior:
    check_prior(where, {key: value for key, value in given.items() if key not in ("from", "from_log_sd")})
    return Prior(
        float(given["days"]),
        float(given["log_sd"]),
        _source(where, given.get("from")),
        given["why"],
        log_sd_provenance=_source(f"{where}: log_sd", given.get("from_log_sd")),
    )


def _priors(latin: str, group: str, table: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Prior]:
    """The group's priors, under the species' own shipped ones, under the garden's.

    A garden that moves a species to another group takes that group's priors whole.
    """
    out = dict(_group_priors(group))
    for step, given in ({} if "group" in own else table.get("priors", {})).items():
        out[step] = _shipped_prior(f"{latin}: {step}", {**_shipped()["log_sd"][step], **given})
    for step, given in own_priors(latin, own).items():
        shared = out[step]
        moved, wider = "days" in given, "log_sd" in given
        out[step] = Prior(
            float(given.get("days", shared.days)),
            float(given.get("log_sd", shared.log_sd)),
            OWN if moved else shared.provenance,
            str(given.get("why", "" if moved else shared.why)),
            log_sd_provenance=OWN if wider else shared.log_sd_provenance,
        )
    return out
