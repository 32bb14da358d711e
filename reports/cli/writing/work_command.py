"""`flushcast work`: what was done to which trees."""

from __future__ import annotations

from typing import Any

import click

from reports.cli.writing.entry_commands import entry_options, questions, run_entry
from reports.entries.work_editor import WorkEditor
from reports.garden.open_garden import OpenGarden


@click.command("work")
@click.argument("words", nargs=-1, metavar="TREES OPERATION")
@click.option("--early", is_flag=True, help="Done before the leaves were hard: no sign that they were.")
@click.option("--to", "place", metavar="PLACE", help="With moving: where the trees stand from that day.")
@entry_options
def work_command(
    garden: OpenGarden,
    words: tuple[str, ...],
    listing: bool,
    correct: str | None,
    remove: str | None,
    **typed: Any,
) -> None:
    """Write down work done on trees.

    \b
    flushcast work "Hornbeam 3" cutback
    flushcast work elms halving --date yesterday
    flushcast work "Elm 2" moving --to Roof

    OPERATION: cutback, halving, partial-defoliation, full-defoliation, pinching,
    repotting, wiring, wire-removal, thinning, basal-leaf, pruning, moving, feeding,
    pest-treatment, other; everyday words such as "cut back" or "repotted" do too.
    """
    run_entry(WorkEditor(garden, typed, questions()), words, listing, correct, remove)
