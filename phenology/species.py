"""The species catalogue: what a tree is, how it takes work, and what is believed before it is seen.

The shipped catalogue is `species.toml` beside this file; a garden may override or add species.
"""

from __future__ import annotations

import difflib
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from phenology.errors import InputError, UnknownNameError

ALLOWED: dict[str, tuple[str, ...]] = {
    "arrangement": ("alternate", "opposite"),
    "growth": ("free", "fixed"),
    "habit": ("deciduous", "evergreen", "semi-evergreen"),
    "defoliation": ("never", "once", "repeat"),
    "grown_for": ("leaf", "flower", "fruit"),
    "sap": ("none", "irritant", "severe"),
}
STEPS = ("start_budbreak", "work_budbreak", "budbreak_extended", "extended_hardened")
UNKNOWN_GROUP = "unknown"


@dataclass(frozen=True)
class Prior:
    """What is believed of a step before a tree was ever looked at.

    Attributes
    ----------
    days : float
        Median days the step takes at a constant `reference_c`.
    log_sd : float
        How far a species' own mean may lie from that, on the log scale.
    provenance : str
        Where the value comes from.
    why : str
        The arithmetic behind it.
    """

    days: float
    log_sd: float
    provenance: str
    why: str = ""
    reference_c: float = 18.0


@dataclass(frozen=True)
class Species:
    """One entry of the catalogue.

    Attributes
    ----------
    latin : str
    names : tuple of str
        Common names, the usual one first.
    arrangement, growth, habit, defoliation, grown_for, sap : str
        See `ALLOWED`.
    leaves : (int, int)
        Usual leaves on a finished shoot.
    group : str
        Vigour group whose priors apply where the species has none of its own.
    prone : bool
        Prone to canker and blight through wounds in wet weather.
    priors : mapping of step to Prior
    provenance : mapping of field to str
    overridden : tuple of str
        Fields that this garden has changed.
    """

    latin: str
    names: tuple[str, ...]
    arrangement: str
    growth: str
    habit: str
    defoliation: str
    leaves: tuple[int, int]
    group: str
    priors: Mapping[str, Prior]
    grown_for: str = "leaf"
    sap: str = "none"
    prone: bool = False
    note: str = ""
    provenance: Mapping[str, str] = field(default_factory=dict)
    overridden: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The usual common name, or the Latin one."""
        return self.names[0] if self.names else self.latin

    def prior(self, start: str, target: str) -> Prior:
        """The prior of one step, `start` being "start", "work" or a stage.

        Raises
        ------
        InputError
            If there is no such step.
        """
        step = f"{start}_{target}"
        if step not in self.priors:
            raise InputError(f"there is no step from {start} to {target}; the steps are {', '.join(STEPS)}")
        return self.priors[step]


@cache
def _shipped() -> dict[str, Any]:
    text = resources.files("phenology").joinpath("species.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


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
        If a field or value is not allowed, naming species, field and what is allowed.
    """
    shipped = _shipped()
    catalogue = {latin: _species(latin, table, shipped) for latin, table in shipped["species"].items()}
    for latin, changes in (overrides or {}).items():
        base = shipped["species"].get(latin, _NEUTRAL)
        own = {**changes, **{f"from_{key}": "garden" for key in changes}}
        catalogue[latin] = _species(latin, {**base, **own}, shipped, tuple(changes))
    return catalogue


_NEUTRAL: dict[str, Any] = {
    "names": [],
    "arrangement": "alternate",
    "growth": "free",
    "habit": "deciduous",
    "defoliation": "never",
    "leaves": [4, 8],
    "group": UNKNOWN_GROUP,
    "from": "group",
}


def neutral_species(latin: str) -> Species:
    """A species nobody has described: wide priors, never defoliated."""
    return _species(latin, _NEUTRAL, _shipped())


_FIELDS = ("names", "leaves", "group", "prone", "note", "priors", *ALLOWED)


