"""What the seasons have taught: `calibrate`, `compare` and `hindcast`."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reports.cli.common import as_of_option, open_garden_option, put, say, tell_usual_warmth, write_page
from reports.garden.clock import today

if TYPE_CHECKING:
    from phenology.model.track_record import PastForecast
    from reports.garden.open_garden import OpenGarden

# As in reports.views.compare.COLUMNS, which --help does not load.
TABLES = ("stages", "trees", "warmth", "course", "frosts", "forecasts", "followed", "trends")


@click.command("calibrate")
@click.argument("species", required=False)
@as_of_option
@click.option(
    "--classic", is_flag=True, help="Base temperatures by the classic methods, for comparison only."
)
@click.option("--json", "as_json", is_flag=True,
              help="As JSON (schema flushcast.calibration/1, or flushcast.classic/1).")  # fmt: skip
@open_garden_option
def calibrate_command(
    garden: OpenGarden, species: str | None, as_of: str | None, classic: bool, as_json: bool
) -> None:
    """Say, per species and step, what was learned from the looks and how sure it is."""
    from phenology.advice.garden_forecast import usual_warmth_note
    from phenology.learning.garden_fit import GardenFit
    from reports.garden.meant import own_species
    from reports.garden.past_forecasts import garden_past
    from reports.views.calibration_text import (
        Learned,
        calibration_text,
        classic_json,
        classic_text,
        observers_text,
    )
    from reports.views.progress import progress

    snapshot, settings = garden.snapshot(as_of), garden.settings
    grown = {tree.species for tree in snapshot.trees}
    latin = own_species(species, grown, snapshot.species).latin if species is not None else None
    fit = GardenFit(snapshot)
    if classic:
        from phenology.learning.classic import classic_rows

        compared = classic_rows(fit, latin)
        put(classic_json(compared) if as_json else classic_text(compared, settings.units))
        return

    with progress("past forecast") as step:
        past = garden_past(garden.folder, snapshot, progress=step)
    with progress("species") as step:
        learned = Learned.of(fit, past, latin, step)
    if as_json:
        put(learned.as_json())
        return
    put(calibration_text(learned, snapshot.species, settings.units))
    tell_usual_warmth(usual_warmth_note(snapshot))
    if len({look.who for look in snapshot.looks if look.who}) > 1:
        from phenology.learning.observers import observer_lateness

        put(observers_text(list(observer_lateness(snapshot))))


@click.command("compare")
@click.argument("seasons", nargs=-1)
@click.option("--stages", "every_stage", is_flag=True,
              help="Every stage of every flush, and the warmth that each took.")  # fmt: skip
@click.option(
    "--tree", metavar="NAME", help="Tree by tree instead, for the trees so named or of that species."
)
@click.option("--page", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.html",
              help="Everything as one HTML page, with pictures.")  # fmt: skip
@click.option("--look-back/--no-look-back", default=True,
              help="Whether past seasons are forecast again to see how good that was.")  # fmt: skip
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="As JSON (schema flushcast.compare/1).")
@click.option("--csv", "as_csv", is_flag=True, help="One table as CSV: the stage dates, or that of --table.")
@click.option("--table", type=click.Choice(TABLES), help="Which table --csv writes.")
@open_garden_option
def compare_command(
    garden: OpenGarden,
    seasons: tuple[str, ...],
    every_stage: bool,
    tree: str | None,
    page: Path | None,
    look_back: bool,
    as_of: str | None,
    as_json: bool,
    as_csv: bool,
    table: str | None,
) -> None:
    """Set seasons side by side: warmth and days ahead of usual, frosts, when each stage came, how far off
    forecasts were, what followed work, and how dates have moved over the years.

    SEASONS are years (2024, or 2024/25 in the south); without any, the latest six.
    """
    if sum((as_json, as_csv, page is not None, tree is not None)) > 1:
        raise click.UsageError("choose one of --tree, --page, --json and --csv")
    if table and not as_csv:
        raise click.UsageError("--table goes with --csv")
    if every_stage and (as_json or as_csv or page is not None or tree is not None):
        raise click.UsageError("--stages goes with the text; the others tell every stage anyway")
    from phenology.model.track_record import first_hardenings
    from phenology.seasons.compare import compare_seasons
    from reports.garden.meant import trees_meant
    from reports.garden.past_forecasts import garden_past
    from reports.views.compare import Compared
    from reports.views.compare_text import compare_text, tree_text
    from reports.views.progress import progress

    snapshot, settings = garden.snapshot(as_of), garden.settings
    comparison = compare_seasons(snapshot, [_season(text) for text in seasons])

    def past_forecasts() -> list[PastForecast]:
        with progress("past forecast") as step:
            return first_hardenings(garden_past(garden.folder, snapshot, say=say, progress=step))

    compared = Compared(comparison, settings.units, past_forecasts if look_back else None)
    if tree is not None:
        put(tree_text(comparison, settings.units, [one.id for one in trees_meant(snapshot, tree)]))
    elif as_csv:
        put(compared.table(table or "stages").as_csv().rstrip("\n"))
    elif as_json:
        put(compared.as_json())
    elif page is not None:
        from reports.page.compare_page import compare_html

        write_page(page, compare_html(compared, settings.name))
    else:
        errors, followed, trends = compared.errors, compared.followed, compared.trends
        put(compare_text(comparison, settings.units, errors, followed, trends, every_stage=every_stage))


def _season(text: str) -> int:
    year = text.split("/")[0]
    if not re.fullmatch(r"[0-9]{4}", year):
        raise click.UsageError(f"a season is a year such as 2024, or 2024/25; got '{text}'")
    return int(year)


@click.command("hindcast")
@click.option("--weather", "weather_file", required=True, type=click.Path(path_type=Path), metavar="W.csv",
              help="Daily weather: date,tmin,tmax in °C.")  # fmt: skip
@click.option("--looks", "looks_file", required=True, type=click.Path(path_type=Path), metavar="LOOKS.csv",
              help="Looks: date,tree,species,flush,stage.")  # fmt: skip
@click.option("--given", required=True, metavar="STAGE",
              help="The stage whose first sight issues a forecast, or 'start': the season's first "
              "day.")  # fmt: skip
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
    from reports.views.hindcast import forecasts, predictions_csv, score_text
    from reports.views.progress import progress

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
    from phenology.language.vague_dates import parse

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
