"""A garden as an import will leave it: what is there and what is to be saved."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

from data_sources.journal.schema import TABLES, ImportMap, Record
from data_sources.tables.csv_cells import Problem
from data_sources.tables.garden_tables import GardenRecords
from phenology.language.tree_selection import Roster
from phenology.model.errors import UnknownNameError
from phenology.model.records import Aim, GrowthAim, Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import Species, find_species


@dataclass
class FileReport:
    """What became of one file."""

    file: str
    table: str
    added: int = 0
    changed: int = 0
    there: int = 0
    remembered: bool = False


@dataclass
class ImportPlan:
    """What to save, in order, and what to tell."""

    save: list[Record] = field(default_factory=list)
    reports: list[FileReport] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


class Draft:
    """The records of a garden, those to be saved among them.

    Parameters
    ----------
    records : GardenRecords
    catalogue : mapping of Latin name to Species
    calendar : SeasonCalendar
    today : date
    new_id : callable
    """

    def __init__(
        self,
        records: GardenRecords,
        catalogue: Mapping[str, Species],
        calendar: SeasonCalendar,
        today: date,
        new_id: Callable[[], str],
    ) -> None:
        self.catalogue, self.calendar, self.today, self.new_id = catalogue, calendar, today, new_id
        self.plan = ImportPlan()
        self.problems: list[Problem] = []
        self.by_id: dict[str, dict[str, Record]] = {t: {r.id: r for r in records.of(t)} for t in TABLES}

    def add(self, table: str, record: Record) -> None:
        """A record to be saved."""
        self.by_id[table][record.id] = record
        self.plan.save.append(record)

    def add_tree(self, tree: Tree, place: Place | None, aim: str | None) -> None:
        """A tree to be saved, with where it stands and its aim."""
        self.add("tree", tree)
        if place is not None:
            self.add("stand", Stand(self.new_id(), tree.id, place.id))
        if aim is not None:
            self.add("aim", Aim(self.new_id(), tree.id, GrowthAim(aim)))
        if tree.species not in self.catalogue:
            warning = f"{tree.species} is not in the catalogue: it starts from a neutral guess"
            if warning not in self.plan.warnings:
                self.plan.warnings.append(warning)

    def trees(self) -> list[Tree]:
        """All trees."""
        return [t for t in self.by_id["tree"].values() if isinstance(t, Tree)]

    def places(self) -> list[Place]:
        """All places."""
        return [p for p in self.by_id["place"].values() if isinstance(p, Place)]

    def roster(self) -> Roster:
        """What selections of trees are read against."""
        stands = [s for s in self.by_id["stand"].values() if isinstance(s, Stand)]
        names = {latin: species.names for latin, species in self.catalogue.items()}
        return Roster(self.trees(), self.places(), stands, names)

    def maps(self) -> list[ImportMap]:
        """How earlier files were read, newest first."""
        return [m for m in self.by_id["import_map"].values() if isinstance(m, ImportMap)][::-1]


def species_named(text: str, catalogue: Mapping[str, Species]) -> str:
    """The Latin name meant: of the catalogue, or as written when it is a Latin name near no known one.

    Raises
    ------
    InputError
        If it is neither.
    """
    try:
        return find_species(text, catalogue).latin
    except UnknownNameError:
        words = text.split()
        latin = len(words) >= 2 and re.fullmatch(r"[A-Z][a-z]+ (?:[x×] )?[a-z-]{3,}.*", " ".join(words))
        close = difflib.get_close_matches(" ".join(words), catalogue, n=1, cutoff=0.87)
        if latin and not close:
            return " ".join(words)
        raise
