"""`flushcast history`: what was written, in plain words."""

from __future__ import annotations

import click

from reports.cli.common import open_garden_option, put
from reports.garden.open_garden import OpenGarden
from reports.text.lines import counted, shown_date, table
from reports.text.table_names import TABLE_NAMES


@click.command("history")
@click.argument("tree", nargs=-1, metavar="[TREE]")
@click.option(
    "--limit", type=click.IntRange(1), default=30, metavar="N", help="How many changes (default: 30)."
)
@open_garden_option
def history_command(garden: OpenGarden, tree: tuple[str, ...], limit: int) -> None:
    """Tell what was written when, newest first: all of it, or what touched one tree."""
    one = garden.select_one(" ".join(tree)).id if tree else None
    rows = []
    for change in garden.journal.history(one, limit):
        at = change.at.astimezone()
        counts = ", ".join(counted(n, TABLE_NAMES.get(name, name)) for name, n in change.rows.items())
        undone = " [taken back]" if change.undone else ""
        written = f"{shown_date(at.date(), at.date(), garden.today)} {at:%H:%M}"
        rows.append([written, f"{change.label} ({counts}){undone}"])
    put(table(["written", "what"], rows) if rows else "Nothing has been written yet.")
