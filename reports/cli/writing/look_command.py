"""`flushcast look`: ten seconds at the bench."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from reports.cli.common import garden_option, may_ask, put

KINDS = ("seen", "happened")


@click.command("look", context_settings={"ignore_unknown_options": False})
@click.argument("words", nargs=-1, metavar="TREES STAGE")
@click.option(
    "--date", "when", metavar="DATE", help='When: "4 July", "about 4 July", "mid July" (default: today).'
)
@click.option("--who", metavar="NAME", help="Who looked.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option(
    "--mark", metavar="MARK", help="checked (growth stopped, not hard) or lost (frosted, broken, eaten)."
)
@click.option("--leaves", metavar="N,N,...", help="Leaves counted on a few shoots.")
@click.option("--part", metavar="PART", help="top, bottom or inside, when the look is not the outer canopy.")
@click.option("--kind", type=click.Choice(KINDS), help="Seen so by then, or came about then.")
@click.option("--new-flush", is_flag=True, help="The tree pushes again: this look opens a new flush.")
@click.option("--cause", metavar="TEXT", help="Why the new flush came.")
@click.option("--ended", metavar="WHY", help="The flush ends with this look, unfinished or not, and why.")
@click.option("--yes", is_flag=True, help="Save without showing a vague date first.")
@click.option("--list", "listing", is_flag=True, help="List looks, newest first, with their ids.")
@click.option("--correct", metavar="ID", help="Change the look with this id; give only what changes.")
@click.option("--remove", metavar="ID", help="Take the look with this id out.")
@garden_option
def look_command(
    garden: Path,
    words: tuple[str, ...],
    when: str | None,
    who: str | None,
    note: str | None,
    mark: str | None,
    leaves: str | None,
    part: str | None,
    kind: str | None,
    new_flush: bool,
    cause: str | None,
    ended: str | None,
    yes: bool,
    listing: bool,
    correct: str | None,
    remove: str | None,
) -> None:
    """Write down what stage trees are at.

    \b
    flushcast look hornbeams soft
    flushcast look "all but 7" firm --date "about 4 July"
    flushcast look same stopped
    flushcast look "Elm 2" budbreak --new-flush --cause "rain after drought"

    TREES: a label, several, a species, a place, "all but 7", "same" as last time.
    STAGE: dormant, swelling, budbreak, extending, extended, hardened, turning, bare,
    or everyday words such as soft, still going, stopped, firm.
    """
    from reports.cli.writing import look_entry as entry
    from reports.cli.writing.desk import open_desk

    if sum([listing, correct is not None, remove is not None]) > 1:
        raise click.UsageError("choose one of --list, --correct and --remove")
    with open_desk(garden) as desk:
        if listing:
            put(entry.listing(desk, " ".join(words)))
            return
        if remove is not None:
            entry.take_out(desk, remove)
            return
        given = entry.Given(when, who, note, mark, leaves, part, kind, ended)
        if correct is not None:
            entry.correct(desk, correct, " ".join(words), given, new_flush=new_flush, cause=cause)
            return
        if len(words) < 2:
            raise click.UsageError('say which trees and which stage: flushcast look "hornbeams" soft')
        trees, stage = entry.split(desk, words)
        planned = entry.plan(desk, trees, stage, given, new_flush=new_flush, cause=cause)
        if not planned.exact and may_ask() and not yes:
            if planned.kind_is_open:
                answer = click.prompt(
                    f'"{given.when}": was it seen so by then, or did it come about then?',
                    type=click.Choice(KINDS),
                    default="seen",
                )
                planned = entry.plan(
                    desk, trees, stage, replace(given, kind=answer), new_flush=new_flush, cause=cause
                )
            if not click.confirm(f"{planned.understood}. Save?", default=True, err=True):
                return
        entry.save(desk, planned)
