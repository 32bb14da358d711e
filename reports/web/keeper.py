"""One garden for many requests: its forecast is made once for each state of journal, weather and day."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from data_sources.garden import JOURNAL_NAME
from phenology.language.date_style import using_dates
from phenology.language.degrees import using_units
from reports.garden.clock import today
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from data_sources.journal.store import Journal
    from phenology.advice.agenda import Agenda

KEPT_STATES = 4
WEATHER_FILES = ("weather.sqlite", "weather.sqlite-wal")

State = tuple[object, ...]


@dataclass
class Known:
    """What was reckoned of one state of a garden; each part is made when it is first asked for."""

    agenda: Agenda
    lock: threading.Lock = field(default_factory=threading.Lock)
    made: dict[str, Any] = field(default_factory=dict)

    def once(self, what: str, make: Callable[[], Any]) -> Any:
        """Something that rests on this state alone."""
        with self.lock:
            if what not in self.made:
                self.made[what] = make()
            return self.made[what]


class _OvertakenError(Exception):
    """Something was written down, so that nobody will ask for this any more."""


class Keeper:
    """Opens a garden for a request, and keeps the forecasts of its last few states."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._known: OrderedDict[State, Known] = OrderedDict()
        self._few: OrderedDict[State, Known] = OrderedDict()
        self._looking, self._making, self._making_few = (threading.Lock() for _ in range(3))
        self._asked = 0
        self._idle: list[tuple[object, Journal]] = []

    @contextmanager
    def opened(self) -> Iterator[OpenGarden]:
        """The garden for one request, dates and temperatures as it has them.

        Its journal stays open for the next one: to open it is to check it, which takes longer than a page.
        """
        file = self._file()
        with ExitStack() as stack:
            garden = stack.enter_context(OpenGarden(self.folder, journal=self._taken(file)))
            if garden.exists:
                stack.enter_context(using_dates(garden.settings.date_style))
                stack.enter_context(using_units(garden.settings.units))
            yield garden  # an error closes the journal
            journal = garden.give_up_journal()
            if journal is not None:
                with self._looking:
                    self._idle.append((file, journal))

    def _file(self) -> object:
        """Which file the journal is: another after a restore; and the day, on which it is checked anew."""
        with suppress(OSError):
            stat = (self.folder / JOURNAL_NAME).stat()
            return stat.st_dev, stat.st_ino, today()
        return None

    def _taken(self, file: object) -> Journal | None:
        """A journal that is open already; those of another file or day are closed."""
        with self._looking:
            old = [journal for key, journal in self._idle if key != file]
            self._idle = [pair for pair in self._idle if pair[0] == file]
            found = self._idle.pop()[1] if self._idle else None
        for journal in old:
            journal.close()
        return found

    def close(self) -> None:
        """Close what is open."""
        self._taken(object())

    def __del__(self) -> None:
        self.close()

    def state(self, garden: OpenGarden) -> State:
        """What differs once the garden, its weather or the day has changed."""
        stamps: list[object] = []
        for name in WEATHER_FILES:
            with suppress(OSError):
                stat = (self.folder / name).stat()
                stamps.append((name, stat.st_mtime_ns, stat.st_size))
        return (*garden.state(), garden.today, *stamps)

    def ready(self, garden: OpenGarden) -> Known | None:
        """What is known of the garden as it stands, if it was reckoned already."""
        with self._looking:
            return self._known.get(self.state(garden))

    def recent(self, garden: OpenGarden) -> Known | None:
        """The same, or what was known before the last looks and work of the day were written down."""
        now = self.state(garden)
        with self._looking:
            found = (known for state, known in reversed(self._known.items()) if state[1:] == now[1:])
            return self._known.get(now) or next(found, None)

    def of(self, garden: OpenGarden, trees: Collection[str]) -> Known:
        """What is known of some trees, by their ids: the others are not reckoned for it."""
        if (known := self.ready(garden)) is not None:
            return known
        with self._making_few:
            state = (*self.state(garden), *sorted(trees))
            with self._looking:
                known = self._few.get(state)
            return known or self._reckoned(garden, self._few, state, only=trees)

    def ahead(self, garden: OpenGarden, go_on: Callable[[], None] = lambda: None) -> Known:
        """The agenda of the garden as it stands, and what else was reckoned of it.

        `go_on` is called between trees; what it raises ends the reckoning.
        """
        if (known := self.ready(garden)) is not None:
            return known
        with self._making:  # many may ask at once: one reckons, the others wait for it
            if (known := self.ready(garden)) is not None:
                return known
            return self._reckoned(garden, self._known, self.state(garden), go_on)

    def _reckoned(
        self,
        garden: OpenGarden,
        kept: OrderedDict[State, Known],
        state: State,
        go_on: Callable[[], None] = lambda: None,
        only: Collection[str] | None = None,
    ) -> Known:
        from phenology.advice.agenda import make_agenda
        from phenology.advice.garden_forecast import forecast_garden
        from reports.garden.past_forecasts import with_skill

        snapshot = with_skill(garden.snapshot(), self.folder)
        agenda = make_agenda(forecast_garden(snapshot, progress=lambda *_: go_on(), only=only))
        known = Known(agenda if only is None else agenda.only(only))
        with self._looking:
            kept[state] = known
            while len(kept) > KEPT_STATES:
                kept.popitem(last=False)
        return known

    def warm(self, trees: Collection[str] = ()) -> None:
        """Begin to reckon what the garden as it stands will be asked for, some trees first.

        Nobody waits for it; once something else is written down it is broken off, and begun anew.
        """
        self._asked += 1
        mine = self._asked

        def go_on() -> None:
            if self._asked != mine:
                raise _OvertakenError

        def reckon() -> None:
            with suppress(Exception), self.opened() as garden:  # whoever asks is told what is wrong
                if trees:
                    self.of(garden, trees)
                self.ahead(garden, go_on)

        threading.Thread(target=reckon, name="reckoning", daemon=True).start()
