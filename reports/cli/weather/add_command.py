"""`flushcast weather add`: daily weather from a file into the garden's own store."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.files.weather_table import FileReport
from phenology.weather.series import DailyWeather
from reports.cli.common import open_garden_option, put
from reports.cli.file_questions import asking
from reports.entries.readings import take_readings
from reports.garden.open_garden import OpenGarden
from reports.text.weather_text import added_text


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
        put(f"note: {shift}")
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
