"""What `look` and `work` share on the command line: their options, what is asked, what is told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import click

from reports.cli.common import may_ask, open_garden_option, put, tell
from reports.cli.writing.record_editor import UNDO, commit
from reports.entries.entry_editor import EntryEditor, Questions

_OPTIONS = (
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


def entry_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that look and work share."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


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
    moved = editor.moves()
    asks = editor.questions is not None
    draft = editor.garden.settle(lambda: editor.draft(words), editor.save, asks=asks)
    if draft is None:
        return
    for said in (f"{draft.said} {UNDO}" if draft.save else draft.said, draft.minded):
        if said:
            tell(said)
    for line in moved() if draft.save else ():
        tell(line)
