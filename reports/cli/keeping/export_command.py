"""`flushcast export`: the whole garden as CSV files."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option

NAMES = {
    "places.csv": "places",
    "trees.csv": "trees",
    "stands.csv": "standings",
    "aims.csv": "aims",
    "works.csv": "works",
    "flushes.csv": "flushes",
    "looks.csv": "looks",
    "import_maps.csv": "column readings",
    "changes.csv": "changes",
    "weather.csv": "days of weather",
}


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--replace", is_flag=True, help="Write over an earlier export.")
@garden_option
def export_command(garden: Path, folder: Path, replace: bool) -> None:
    """Write every record as CSV: one file a table, looks.csv among them, and
    the weather, a file for each place and source.

    `flushcast init NEW --from DIR` makes the same garden of it, `flushcast import DIR` takes edited rows
    back in. A cell that a spreadsheet would run as a formula begins with an apostrophe; import takes it off.
    """
    from data_sources.garden import SETTINGS_NAME
    from data_sources.garden_export import export_garden
    from reports.cli.writing.desk import counted, open_desk, tell

    with open_desk(garden) as desk:
        counts = export_garden(folder, desk.journal, garden / SETTINGS_NAME, desk.calendar, replace=replace)
        told = ", ".join(counted(n, NAMES[name]) for name, n in counts.items() if n)
        tell(f"Exported to {folder}: {told}. Past forecasts of the weather stay in weather.sqlite.")
