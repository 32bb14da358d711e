"""`flushcast export`: the whole garden as CSV files."""

from __future__ import annotations

from pathlib import Path

import click

from data_sources.garden import SETTINGS_NAME
from data_sources.garden_export import export_garden
from data_sources.tables.garden_tables import FILES
from reports.cli.common import open_garden_option, tell
from reports.garden.open_garden import OpenGarden
from reports.text.lines import counted
from reports.text.table_names import TABLE_NAMES


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--replace", is_flag=True, help="Write over an earlier export.")
@open_garden_option
def export_command(garden: OpenGarden, folder: Path, replace: bool) -> None:
    """Write every record as CSV: one file a table, looks.csv among them, and
    the weather, a file for each place and source; photos of looks as they are.

    `flushcast init NEW --from DIR` makes the same garden of it, `flushcast import DIR` takes edited rows
    back in. A cell that a spreadsheet would run as a formula begins with an apostrophe; import takes it off.
    """
    settings = garden.folder / SETTINGS_NAME
    counts = export_garden(folder, garden.journal, settings, garden.calendar, replace=replace)
    names = {file: TABLE_NAMES[table] for table, file in FILES.items()} | {
        "changes.csv": "changes",
        "weather.csv": "days of weather",
        "photos": "photos",
    }
    counts_text = ", ".join(counted(n, names[name]) for name, n in counts.items() if n)
    tell(f"Exported to {folder}: {counts_text}. Past forecasts of the weather stay in weather.sqlite.")
