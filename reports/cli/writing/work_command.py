"""`flushcast work`: what was done to which trees."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option, may_ask, put


@click.command("work")
@click.argument("words", nargs=-1, metavar="TREES OPERATION")
@click.option("--date", "when", metavar="DATE", help='When: "4 July", "mid July" (default: today).')
@click.option("--who", metavar="NAME", help="Who did it.")
@click.option("--note", metavar="TEXT", help="Anything else.")
@click.option("--part", metavar="PART", help="top, bottom or inside, when only that part was worked.")
@click.option("--early", is_flag=True, help="Done before the leaves were hard: no sign that they were.")
@click.option("--to", "place", metavar="PLACE", help="With moving: where the trees stand from that day.")
@click.option("--yes", is_flag=True, help="Save without showing a vague date first.")
@click.option("--list", "listing", is_flag=True, help="List work, newest first, with its ids.")
@click.option("--correct", metavar="ID", help="Change the work with this id; give only what changes.")
@click.option("--remove", metavar="ID", help="Take the work with this id out.")
@garden_option
def work_command(
    garden: Path,
    words: tuple[str, ...],
    when: str | None,
    who: str | None,
    note: str | None,
    part: str | None,
    early: bool,
    place: str | None,
    yes: bool,
    listing: bool,
    correct: str | None,
    remove: str | None,
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
    from reports.cli.writing import work_entry as entry
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
        given = entry.Given(when, who, note, part, early, place)
        if correct is not None:
            entry.correct(desk, correct, " ".join(words), given)
            return
        if len(words) < 2:
            raise click.UsageError('say which trees and what was done: flushcast work "Elm 2" cutback')
        trees, operation = entry.split(desk, words)
        planned = entry.plan(desk, trees, operation, given)
        ask = not planned.exact and may_ask() and not yes
        if ask and not click.confirm(f"{planned.understood}. Save?", default=True, err=True):
            return
        entry.save(desk, planned)
