"""What `init` asks: where the garden is, each tree, what it is at now, what was done to it last.

Each answer is written down when it is given. A slip is told and asked again, and an unknown species is
offered the nearest ones or a neutral guess. Nothing here needs the network.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain
from typing import TYPE_CHECKING, TypeVar

import click

from data_sources.garden import new_id
from phenology.language.plain_names import name_key, plain_name
from phenology.language.words import find_operation, find_stage, known_event
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Look, Stand, Tree, Work
from phenology.model.stages import Stage
from phenology.records.entries import look_changes, work_changes
from phenology.species.names import find_species, fitting_species, near_names
from phenology.species.species import Species
from reports.cli.common import may_ask, say
from reports.cli.setup.place_command import check_zone, read_latitude, read_longitude
from reports.garden.open_garden import OpenGarden
from reports.views.words import shown_date

if TYPE_CHECKING:
    from data_sources.gazetteer import Town


FAR_KM = 100.0  # a zone taken from farther away is worth a word
T = TypeVar("T")
Event = Stage | Operation
OFFERED = 6


@dataclass(frozen=True)
class Where:
    """A position as typed or found, and its zone."""

    latitude: str
    longitude: str
    timezone: str


def asked(question: str, read: Callable[[str], T], *, default: str | None = "") -> T:
    """An answer that can be used: a slip is told and asked again."""
    while True:
        typed: str = click.prompt(question, default=default, show_default=False, err=True)
        try:
            return read(typed.strip())
        except InputError as error:
            words = str(error)
            say(f"  {words}{'' if words.endswith(('.', '?')) else '.'}")


def find_where(town: str | None, lat: str | None, lon: str | None, zone: str | None) -> Where:
    """Where the garden is, from flags, and on a terminal from questions."""
    found: Town | None = None
    if not (lat and lon) and not town and may_ask():
        if not lat and not lon:
            question = "Town or village nearby (empty: give latitude and longitude)"
            found = asked(question, lambda typed: _one_of(typed) if typed else None)
        if found is None:
            lat = lat or asked("Latitude, degrees north (12.3 S is understood)", _is(read_latitude))
            lon = lon or asked("Longitude, degrees east (45.6 W is understood)", _is(read_longitude))
    elif town and not (lat and lon):
        found = _one_of(town)
    if lat and lon:  # a town then only helps the reader
        latitude, longitude = lat, lon
    elif found is not None:
        latitude, longitude = str(found.latitude), str(found.longitude)
        say(f"Taking {found.line()}.")
    else:
        raise click.UsageError("say where the garden is: --town Reykjavik, or --lat 47.2 --lon 8.3")
    return Where(latitude, longitude, check_zone(zone) if zone else _zone(latitude, longitude, found))


def _is(read: Callable[[str], float]) -> Callable[[str], str]:
    """An answer as typed, if it can be read."""

    def same(text: str) -> str:
        read(text)
        return text

    return same


def _one_of(name: str) -> Town:
    """The town meant; where several match, or a small one is the only one, the grower is asked.

    Where nobody can be asked, several are told with what to write.
    """
    from data_sources.gazetteer import GREAT, ElsewhereError, among, find_towns, the_town

    if not may_ask():
        return the_town(name)
    try:
        towns = among(find_towns(name))
    except ElsewhereError as error:
        say(f"'{name}' is not in the list of towns; of that name it has:")
        return _chosen(error.towns, usual=0)
    else:
        if len(towns) == 1 and (towns[0].people >= GREAT or "," in name):
            return towns[0]
    return _chosen(towns, usual=1)


def _chosen(towns: Sequence[Town], *, usual: int) -> Town:
    """The town that the grower picks; Enter alone picks the usual one, 0 for none."""
    from data_sources.gazetteer import SHOWN

    shown = towns[:SHOWN]
    for n, town in enumerate(shown, 1):
        say(f"{n:3}  {town.line()}")
    if len(towns) > SHOWN:
        say(f"     and {len(towns) - SHOWN} more: add state or country, such as '{towns[0].name}, ...'")

    def read(typed: str) -> int:
        if not (typed.isdecimal() and int(typed) <= len(shown)):
            raise InputError(f"write a number from 0 to {len(shown)}")
        return int(typed)

    n = asked(f"Which one (0: none of them) [{usual}]", read, default=str(usual))
    if n == 0:
        raise InputError("then add state or country behind a comma, or name a larger town nearby")
    return shown[n - 1]


def _zone(latitude: str, longitude: str, town: Town | None) -> str:
    from data_sources.gazetteer import nearest_town

    if town is None:
        town = nearest_town(read_latitude(latitude), read_longitude(longitude))
    far = town.distance_km is not None and town.distance_km > FAR_KM
    away = f", {town.distance_km:.0f} km away; --timezone says another" if far else ""
    say(f"Time zone {town.timezone}, as in {town.name}{away}.")
    return town.timezone


@dataclass(frozen=True)
class Named:
    """A tree as typed, with the species its text gives, which may be none that is known."""

    label: str
    species: str


def named(text: str) -> Named:
    """A tree as LABEL=SPECIES, or by its species alone."""
    label, equals, species = (plain_name(part) for part in text.partition("="))
    if not label or (equals and not species):
        raise InputError(f"write LABEL=SPECIES, such as Elm 1=Ulmus parvifolia; got '{text}'")
    return Named(label, species or label)


def latin_of(one: Named, catalogue: Mapping[str, Species]) -> str:
    """The species of a tree as typed; raises as `species_named` and `species_in` do."""
    from data_sources.tables.import_draft import species_named
    from data_sources.tables.tree_names import species_in

    return (
        species_in(one.label, catalogue)
        if one.species == one.label
        else species_named(one.species, catalogue)
    )


def ask_species(one: Named, catalogue: Mapping[str, Species]) -> str:
    """The species that a grower picks for a name that fits none or several."""
    fitting = [species.latin for species in fitting_species(one.species, catalogue)]
    what = "may be several species" if fitting else "is no species that is known here"
    fitting = fitting or [find_species(name, catalogue).latin for name in near_names(one.species, catalogue)]
    fitting = list(dict.fromkeys(fitting))[:OFFERED]
    say(f"{one.label}: '{one.species}' {what}.")
    for n, latin in enumerate(fitting, 1):
        common = f" ({catalogue[latin].name})" if catalogue[latin].names else ""
        say(f"{n:3}  {latin}{common}")
    say(f"{0:3}  a neutral guess for '{one.species}', until you know better")

    def read(typed: str) -> str:
        if typed.isdecimal() and 0 <= int(typed) <= len(fitting):
            return fitting[int(typed) - 1] if int(typed) else one.species
        if not typed:
            raise InputError("write a number, or the species once more")
        return latin_of(Named(one.label, typed), catalogue) if typed != one.label else one.species

    return asked("Which, or its species once more", read)


def ask_for_trees(garden: OpenGarden, first: Sequence[Named] = (), *, more: bool = True) -> None:
    """The given trees, then with `more` others one by one until an empty line; each is saved at once."""
    question = "A tree as NAME=SPECIES, such as Elm 1=Chinese elm (empty: no more)"
    for one in chain(first, _typed(question) if more else ()):
        if name_key(one.label) in {name_key(tree.label) for tree in garden.trees}:
            say(f"  There is a tree called {one.label} already; give this one another name.")
            continue
        try:
            latin = latin_of(one, garden.catalogue)
        except InputError:
            latin = ask_species(one, garden.catalogue)
        tree = Tree(new_id(), one.label, latin)
        stand = Stand(new_id(), tree.id, garden.some_places[0].id)
        with garden.changing():
            garden.save(f"added tree {tree.label} ({latin})", [tree, stand])
        known = latin in garden.catalogue
        say(f"  {tree.label}: {latin}{'' if known else ', from a neutral guess'}.")


def _typed(question: str) -> Iterator[Named]:
    while (one := asked(question, lambda typed: named(typed) if typed else None)) is not None:
        yield one


def ask_how_they_stand(garden: OpenGarden) -> None:
    """Of each tree, what it is at and what was done last; what is not known stays open."""
    if garden.trees:
        say("Now each tree; press Enter where you do not know.")
    for tree in garden.trees:
        for question, find in (
            ("at now (closed, fat, green tips, soft, stopped, firm, bare)", find_stage),
            ("done last, and when (repotted March, cutback 12 June)", find_operation),
        ):
            if said := asked(f"{tree.label}: {question}", partial(_write, garden, tree, find)):
                say(f"  {said}")


def split_event(text: str, find: Callable[[str], Event]) -> tuple[Event, str]:
    """A stage or work and the date behind it: "cut back 12 June", "firm since 3 July", "soft"."""
    words = text.replace(",", " ").split()
    for end in range(len(words), 0, -1):
        if known_event(" ".join(words[:end])) is not None:
            return find(" ".join(words[:end])), " ".join(words[end:])
    return find(text), ""


def _write(garden: OpenGarden, tree: Tree, find: Callable[[str], Event], typed: str) -> str:
    """Write an answer down, and say what was written; nothing where it is empty."""
    if not typed:
        return ""
    what, when = split_event(typed, find)
    if not when and isinstance(what, Operation):
        raise InputError(f"and when? Write it with the day, such as: {what} March")
    vague = garden.read_date(when or "today")
    if vague.ahead is not None:
        raise InputError(f"'{when}' without a year is {vague}; write the year with it")
    first, last = vague.in_season(garden.calendar, garden.today)
    said = f"{tree.label}: {what}, {shown_date(first, last, garden.today)}"
    with garden.changing():
        place = garden.record(tree, last), garden.calendar
        if isinstance(what, Stage):
            text = vague.text if when else first.isoformat()
            look = Look(new_id(), tree.id, "", what, text, first, last, vague.hint or "seen")
            changes = look_changes(look, *place, today=garden.today, new_id=new_id)
        else:
            work = Work(new_id(), tree.id, what, vague.text, first, last)
            changes = work_changes(work, *place, today=garden.today, new_id=new_id)
        kind = "look" if isinstance(what, Stage) else "work"
        garden.save(f"{kind}: {said}", changes.save, changes.remove)
    return said
