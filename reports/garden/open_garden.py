"""A garden's folder, opened once: what commands, pages and the notebook read it through and write it with."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date, datetime
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from data_sources.garden import (
    SETTINGS_NAME,
    GardenSettings,
    calendar_of,
    open_journal,
    read_settings,
    write_settings,
)
from phenology.language.date_style import full_date
from phenology.model.errors import InputError, UnknownNameError
from phenology.records.flushes import TreeRecord
from reports.garden.clock import now_on, today

if TYPE_CHECKING:
    from data_sources.journal.schema import Record
    from data_sources.journal.store import Journal
    from phenology.garden import Garden
    from phenology.language.vague_dates import VagueDate
    from phenology.model.records import Place, Stand, Tree
    from phenology.model.season import SeasonCalendar
    from phenology.model.shared_calibration import SharedCalibration
    from phenology.species.catalogue import Species

T = TypeVar("T")


class OpenGarden:
    """A garden for the time of one command or notebook; each part is read when it is first asked for.

    Its journal is closed at the end of a ``with`` block, or by `close`; asked again it opens again, but one
    that was open before and is handed in. `warn` is told what the journal warns of, such as a folder that is
    read-only. Whatever is asked of it raises `StoreError` or `InputError` where there is no garden in the
    folder, or its files cannot be read.
    """

    def __init__(
        self, folder: Path, warn: Callable[[str], None] = lambda _: None, journal: Journal | None = None
    ) -> None:
        self.folder, self._warn, self._warned = folder, warn, 0
        if journal is not None:
            self.__dict__["journal"] = journal

    def __enter__(self) -> OpenGarden:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the journal, if it was opened."""
        if "journal" in self.__dict__:
            self._pass_warnings_on(self.journal)
            self.__dict__.pop("journal").close()

    def give_up_journal(self) -> Journal | None:
        """The journal, if it was opened: whoever takes it closes it."""
        journal: Journal | None = self.__dict__.pop("journal", None)
        return journal

    @property
    def exists(self) -> bool:
        """Whether there is a garden in the folder."""
        return (self.folder / SETTINGS_NAME).is_file()

    @cached_property
    def settings(self) -> GardenSettings:
        return read_settings(self.folder)

    @property
    def settings_or_usual(self) -> GardenSettings:
        """The settings, or the usual ones where there is no garden."""
        return self.settings if self.exists else GardenSettings()

    @cached_property
    def journal(self) -> Journal:
        _ = self.settings  # says to run init where there is no garden
        journal = open_journal(self.folder)
        self._pass_warnings_on(journal)
        return journal

    def _pass_warnings_on(self, journal: Journal) -> None:
        for warning in journal.warnings[self._warned :]:
            self._warn(warning)
        self._warned = len(journal.warnings)

    @cached_property
    def today(self) -> date:
        return self.settings_or_usual.stands_on or today()

    @property
    def now(self) -> datetime:
        """The time of what is written; noon where the garden stands on another day."""
        return now_on(self.today)

    @cached_property
    def places(self) -> list[Place]:
        return self.journal.places()

    @cached_property
    def trees(self) -> list[Tree]:
        from phenology.language.tree_selection import in_order

        return in_order(self.journal.trees())

    @cached_property
    def stands(self) -> list[Stand]:
        return self.journal.stands()

    @cached_property
    def catalogue(self) -> dict[str, Species]:
        from phenology.species.catalogue import load_species

        return load_species(self.settings_or_usual.species)

    def species_name(self, latin: str) -> str:
        """What growers call a species; its Latin name where that is not known."""
        known = self.catalogue.get(latin)
        return known.name if known else latin

    @property
    def shared(self) -> list[SharedCalibration]:
        """What was learned from other gardens."""
        files = self.journal.shared_files()
        if not files:
            return []
        from data_sources.sharing.calibration_file import kept

        return [kept(file.content, file.label) for file in files]

    @cached_property
    def calendar(self) -> SeasonCalendar:
        return calendar_of(self.settings, self.places)

    # Which trees, which place, which day ------------------------------------------------------------------

    def select(self, text: str, on: date | None = None) -> tuple[Tree, ...]:
        """The trees a grower means; errors as `select_trees`."""
        from phenology.language.tree_selection import Roster, means_the_last, select_trees

        if exact := Roster(self.trees).labelled(text):
            return exact
        from data_sources.journal_questions import last_entry_trees

        names = {latin: species.names for latin, species in self.catalogue.items()}
        last = last_entry_trees(self.journal) if means_the_last(text) else []
        return select_trees(
            text, Roster(self.trees, self.places, self.stands, names, last), on=on or self.today
        )

    def select_one(self, text: str) -> Tree:
        """The one tree a grower means."""
        trees = self.select(text)
        if len(trees) > 1:
            raise InputError(f"'{text}' means {len(trees)} trees; name one")
        return trees[0]

    def select_and(self, words: Sequence[str], find: Callable[[str], T]) -> tuple[tuple[Tree, ...], T]:
        """Trees and one more word, the longest ending that is one: `look hornbeams still going`.

        Raises
        ------
        InputError
            An unknown tree is named before an unknown word.
        """
        wrong: InputError | None = None
        for at in range(1, len(words)):
            try:
                found = find(" ".join(words[at:]))
            except InputError as error:
                wrong = error
                continue
            return self.select(" ".join(words[:at])), found
        if self._other_way_round(words, find):
            raise InputError(f"the trees come first: {' '.join((*words[1:], words[0]))}")
        self.select(" ".join(words[:-1]))
        raise wrong or InputError(f"'{' '.join(words)}' is one word; say which trees and what of them")

    def _other_way_round(self, words: Sequence[str], find: Callable[[str], T]) -> bool:
        try:
            find(words[0])
            return bool(self.select(" ".join(words[1:])))
        except InputError:
            return False

    def standing(self, place: Place, day: date | None = None) -> list[Tree]:
        """The trees that stand in a place on a day, retired ones left out."""
        from phenology.language.tree_selection import place_of

        on = day or self.today
        return [t for t in self.trees if t.retired is None and place_of(t.id, self.stands, on) == place.id]

    def place(self, name: str | None = None) -> Place:
        """The place of that name, or the only one whose name begins so; without a name the only place.

        Raises `UnknownNameError` if no place has the name; near matches are offered; `InputError` if several
        places fit, or the garden has none yet.
        """
        from phenology.language.words import near_words, plain_words

        places = self.some_places
        if name is None:
            if len(places) > 1:
                names = ", ".join(place.name for place in places)
                raise InputError(f"the garden has {len(places)} places; say which with --place: {names}")
            return places[0]
        wanted = plain_words(name)
        found = [p for p in places if plain_words(p.name) == wanted or p.id == name]
        found = found or [p for p in places if wanted and plain_words(p.name).startswith(wanted)]
        if len(found) == 1:
            return found[0]
        if found:
            raise InputError(f"'{name}' may be {' or '.join(p.name for p in found)}; write more of the name")
        near = near_words(name, {plain_words(p.name): p.name for p in places})
        raise UnknownNameError("place", name, near or [p.name for p in places[:3]])

    @property
    def some_places(self) -> list[Place]:
        """The places, of which there must be one."""
        if not self.places:
            raise InputError("the garden has no place yet; add one with `flushcast place add`")
        return self.places

    def read_date(self, text: str, by: date | None = None) -> VagueDate:
        """A date as typed, read as the garden has dates: the latest such by a day, today unless given."""
        from phenology.language.vague_dates import parse
        from phenology.language.written_days import AmbiguousDateError

        settings = self.settings_or_usual
        weeks = settings.date_style.first_weekday
        try:
            return parse(text, today=by or self.today, order=settings.reading_order, first_weekday=weeks)
        except AmbiguousDateError as error:
            either = f"{str(error).split(';')[0]}; write the month as a word"
            if settings.date_order is not None:  # dates are shown year first: so they are written too
                raise AmbiguousDateError(f"{either}, or 2026-07-04") from None
            raise AmbiguousDateError(
                f"{either}, or settle it once: flushcast settings date-order day-first (or month-first)"
            ) from None

    def day(self, text: str | None) -> date:
        """A date that must be one day, a vague one counted by its middle; nothing typed is today."""
        if text is None:
            return self.today
        earliest, latest = self.read_date(text).in_season(self.calendar, self.today)
        return earliest + (latest - earliest) // 2

    def coming_day(self, text: str) -> date:
        """A date of the season under way that is today or still to come, a vague one by its middle.

        Raises `InputError` if it is over.
        """
        end = self.calendar.end(self.calendar.season_of(self.today))
        earliest, latest = self.read_date(text, by=end).in_season(self.calendar, end)
        day = earliest + (latest - earliest) // 2
        if day < self.today:
            raise InputError(f"{text} is over; name a day of this season that is still to come")
        return day

    def past_day(self, asked: str | date | None) -> date:
        """The day asked for with ``--as-of`` or `as_of`: one day, not to come; None is today.

        Raises `InputError` if the date cannot be understood, is more than one day, or lies in the future.
        """
        if asked is None:
            return self.today
        day = one_day(asked, self.read_date)
        if day > self.today:
            raise InputError(f"{full_date(day)} is in the future; ask for a day gone by")
        return day

    # What is known, and what is written -------------------------------------------------------------------

    def record(self, tree: Tree, *days: date) -> TreeRecord:
        """A tree's flushes, looks and work in the seasons of some days and those beside them.

        That is all that placing a look or work needs.
        """
        seasons = {self.calendar.season_of(day) + beside for day in days for beside in (-1, 0, 1)}
        flushes = [f for season in sorted(seasons) for f in self.journal.flushes(tree.id, season)]
        looks = [look for flush in flushes for look in self.journal.looks(flush_id=flush.id)]
        works = [
            work
            for work in self.journal.works(tree.id, self.calendar.start(min(seasons)))
            if self.calendar.season_of(work.middle) in seasons
        ]
        return TreeRecord(tree.label, tuple(flushes), tuple(looks), tuple(works))

    @contextmanager
    def changing(self) -> Iterator[None]:
        """Read, plan and save with nobody writing in between: trees, places and settings are read anew.

        The journal's lock is that of the whole garden. Ask no question and tell nothing inside.
        """
        with self.journal.held():
            self._forget()
            yield

    def settle(
        self, plan: Callable[[], T | None], write: Callable[[T], None], *, asks: bool = False
    ) -> T | None:
        """Plan at leisure and write what was planned; where others wrote meanwhile, plan again.

        A plan of None is given up. One that asks nobody is made under the lock when others do not stop
        writing.
        """
        for tries in count(1):
            self._forget()
            if not asks and tries > 3:
                break
            seen, made = self.state(), plan()
            if made is None:
                return None
            with self.changing():
                if self.state() == seen:
                    write(made)
                    return made
        with self.changing():
            made = plan()
            if made is not None:
                write(made)
        return made

    def change_settings(
        self, change: Callable[[GardenSettings], GardenSettings]
    ) -> tuple[GardenSettings, GardenSettings]:
        """Change the settings as they are now, under the garden's lock; returns them before and after."""
        with self.changing():
            before = self.settings
            write_settings(self.folder, change(before))
            self._forget()
            return before, self.settings

    def _forget(self) -> None:
        """Read again, when next asked, what others may have changed."""
        for name in ("settings", "places", "trees", "stands", "catalogue", "calendar"):
            self.__dict__.pop(name, None)

    def state(self) -> tuple[object, ...]:
        """What differs once anybody has changed the garden."""
        with suppress(OSError):
            settings = (self.folder / SETTINGS_NAME).stat()
            return self.journal.newest_change(), settings.st_mtime_ns, settings.st_size
        return (self.journal.newest_change(),)

    def save(self, label: str, save: Iterable[Record], remove: Iterable[Record] = ()) -> None:
        """Write records as one batch that can be undone; `label` is what the history says of it."""
        with self.journal.batch(label, at=self.now) as batch:
            for record in save:
                batch.save(record)
            for record in remove:
                batch.delete(cast(Any, type(record)), record.id)

    def snapshot(self, as_of: str | date | None = None) -> Garden:
        """Records and weather as known on a day: what is forecast, calibrated and compared.

        Those dated after `as_of`, which `past_day` reads, are left out; without it nothing is.
        """
        from dataclasses import replace

        from phenology.garden import Garden
        from reports.garden.place_weather import read_place_weather

        day, past = self.past_day(as_of), as_of is not None
        settings, places, journal = self.settings, self.some_places, self.journal
        with journal.snapshot():
            known = read_place_weather(self.folder, [p.id for p in places], day if past else None)
            garden = Garden(
                day,
                self.calendar,
                places,
                journal.trees(),
                journal.stands(),
                journal.aims(),
                journal.flushes(),
                journal.looks(),
                journal.works(),
                self.catalogue,
                known.weather,
                settings.limits,
                outlooks=known.outlooks,
                attribution=tuple(dict.fromkeys(known.attribution)),
                shared=self.shared,
            )
        # with `past` the weather is as known then already: the forecast of that day goes on after it
        return replace(garden.up_to(day), weather=known.weather) if past else garden


def one_day(asked: str | date, read: Callable[[str], VagueDate]) -> date:
    """The day asked for, as a date or in words; `InputError` where words mean more than one day."""
    if isinstance(asked, date):
        return date(asked.year, asked.month, asked.day)  # a time of day becomes its day
    when = read(asked)
    if when.earliest is None or when.earliest != when.latest:
        raise InputError(f"this needs one day, such as 2026-06-14; '{asked}' is not one")
    return when.earliest
