"""`flushcast hindcast`: forecasts of past seasons, scored against what happened."""

from __future__ import annotations

import re
from pathlib import Path

import click

from phenology.language.vague_dates import parse
from reports.cli.common import put, say
from reports.garden.clock import today


@click.command("hindcast")
@click.option("--weather", "weather_file", required=True, type=click.Path(path_type=Path), metavar="W.csv",
              help="Daily weather: date,tmin,tmax in degC.")  # fmt: skip
@click.option("--looks", "looks_file", required=True, type=click.Path(path_type=Path), metavar="LOOKS.csv",
              help="Looks: date,tree,species,flush,stage.")  # fmt: skip
@click.option(
    "--given",
    required=True,
    metavar="STAGE",
    help="The stage whose first sight issues a forecast, or 'start': the season's first day.",
)
@click.option("--target", required=True, metavar="STAGE", help="The stage forecast.")
@click.option("--issued", multiple=True, metavar="DAY",
              help='Issue on this day of each season, such as "15 March"; several allowed.')  # fmt: skip
@click.option("--latitude", type=float,
              help="For daylength; south of the equator seasons start on 1 July.")  # fmt: skip
@click.option("--train", metavar="FIRST-LAST", help="Seasons to learn from, such as 1990-2006.")
@click.option("--test", metavar="FIRST-LAST", help="Seasons to forecast, such as 2007-2014.")
@click.option("--leave-one-season-out", is_flag=True, help="Forecast each season from all the others.")
@click.option("--known-weather", is_flag=True, help="Take the season's later weather as known.")
@click.option("--skip-bad", is_flag=True, help="Leave out, and list, flushes whose looks go backward.")
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="P.csv", help="Where to write."
)
def hindcast_command(
    weather_file: Path,
    looks_file: Path,
    given: str,
    target: str,
    issued: tuple[str, ...],
    latitude: float | None,
    train: str | None,
    test: str | None,
    leave_one_season_out: bool,
    known_weather: bool,
    skip_bad: bool,
    out: Path,
) -> None:
    """Forecast past seasons as they would have been forecast then, and score the forecasts.

    Writes one line a tree-season to P.csv and prints the scores.
    """
    if leave_one_season_out == (train is not None or test is not None) or (train is None) != (test is None):
        raise click.UsageError("give either --leave-one-season-out, or both --train and --test")
    from data_sources.disk.whole_files import write_output
    from data_sources.tables.looks_file import read_looks
    from data_sources.weather.files.reader import read_weather_file
    from phenology.judging.hindcast import START, Question, hindcast
    from phenology.language.words import find_stage
    from phenology.learning.transitions import catalogue_priors
    from phenology.model.season import SeasonCalendar
    from reports.output.hindcast import forecasts, predictions_csv, score_text
    from reports.text.progress import progress

    calendar = SeasonCalendar.for_latitude(45.0 if latitude is None else latitude)
    question = Question(
        START if given == START else find_stage(given),
        find_stage(target),
        known_weather,
        _seasons(train, "--train"),
        _seasons(test, "--test"),
        tuple(_day(text) for text in issued),
    )
    weather, _ = read_weather_file(weather_file, units="C")
    sights = read_looks(looks_file, today=today(), calendar=calendar)
    with progress("season") as step:
        result = hindcast(
            sights,
            weather,
            question,
            calendar=calendar,
            prior_of=catalogue_priors(question.given, question.target),
            latitude=latitude,
            skip_bad=skip_bad,
            progress=step,
        )
    write_output(out, predictions_csv(forecasts(result, question, calendar)).encode())
    put(score_text(result, question, calendar))
    say(f"Wrote {len(result.rows)} forecasts to {out}.")


def _day(text: str) -> tuple[int, int]:
    day = parse(text, today=today())
    if day.latest is None or day.earliest != day.latest:
        raise click.UsageError(f"--issued takes one day of the year, such as 15 March; got '{text}'")
    return day.latest.month, day.latest.day


def _seasons(text: str | None, option: str) -> tuple[int, int] | None:
    if text is None:
        return None
    first, _, last = text.partition("-")
    if not all(re.fullmatch(r"[0-9]{1,4}", year) for year in (first, last or first)) or int(first) > int(
        last or first
    ):
        raise click.UsageError(f"{option} takes two years, first and last, such as 1990-2006; got '{text}'")
    return int(first), int(last or first)