def _species(
    latin: str, table: Mapping[str, Any], shipped: Mapping[str, Any], overridden: tuple[str, ...] = ()
) -> Species:
    sources = {**shipped["provenance"], "garden": "this garden's own setting"}
    for key in table:
        if key not in _FIELDS and key != "from" and not key.startswith("from_"):
            raise InputError(f"{latin}: there is no field '{key}'; the fields are {', '.join(_FIELDS)}")
    for key, allowed in ALLOWED.items():
        if key in table and table[key] not in allowed:
            raise InputError(f"{latin}: {key} is '{table[key]}'; it may be {', '.join(allowed)}")
    if table["group"] not in shipped["groups"]:
        raise InputError(f"{latin}: group is '{table['group']}'; it may be {', '.join(shipped['groups'])}")
    leaves = table["leaves"]
    if not (isinstance(leaves, list | tuple) and len(leaves) == 2 and 0 < leaves[0] <= leaves[1]):
        raise InputError(f"{latin}: leaves is {leaves!r}; write two counts, low and high, such as [4, 8]")
    return Species(
        latin=latin,
        names=tuple(table["names"]),
        arrangement=table["arrangement"],
        growth=table["growth"],
        habit=table["habit"],
        defoliation=table["defoliation"],
        leaves=(int(leaves[0]), int(leaves[1])),
        group=table["group"],
        priors=_priors(latin, table, shipped),
        grown_for=table.get("grown_for", "leaf"),
        sap=table.get("sap", "none"),
        prone=bool(table.get("prone", False)),
        note=table.get("note", ""),
        provenance={key: _source(latin, table, key, sources) for key in table if key in _FIELDS},
        overridden=overridden,
    )


def _source(latin: str, table: Mapping[str, Any], key: str, sources: Mapping[str, str]) -> str:
    named = table.get(f"from_{key}", table.get("from"))
    if named not in sources:
        raise InputError(f"{latin}: {key} has no provenance; name one of {', '.join(sources)} in from_{key}")
    return sources[named]


def _priors(latin: str, table: Mapping[str, Any], shipped: Mapping[str, Any]) -> dict[str, Prior]:
    group = shipped["groups"][table["group"]]
    own = table.get("priors", {})
    for step in own:
        if step not in STEPS:
            raise InputError(f"{latin}: there is no prior '{step}'; the steps are {', '.join(STEPS)}")
    out = {}
    for step in STEPS:
        given = {**group["priors"][step], **own.get(step, {})}
        if not (0 < given["days"] < 400 and 0 < given["log_sd"] <= 2):
            raise InputError(f"{latin}: prior {step} needs days above 0 and log_sd between 0 and 2")
        source = "this garden's own setting" if step in own else shipped["provenance"][group["from"]]
        out[step] = Prior(float(given["days"]), float(given["log_sd"]), source, given.get("why", ""))
    return out


def find_species(text: str, catalogue: Mapping[str, Species]) -> Species:
    """Find a species by its Latin or common name, or a part of either.

    Parameters
    ----------
    text : str
        Case, accents and a plural ending do not matter.
    catalogue : mapping of Latin name to Species

    Raises
    ------
    UnknownNameError
        If nothing fits; the nearest names are offered.
    InputError
        If several fit; they are listed.

    Examples
    --------
    >>> find_species("trident maples", load_species()).latin
    'Acer buergerianum'
    """
    wanted = _plain(text)
    if not wanted:
        raise InputError("name a species")
    exact = [s for s in catalogue.values() if wanted in {_plain(n) for n in _all_names(s)}]
    partial = [s for s in catalogue.values() if any(wanted in _plain(n) for n in _all_names(s))]
    found = exact or partial
    if len(found) == 1:
        return found[0]
    if found:
        several = ", ".join(f"{s.latin} ({s.name})" for s in found[:8])
        more = f" and {len(found) - 8} more" if len(found) > 8 else ""
        raise InputError(f"'{text}' fits several species: {several}{more}. Write more of the name.")
    known = {_plain(name): name for s in catalogue.values() for name in _all_names(s)}
    near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.6)
    raise UnknownNameError("species", text, [known[n] for n in near])


def _all_names(species: Species) -> Iterator[str]:
    yield species.latin
    yield from species.names


def _plain(text: str) -> str:
    """Lower case, no accents, no plural endings."""
    bare = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(c if c.isalnum() else " " for c in bare if not unicodedata.combining(c))
    return " ".join(_singular(word) for word in letters.split())


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("ches", "shes", "xes")):
        return word[:-2]
    return (
        word[:-1] if word.endswith("s") and not word.endswith(("ss", "us", "is")) and len(word) > 3 else word
    )
