"""`flushcast species`: what is believed of a species before it is seen, and this garden's own values."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import click

from data_sources.garden import GardenSettings
from data_sources.tables.import_draft import species_named
from phenology.language.degrees import degrees
from phenology.model.errors import InputError
from phenology.model.shared_calibration import SharedCalibration
from phenology.species.catalogue import STEPS, Species, find_species, load_species
from phenology.species.fields import FIELDS, PROFILE_FIELDS, profile_value
from phenology.work.season_of_work import in_words
from phenology.work.technique import kept
from reports.cli.common import open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden
from reports.views.words import table, terminal_width

_STEPS = {
    "start_budbreak": "season's start to bud break",
    "work_budbreak": "waking work to bud break",
    "budbreak_extended": "bud break to extended",
    "extended_hardened": "extended to hardened",
}
_DEFOLIATION = {
    "never": "not known to stand defoliation",
    "once": "stands partial defoliation once a season",
    "repeat": "stands partial defoliation, when strong a second time in a season",
}
_WOKEN_BY = {
    "season": "wakes with the season",
    "bloom": "wakes when its bloom is over",
    "warmth": "wakes with warm nights, whatever the season",
}
_TECHNIQUE = {
    "pinch": "pinch soft tips",
    "extend-cut": "let extend and cut when hard",
    "outer-defoliation": "bare the outer canopy",
    "full-defoliation": "take all leaves off",
    "halve": "halve outer leaves",
    "bloom-cut": "shape as the bloom ends",
}
_PRACTICE = "common practice, no source"
_SAP_SOURCE = "from memory, unverified"


@click.command("species")
@click.argument("words", nargs=-1, metavar="[NAME]")
@click.option(
    "--set",
    "changes",
    multiple=True,
    metavar="FIELD=VALUE",
    help="This garden's own value, such as defoliation=once.",
)
@click.option("--reset", is_flag=True, help="Forget this garden's own values for the species.")
@open_garden_option
def species_command(
    garden: OpenGarden, words: tuple[str, ...], changes: tuple[str, ...], reset: bool
) -> None:
    """List the species, or show one with where each value comes from.

    \b
    flushcast species
    flushcast species "trident maple"
    flushcast species "Ulmus parvifolia" --set leaves=5-9 --set defoliation=once
    flushcast species "Acer rubrum" --set "names=red maple, swamp maple"

    NAME: Latin or common, or a part of either. --set adds a species that is missing.
    """

    name = "" if words == ("list",) else " ".join(words)
    shared = garden.shared if garden.exists else []
    if changes or reset:
        if not name:
            raise click.UsageError("say which species")
        _change(garden, name, changes, reset=reset)
    elif name:
        put(one(name, garden.catalogue, garden.settings_or_usual.units, shared))
    else:
        put(everything(garden.catalogue, shared))


def _change(garden: OpenGarden, name: str, changes: Sequence[str], *, reset: bool) -> None:
    """Set or forget a garden's own values for one species; every value is checked before any is written."""
    latin = species_named(name, garden.catalogue)
    garden.change_settings(lambda now: _with_own(now, garden, latin, changes, reset=reset))
    if reset and not changes:
        tell(f"{latin}: back to the shipped values.")
    else:
        tell(f"{latin}: {', '.join(changes)}. Kept in garden.toml; --reset takes this garden's values back.")


def _with_own(
    settings: GardenSettings, garden: OpenGarden, latin: str, changes: Sequence[str], *, reset: bool
) -> GardenSettings:
    own: dict[str, Any] = {k: dict(v) for k, v in settings.species.items()}
    mine: dict[str, Any] = {} if reset else dict(own.get(latin, {}))
    for text in changes:
        field, equals, value = (part.strip() for part in text.partition("="))
        if not equals:
            raise InputError(f"--set takes FIELD=VALUE; got '{text}'")
        if field in STEPS:
            mine["priors"] = {**mine.get("priors", {}), field: _prior(value)}
        elif field == "needs" and latin in garden.catalogue:  # what other techniques ask stays
            before = {name: list(asked) for name, asked in garden.catalogue[latin].needs.items()}
            mine[field] = {**before, **_value(field, value)}
        else:
            mine[field] = _value(field, value)
    own[latin] = mine
    own = {k: v for k, v in own.items() if v or k != latin}
    load_species(own)
    return replace(settings, species=own)


def _value(field: str, text: str) -> Any:
    if field not in FIELDS:
        known = ", ".join((*FIELDS, *STEPS))
        raise InputError(f"species have no field '{field}'; they have {known}")
    if field == "names":
        return [part.strip() for part in text.split(",") if part.strip()]
    if field == "leaves":
        low, _, high = text.replace("–", "-").partition("-")
        if not all(re.fullmatch(r"\s*[0-9]{1,4}\s*", count) for count in (low, high or low)):
            raise InputError(f"leaves takes two counts such as 5-9; got '{text}'")
        return [int(low), int(high or low)]
    if field == "prone":
        if text.casefold() not in ("yes", "no", "true", "false"):
            raise InputError(f"prone takes yes or no; got '{text}'")
        return text.casefold() in ("yes", "true")
    return profile_value(field, text) if field in PROFILE_FIELDS else text


def _prior(text: str) -> dict[str, float]:
    """Median days at 18 °C, and how far they may be off: "35" or "35, 0.3"."""
    try:
        parts = [float(part) for part in text.split(",")]
    except ValueError:
        parts = []
    if len(parts) not in (1, 2):
        raise InputError(
            f"a step takes days at 18 °C and, if you like, a log-scale spread: 35 or 35,0.3; got '{text}'"
        )
    return {"days": parts[0]} if len(parts) == 1 else {"days": parts[0], "log_sd": parts[1]}


