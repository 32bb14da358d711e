"""`flushcast weather`: `add`, `update`, `sources`, `status`, `show`, `accept` and `undo`."""

from __future__ import annotations

import sys
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.files.weather_table import FileReport
from data_sources.weather.place_correction import refit_corrections
from data_sources.weather.store.records import EARLIEST, LATEST
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import InputError, WeatherError
from phenology.weather.series import DailyWeather
from reports.cli.common import asking, open_garden_option, put, say
from reports.entries.readings import take_readings
from reports.garden.open_garden import OpenGarden
from reports.views.weather_text import WeatherState, added_text, status_text
from reports.views.words import counted, table


def _columns(_ctx: click.Context, _param: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    pairs = [text.partition("=") for text in given]
    if not all(equals and role and name for role, equals, name in pairs):
        raise click.BadParameter("write it as tmin=NAME")
    return {role.strip(): name.strip() for role, _, name in pairs}


@click.command("add")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--place", metavar="NAME", help="Where it was measured, when the garden has several places.")
@click.option("--units", type=click.Choice(["C", "F", "tenths"]),
              help="Unit, when the file does not state it.")  # fmt: skip
@click.option("--source", type=click.Choice(["bench", "station", "model"]),
              help="What it is: your own thermometer, a weather station, a model. "
              "Default: bench for a thermometer's log, else station.")  # fmt: skip
@click.option("--date-order", type=click.Choice(["day-first", "month-first"]),
              help="For dates like 03/04/2026.")  # fmt: skip
@click.option("--column", "columns", multiple=True, metavar="tmin=NAME", callback=_columns,
              help="Which column is which (date, time, tmin, tmax, temp); may be repeated.")  # fmt: skip
@click.option("--clock", type=click.Choice(["local", "standard", "utc"]),
              help="What a thermometer's clock showed.")  # fmt: skip
@click.option("--timezone", metavar="ZONE", help="The place's time zone, when the garden does not know it.")
@click.option("--measures", metavar="TEXT", default="",
              help="When it is not open air: 'pot surface', 'under glass'.")  # fmt: skip
@open_garden_option
def add_command(
    garden: OpenGarden,
    file: Path,
    place: str | None,
    source: str | None,
    timezone: str | None,
    measures: str,
    **known: Any,
) -> None:
    """Take the daily weather of FILE, all of it or nothing.

    A CSV with date, tmin and tmax in any order, a thermometer's log, or a station record (GHCN-Daily).
    Nothing is guessed: what the file leaves open is asked, or said with a flag.
    """
    where = garden.place(place)
    unfinished = None if garden.settings.stands_on else garden.today
    answers = {**known, "timezone": timezone or where.timezone, "today": unfinished}
    weather, report = _read(file, source, answers)
    taken = take_readings(garden, where, weather, report, file.name, measures)
    for line in added_text(report, taken.result, where.name):
        put(line)
    for shift in taken.shifts:
        put(f"Note: {shift}")
    for line in taken.corrections:
        put(f"{where.name} {line}")


def _read(file: Path, source: str | None, answers: dict[str, Any]) -> tuple[DailyWeather, FileReport]:
    """Read the file, asking what it leaves open where there is somebody to ask."""

    def keep(question: FileQuestion, answer: str) -> None:
        if question.what == "column":
            answers["columns"] = {**answers["columns"], question.role: answer}
        else:
            answers[question.what] = answer

    return asking(lambda: read_weather_file(file, source=source, **answers), keep)


FORTNIGHT, LONGEST = 14, 3660  # days
one_place = click.option("--place", metavar="NAME", help="Where, when the garden has several places.")


@click.command("status")
@click.option("--place", metavar="NAME", help="One place; default: every place of the garden.")
@click.option("--units", type=click.Choice(["C", "F"]), help="Unit to show; default: the garden's.")
@open_garden_option
def status_command(garden: OpenGarden, place: str | None, units: str | None) -> None:
    """Show coverage by year and source, the newest day, the last weeks, doubtful days, where it came from."""
    places = [garden.place(place)] if place else garden.some_places
    settings = garden.settings
    today = garden.today
    plain = not _draws(sys.stdout.encoding)
    with WeatherStore.open(garden.folder) as store:
        for n, where in enumerate(places):
            if n:
                put()
            if not store.has(where.id):
                put(f"{where.name}: no weather yet")
                continue
            state = WeatherState(
                where.name,
                store.find(where.id) or DailyWeather(today, [], [], "station"),
                store.suspicious_days(where.id),
                store.origin_uses(where.id),
                store.replaced_count(where.id),
            )
            put("\n".join(status_text(state, today, garden.now, units or settings.units, plain)))


@click.command("show")
@click.option("--from", "first", metavar="DATE", help="First day; default: a fortnight ago.")
@click.option("--to", "last", metavar="DATE", help="Last day; default: today.")
@one_place
@click.option("--json", "as_json", is_flag=True, help="As JSON (schema flushcast.weather-days/1).")
@click.option("--csv", "as_csv", is_flag=True, help="As CSV, a line a value.")
@open_garden_option
def show_command(
    garden: OpenGarden, first: str | None, last: str | None, place: str | None, as_json: bool, as_csv: bool
) -> None:
    """Show days one by one: each value, where it comes from, what is used, what waits, what gave way."""
    from reports.views.weather_text import weather_days

    if as_json and as_csv:
        raise click.UsageError("choose one of --json and --csv")
    where, today = garden.place(place), garden.today
    until = _day(garden, last) if last else max(today, _day(garden, first)) if first else today
    since = _day(garden, first) if first else until - timedelta(days=FORTNIGHT - 1)
    if not timedelta(0) <= until - since <= timedelta(days=LONGEST):
        raise InputError(f"give a first day before the last, and at most {LONGEST:,} days")
    with WeatherStore.open(garden.folder) as store:
        values = store.day_values(where.id, since, until)
    table = weather_days(values, since, until, garden.settings.units)
    if as_json:
        put(table.as_json(place=where.name))
    elif as_csv:
        put(table.as_csv().rstrip("\n"))
    else:
        put(table.as_text(only=("day", "tmin", "tmax", "source", "state", "origin", "reason")))


def _draws(encoding: str | None) -> bool:
    """Whether the terminal can show the picture's characters."""
    try:
        "█▒░·°".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


@click.command("accept")
@click.argument("days", nargs=-1, metavar="DATE...")
@click.option("--all", "every", is_flag=True, help="Accept every doubtful day of the place.")
@one_place
@open_garden_option
def accept_command(garden: OpenGarden, days: tuple[str, ...], every: bool, place: str | None) -> None:
    """Use the doubtful days given, or all of them.

    Doubtful days are kept apart until then; look at them with `flushcast weather status`.
    """
    if bool(days) == every:
        raise click.UsageError("give the days to accept, or --all")
    where = garden.place(place)
    wanted = [_day(garden, text) for text in days]
    with WeatherStore.open(garden.folder) as store:
        doubtful = {doubt.day for doubt in store.suspicious_days(where.id) if not doubt.accepted}
        for day in wanted:
            if day not in doubtful:
                raise InputError(
                    f"{day} is not among the doubtful days; `flushcast weather status` lists them"
                )
        count = store.accept(where.id, None if every else wanted)
    put(f"accepted {counted(count, 'days')} for {where.name}")


def _day(garden: OpenGarden, text: str) -> date:
    """One day, as the other commands read dates; as 2026-07-19 it may be to come, as forecasts have them."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        vague = garden.read_date(text)
        day = vague.earliest if vague.earliest is not None and vague.is_exact else date.min
    if not EARLIEST <= day <= LATEST:
        raise InputError(f"'{text}' is not a day that can be used; write one such as 19 July or 2026-07-19")
    return day


@click.command("undo")
@one_place
@open_garden_option
def undo_command(garden: OpenGarden, place: str | None) -> None:
    """Take back what was added last: its days go, and the values it replaced come back."""
    where = garden.place(place)
    with WeatherStore.open(garden.folder) as store:
        undone = store.take_back(where.id) if store.has(where.id) else None
        if undone is None:
            raise InputError(f"there is no weather of {where.name} to take back")
        corrections = refit_corrections(garden.folder, store, where.id, garden.settings.units)
    restored = f", {undone.restored:,} earlier values are back" if undone.restored else ""
    put(f"{where.name}: took back {undone.origin}: {counted(undone.removed, 'days')} removed{restored}")
    for line in corrections:
        put(f"{where.name} {line}")


@click.command("update")
@click.option("--place", metavar="NAME", help="One place; default: every place of the garden.")
@click.option("--only", multiple=True, metavar="SERVICE", help="Ask this service only; may be repeated.")
@click.option("--years", type=click.IntRange(1, 100), help="How many years of history; default 30.")
@click.option("--first", "first_only", is_flag=True, help="Stop as soon as there is enough for a forecast.")
@open_garden_option
def update_command(
    garden: OpenGarden, place: str | None, only: tuple[str, ...], years: int | None, first_only: bool
) -> None:
    """Fetch what is new: measurements, a forecast, and the history that is still missing.

    It can be stopped at any moment (Ctrl-C) and goes on from there the next time.
    """
    from reports.entries.readings import update_places
    from reports.views.progress import ProgressLine

    places = [garden.place(place)] if place else garden.some_places
    fresh, shown = False, ProgressLine(wait=0.0)  # a service that is waited for is named at once

    def announce(words: str) -> None:
        shown.clear()
        say(words)

    with shown:
        for updated in update_places(
            garden,
            places,
            only=only,
            years=years,
            first_only=first_only,
            progress=lambda title, done, total: shown.show(f"{title},", done, total),
            announce=announce,
        ):
            shown.clear()
            fresh |= updated.fresh
            for line in updated.lines:
                say(line)
            if updated.coverage:
                put(updated.coverage)
    if not fresh:
        raise WeatherError("no service gave anything; the weather stays as it is")


@click.command("sources")
@open_garden_option
def sources_command(garden: OpenGarden) -> None:
    """List the weather services: in which order they are asked, what for, and what they need."""
    from data_sources.weather.services.registry import SERVICES, make_services
    from data_sources.weather.services.transport.http import Http
    from reports.entries.readings import weather_settings

    places, settings = garden.some_places, weather_settings(garden)
    with Http(settings) as http:
        rows = [
            [str(n), service.name, "; ".join(filter(None, (service.about, service.needs(), service.lacks())))]
            for n, service in enumerate(make_services(settings, http), 1)
        ]
    rows += [["-", one.name, one.about] for name, one in SERVICES.items() if name not in settings.sources]
    put(table(["", "service", "what it gives, and what it needs"], rows))
    put("Asked in this order, each for the days that those before lack; - is not asked.")
    put("Own readings go before all of them: flushcast weather add FILE")
    put("Another order: flushcast settings weather-sources NAME,NAME,...")
    if (garden.folder / "weather.sqlite").exists():
        with WeatherStore.open(garden.folder) as store:
            lines = [line for one in places for line in store.attribution_lines(one.id)]
        for line in dict.fromkeys(lines):
            put(line)
