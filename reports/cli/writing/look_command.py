"""`flushcast look`: ten seconds at the bench."""

from __future__ import annotations

from typing import Any

import click

from reports.cli.writing.entry_commands import entry_options, questions, run_entry
from reports.entries.look_editor import KINDS, LookEditor
from reports.garden.open_garden import OpenGarden


@click.command("look")
@click.argument("words", nargs=-1, metavar="TREES STAGE")
@click.option(
    "--mark", metavar="MARK", help="checked (growth stopped, not hard) or lost (frosted, broken, eaten)."
)
@click.option("--leaves", metavar="N,N,...", help="Leaves counted on a few shoots.")
@click.option("--kind", type=click.Choice(KINDS), help="Seen so by then, or came about then.")
@click.option("--new-flush", is_flag=True, help="The tree pushes again: this look opens a new flush.")
@click.option("--cause", metavar="TEXT", help="Why the new flush came.")
@click.option("--ended", metavar="WHY", help="The flush ends with this look, unfinished or not, and why.")
@entry_options
def look_command(
    garden: OpenGarden,
    words: tuple[str, ...],
    listing: bool,
    correct: str | None,
    remove: str | None,
    **typed: Any,
) -> None:
    """Write down what stage trees are at.

    \b
    flushcast look hornbeams soft
    flushcast look "all but 7" firm --date "about 4 July"
    flushcast look same stopped
    flushcast look "Elm 2" budbreak --new-flush --cause "rain after drought"

    TREES: a label, several, a species, a place, "all but 7", "same" as last time.
    STAGE: dormant, swelling, budbreak, extending, extended, hardened, turning, bare,
    or everyday words such as soft, floppy, stopped, firm, glossy; flowering or faded
    notes the flowers beside the stage seen last.
    """
    run_entry(LookEditor(garden, typed, questions()), words, listing, correct, remove)
