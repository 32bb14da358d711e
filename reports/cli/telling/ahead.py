"""What lies ahead: `forecast`, `round`, `windows`, `plan` and `check`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from reports.cli.common import (
    as_of_option,
    once_a_day,
    open_garden_option,
    put,
    read_forecast,
    say,
    tell,
    tell_usual_warmth,
)
from reports.garden.open_garden import OpenGarden


def _ids(garden: OpenGarden, trees: Sequence[str]) -> set[str] | None:
    """The trees asked about; None for all."""
    return {tree.id for tree in garden.select(" ".join(trees))} if trees else None


@click.command("forecast")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The forecast as JSON (schema flushcast.forecast/1).")
@click.option("--csv", "as_csv", is_flag=True, help="The forecast as CSV, a line a tree, flush and stage.")
@click.option("--changes", is_flag=True, help="Also say what moved since the last look, or since a week ago.")
@open_garden_option
def forecast_command(
    garden: OpenGarden, trees: tuple[str, ...], as_of: str | None, as_json: bool, as_csv: bool, changes: bool
) -> None:
    """Say which trees to look at today, this week and later, and which to leave, with honest uncertainty.

    \b
    flushcast forecast
    flushcast forecast hornbeams
    """
    if as_json and as_csv:
        raise click.UsageError("choose one of --json and --csv")
    if changes and (as_json or as_csv):
        raise click.UsageError("--changes tells in words; leave out --json and --csv")
    wanted = _ids(garden, trees)
    forecast = read_forecast(garden, as_of)
    from phenology.advice.agenda import make_agenda

    agenda = make_agenda(forecast)
    asked = agenda if wanted is None else agenda.only(wanted)
    if as_json or as_csv:
        from reports.views.ahead import forecast_csv, forecast_json

        units = garden.settings.units
        put(forecast_json(asked, units) if as_json else forecast_csv(asked.forecast).rstrip("\n"))
        return
    from reports.views.change_text import changes_text, misses_text
    from reports.views.forecast_text import CLOSING, forecast_text
    from reports.views.words import terminal_width

    width = terminal_width()
    put(forecast_text(asked, width, in_full=wanted is not None, closing=once_a_day(garden, CLOSING)))
    missed = misses_text(garden.folder, forecast, width) if as_of is None else ""
    if changes:  # a second and a third forecast, so only when asked for
        from phenology.advice.forecast_change import changed_since, forecast_changes

        put("\n" + changes_text(forecast_changes(forecast), changed_since(forecast.garden), width))
    elif missed:
        put("\n" + missed)


@click.command("round")
@click.option("--sheet", is_flag=True, help="A sheet to print, with room to write.")
@click.option(
    "--csv", "csv_file", type=click.Path(path_type=Path), metavar="FILE", help="A sheet to fill in."
)
@click.option(
    "--read", "filled", type=click.Path(path_type=Path), metavar="FILE", help="Take a filled sheet in."
)
@click.option("--dry-run", is_flag=True, help="With --read: check everything and change nothing.")
@as_of_option
@open_garden_option
def round_command(
    garden: OpenGarden,
    sheet: bool,
    csv_file: Path | None,
    filled: Path | None,
    dry_run: bool,
    as_of: str | None,
) -> None:
    """Say which trees to look at now because a look would change a decision, and what to look for.

    \b
    flushcast round
    flushcast round --sheet
    flushcast round --csv walk.csv        then fill in stage and note, and
    flushcast round --read walk.csv       takes the looks in as one change

    Rows without a stage are passed over when a sheet is read.
    """
    if sum([sheet, csv_file is not None, filled is not None]) > 1:
        raise click.UsageError("choose one of --sheet, --csv and --read")
    if dry_run and filled is None:
        raise click.UsageError("--dry-run goes with --read")
    if filled is not None:
        if as_of is not None:
            raise click.UsageError("--as-of goes with a round, not with --read")
        from reports.cli.writing.import_command import take_sheet_in

        take_sheet_in(garden, filled, dry_run=dry_run)
        return
    from phenology.advice.agenda import make_agenda, plan_round
    from reports.views.ahead_text import SHEET_COLUMNS, round_cautions, round_sheet, round_text, sheet_rows
    from reports.views.words import counted, terminal_width

    forecast = read_forecast(garden, as_of)
    walk = plan_round(make_agenda(forecast))
    if csv_file is None:
        if sheet:
            put(round_sheet(walk))
        else:
            closing = once_a_day(garden, round_cautions(walk, forecast.garden))
            put(round_text(walk, closing, terminal_width()))
        tell_usual_warmth(forecast.usual_warmth)
        return
    from data_sources.tables.cells import write_csv
    from phenology.model.errors import StoreError

    if csv_file.exists():
        raise StoreError(f"{csv_file} is there already; choose another name, so that no notes are lost")
    try:
        rows = ([cell or None for cell in row] for row in sheet_rows(walk))
        count = write_csv(csv_file, SHEET_COLUMNS, rows)
    except OSError as error:
        raise StoreError(f"{csv_file} cannot be written: {error.strerror or error}") from None
    say(f"{counted(count, 'trees')} in {csv_file}; fill in stage and note, then --read it.")


@click.command("windows")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The windows as JSON (schema flushcast.windows/1).")
@open_garden_option
def windows_command(garden: OpenGarden, trees: tuple[str, ...], as_of: str | None, as_json: bool) -> None:
    """List the windows of work: opens, best, closes and why, and the odds of ripening if you wait.

    \b
    flushcast windows
    flushcast windows hornbeams
    """
    from phenology.advice.windows import windows

    wanted = _ids(garden, trees)
    forecast = read_forecast(garden, as_of)
    found = [w for w in windows(forecast) if wanted is None or w.row.tree.id in wanted]
    if as_json:
        from reports.table import Table
        from reports.views.ahead import WINDOWS

        table = Table("flushcast.windows/1", WINDOWS, found)
        put(table.as_json(key="windows", as_of=forecast.garden.as_of))
    else:
        from phenology.work.cautions import WINDOW_LOOKS_FIRST
        from reports.views.ahead_text import windows_text
        from reports.views.words import terminal_width

        closing = once_a_day(garden, [WINDOW_LOOKS_FIRST])
        put(windows_text(found, forecast.garden, terminal_width(), closing))
        tell_usual_warmth(forecast.usual_warmth)


@click.command("plan")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@click.option("--cut", metavar="DATE", help="What if the flush under way were cut back on this day?")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The plans as JSON (schema flushcast.plan/1).")
@open_garden_option
def plan_command(
    garden: OpenGarden, trees: tuple[str, ...], cut: str | None, as_of: str | None, as_json: bool
) -> None:
    """Plan the season tree by tree: its flushes, the technique at each, and until when it is open.

    \b
    flushcast plan hornbeams
    flushcast plan "quince 1" --cut "20 June"

    Later flushes stand as if each were worked as soon as it is ready; dates are middles with the
    range of four in five. The leaf decides.
    """
    from phenology.advice.garden_forecast import usual_warmth_note
    from phenology.advice.plan import Planner
    from reports.garden.past_forecasts import read_with_skill
    from reports.views.ahead import plans_table
    from reports.views.ahead_text import plan_lines
    from reports.views.forecast_text import NO_TREES
    from reports.views.progress import progress
    from reports.views.words import set_in

    wanted = _ids(garden, trees)
    day = garden.coming_day(cut) if cut else None
    snapshot = read_with_skill(garden, as_of)
    asked = [tree for tree in snapshot.standing_trees if wanted is None or tree.id in wanted]
    planner, plans = Planner(snapshot), []
    with progress("tree") as step:
        for done, tree in enumerate(asked):
            step(done, len(asked))
            plans.append(planner.plan(tree, cut=day))
    if as_json:
        put(plans_table(plans).as_json(as_of=snapshot.as_of))
        return
    if not plans:
        put(NO_TREES)
    for plan in plans:
        for indent, line in plan_lines(plan):
            put(set_in(line, indent))
    tell_usual_warmth(usual_warmth_note(snapshot))


@click.command("check")
@click.argument("words", nargs=-1, metavar="TREES OPERATION", required=True)
@click.option("--part", metavar="PART", help="top (the outer canopy), inside or bottom.")
@click.option("--date", "when", metavar="DATE", help="The day it would be done (today).")
@click.option("--json", "as_json", is_flag=True, help="The answers as JSON (schema flushcast.answer/1).")
@open_garden_option
def check_command(
    garden: OpenGarden, words: tuple[str, ...], part: str | None, when: str | None, as_json: bool
) -> None:
    """Ask whether a piece of work is good for a tree today, why, and what to do instead.

    \b
    flushcast check "quince 1" cutback
    flushcast check hornbeams halving --part outer

    The answer is yes, better wait or no. It writes nothing, and the leaf decides.
    """
    from phenology.advice.garden_forecast import usual_warmth_note
    from phenology.language.words import find_operation, find_part
    from phenology.model.records import Work
    from phenology.work.cautions import cautions
    from reports.entries.work_editor import work_answers
    from reports.views.ahead import answers_table
    from reports.views.ahead_text import answer_lines
    from reports.views.words import paragraph

    trees, operation = garden.select_and(words, find_operation)
    day = garden.day(when)
    meant = find_part(part) if part else None
    answers = list(work_answers(garden, trees, Work("", "", operation, day.isoformat(), day, day, meant)))
    if as_json:
        put(answers_table(answers, operation, day).as_json(units=garden.settings.units))
        return
    for line in answer_lines(answers):
        put(paragraph(line))
    if operation.wakes:  # how late it is rests on the weather
        tell_usual_warmth(usual_warmth_note(garden.snapshot()))
    allowed = [tree for tree, one in answers if one.answer == "yes"]
    species = [garden.catalogue[t.species] for t in allowed if t.species in garden.catalogue]
    if allowed and (minded := once_a_day(garden, cautions([operation], species, len(allowed)))):
        tell(" ".join(minded))
