"""`flushcast round`: which trees to look at on this walk."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import as_of_option, once_a_day, open_garden_option, put, say
from reports.cli.telling.read_forecast import read_forecast, tell_usual_warmth
from reports.garden.open_garden import OpenGarden


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
        from reports.cli.writing.round_entry import take_sheet_in

        take_sheet_in(garden, filled, dry_run=dry_run)
        return
    from phenology.advice.agenda import make_agenda, plan_round
    from reports.text.round_text import SHEET_COLUMNS, round_cautions, round_sheet, round_text, sheet_rows
    from reports.text.words import terminal_width

    forecast = read_forecast(garden, as_of)
    walk = plan_round(make_agenda(forecast))
    if sheet:
        put(round_sheet(walk))
        tell_usual_warmth(forecast.usual_warmth)
        return
    if csv_file is None:
        closing = once_a_day(garden, round_cautions(walk, forecast.garden))
        put(round_text(walk, closing, terminal_width()))
        tell_usual_warmth(forecast.usual_warmth)
        return
    from data_sources.tables.cells import write_csv
    from phenology.model.errors import StoreError

    if csv_file.exists():
        raise StoreError(f"{csv_file} is there already; choose another name, so that no notes are lost")
    try:
        count = write_csv(
            csv_file, SHEET_COLUMNS, ([cell or None for cell in row] for row in sheet_rows(walk))
        )
    except OSError as error:
        raise StoreError(f"{csv_file} cannot be written: {error.strerror or error}") from None
    trees = "tree" if count == 1 else "trees"
    say(f"{count} {trees} in {csv_file}; fill in stage and note, then --read it.")
