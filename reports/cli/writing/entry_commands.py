"""`flushcast look` and `flushcast work`: ten seconds at the bench."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from reports.cli.common import UNDO, commit, may_ask, open_garden_option, put, tell, together
from reports.entries.entry_editor import EntryEditor, Questions
from reports.entries.look_editor import KINDS, LookEditor
from reports.garden.open_garden import OpenGarden

entry_options = together(
    click.option("--date", "when", metavar="DATE", help='"4 July", "about 4 July", "mid July" (today).'),
    click.option("--who", metavar="NAME", help="Who looked or worked."),
    click.option("--note", metavar="TEXT", help="Anything else."),
    click.option("--part", metavar="PART", help="top, bottom or inside, where not the whole outer canopy."),
    click.option(
        "--yes", is_flag=True, help="Save without asking about a vague date, or work advised against."
    ),
    click.option("--list", "listing", is_flag=True, help="List entries, newest first, with their ids."),
    click.option("--correct", metavar="ID", help="Change the entry with this id; give only what changes."),
    click.option("--remove", metavar="ID", help="Take the entry with this id out."),
    open_garden_option,
)


class _AtTheTerminal:
    """Asks whoever sits there."""

    def agreed(self, lines: Sequence[str], question: str, *, again: bool) -> bool:
        if again:
            tell("Something else was written down meanwhile, so this is asked again.")
        for line in lines:
            tell(line)
        return click.confirm(question, default=True, err=True)

    def chosen(self, question: str, options: Sequence[str]) -> str:
        chosen: str = click.prompt(question, type=click.Choice(options), default=options[0], err=True)
        return chosen


def questions() -> Questions | None:
    """Whoever is there to be asked."""
    return _AtTheTerminal() if may_ask() else None


def run_entry(
    editor: EntryEditor[Any], words: Sequence[str], listing: bool, correct: str | None, remove: str | None
) -> None:
    """Do what the command asks for."""
    if sum([listing, correct is not None, remove is not None]) > 1:
        raise click.UsageError("choose one of --list, --correct and --remove")
    if listing:
        put(editor.listing(" ".join(words)))
    elif remove is not None:
        commit(editor.garden, lambda: editor.removal(remove))
    elif correct is not None:
        commit(editor.garden, lambda: editor.correction(correct, " ".join(words)))
    elif len(words) < 2:
        raise click.UsageError(editor.usage)
    else:
        _add(editor, words)


def _add(editor: EntryEditor[Any], words: Sequence[str]) -> None:
    """Write down one entry a tree, all of them or none."""
    asks = editor.questions is not None
    draft = editor.garden.settle(lambda: editor.draft(words), editor.save, asks=asks)
    if draft is None:
        return
    for said in (f"{draft.said} {UNDO}" if draft.save else draft.said, draft.minded):
        if said:
            tell(said)
    for line in editor.moved() if draft.save else ():
        tell(line)


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
    from reports.entries.work_editor import WorkEditor

    run_entry(WorkEditor(garden, typed, questions()), words, listing, correct, remove)