def everything(catalogue: Mapping[str, Species], shared: Sequence[SharedCalibration] = ()) -> str:
    """All species, by Latin name; a star marks a garden's own values, a plus what others' looks bear on."""
    learned = {name for one in shared for name in one.species}
    rows = [
        [
            latin + ("*" if s.overridden else "") + ("+" if latin in learned else ""),
            s.growth,
            s.habit,
            s.defoliation,
            ", ".join(s.names[:2]),
        ]
        for latin, s in sorted(catalogue.items())
    ]
    text = table(["species", "growth", "habit", "defoliation", "names"], rows)
    star = "\n* with values of this garden" if any(s.overridden for s in catalogue.values()) else ""
    plus = "\n+ with calibrations learned from other growers" if learned & catalogue.keys() else ""
    return f"{text}{star}{plus}"


def one(
    name: str,
    catalogue: Mapping[str, Species],
    units: str = "C",
    shared: Sequence[SharedCalibration] = (),
) -> str:
    """One species: each value and its provenance, this garden's own ones marked; `units` "C" or "F"."""
    s = find_species(name, catalogue)
    notes = _Notes()
    lines = [f"{s.latin}" + (f" ({', '.join(s.names)})" if s.names else "")]
    values = {
        "growth": f"{s.growth} growth",
        "habit": s.habit,
        "woken_by": _WOKEN_BY.get(s.woken_by, s.woken_by),
        "arrangement": f"{s.arrangement} leaves",
        "defoliation": _DEFOLIATION.get(s.defoliation, s.defoliation),
        "leaves": f"{s.leaves[0]}-{s.leaves[1]} leaves on a finished shoot",
        "grown_for": f"grown for {s.grown_for}",
        "sap": "" if s.sap == "none" else f"{s.sap} sap",
        "prone": "prone to canker and blight through wounds in wet weather" if s.prone else "",
        "group": f"vigour group {s.group}",
        "note": s.note,
    }
    for field, value in values.items():
        if value:
            lines += _line(value, notes.mark(s.provenance.get(field, "")), field in s.overridden)
    lines.append("How it is worked:")
    for field, value in _profile(s).items():
        lines += _line(value, notes.mark(s.provenance.get(field, "")), field in s.overridden)
    if s.cautions:
        lines.append("To mind:")
    for caution in s.cautions:
        source = _SAP_SOURCE if caution == s.sap_caution else _PRACTICE
        lines += _line(caution, notes.mark(source), False)
    lines.append(f"Believed before any look, in days at a constant {degrees(18, units)}")
    lines.append("(in brackets: where the species' own mean lies, two to one):")
    if units == "F":
        lines.append("(sums and sources count in °C, as they were written)")
    for step in STEPS:
        prior = s.priors[step]
        spread = math.exp(prior.log_sd)
        days = f"{_STEPS[step]}: {prior.days:.0f} days ({prior.days / spread:.0f}-{prior.days * spread:.0f})"
        own = prior.provenance.startswith("this garden")
        lines += _line(days, notes.mark(prior.provenance), own)
        if prior.why and not own:
            lines += textwrap.wrap(
                prior.why, terminal_width(), initial_indent=" " * 6, subsequent_indent=" " * 6
            )
    if shared and (tellers := [other.label for other in shared if s.latin in other.species]):
        words = f"Learned of it from {', '.join(tellers)}; `flushcast calibrate` shows what."
        lines += textwrap.wrap(words, terminal_width(), subsequent_indent="  ")
    return "\n".join([*lines, *notes.lines()])


def _profile(s: Species) -> dict[str, str]:
    """The technique profile, field by field, in words."""

    def opened(flush: int) -> str:
        ways = [
            _TECHNIQUE[t] + (f" (asks: {', '.join(s.needs[t])})" if s.needs.get(t) else "")
            for t in s.opens(flush)
        ]
        return ", or ".join(ways) or "left alone"

    found = {
        "leaf_kind": f"{s.leaf_kind} leaves",
        "keeps": f"a cut keeps {kept(s)}",
        "first_flush": f"first flush: {opened(1)}",
        "later_flush": f"later flushes: {opened(2)}",
        "repot": f"repotted {in_words(s.repot)}",
        "prune": f"wood pruned {in_words(s.prune)}",
        "blooms": "" if s.blooms == "none" else f"blooms in {s.blooms}",
        "leads": "" if s.leads == "top" else f"strongest at its {s.leads}",
        "diseases": f"work lets in {', '.join(s.diseases).replace('-', ' ')}" if s.diseases else "",
    }
    return {field: words for field, words in found.items() if words}


class _Notes:
    """Sources, each told once at the end under a letter."""

    def __init__(self) -> None:
        self.letters: dict[str, str] = {}

    def mark(self, source: str) -> str:
        """The letter of a source; empty when there is none."""
        if not source:
            return ""
        return self.letters.setdefault(source, "abcdefghijklmnopqrstuvwxyz"[len(self.letters) % 26])

    def lines(self) -> list[str]:
        """The sources by letter."""
        out: list[str] = []
        for source, letter in self.letters.items():
            out += textwrap.wrap(f"[{letter}] {source}", terminal_width(), subsequent_indent="    ")
        return out


def _line(value: str, source: str, own: bool) -> list[str]:
    mark = "* " if own else "  "
    text = f"{mark}{value}" + (f" [{source}]" if source else "")
    return textwrap.wrap(text, terminal_width(), subsequent_indent="    ", break_on_hyphens=False)
