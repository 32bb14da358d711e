"""Writing looks down, correcting, listing and taking them out, for `flushcast look`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from data_sources.journal.schema import Record
from data_sources.journal_questions import find_by_id
from phenology.language.words import find_mark, find_part, find_stage
from phenology.model.errors import FlushcastError, InputError
from phenology.model.records import Look, Tree
from phenology.model.stages import Stage
from phenology.records.entries import look_changes, same_look, without_look
from phenology.records.flushes import TreeRecord, flush_numbers
from reports.cli.writing import entry_lists
from reports.cli.writing.desk import UNDO, Desk, shown_date, split_words, tell


@dataclass(frozen=True)
class Given:
    """The options of a look, as typed."""

    when: str | None = None
    who: str | None = None
    note: str | None = None
    mark: str | None = None
    leaves: str | None = None
    part: str | None = None
    kind: str | None = None
    ended: str | None = None


@dataclass(frozen=True)
class Planned:
    """Looks ready to be saved, and how they were understood."""

    understood: str
    save: tuple[Record, ...]
    label: str
    exact: bool
    kind_is_open: bool
    more: tuple[str, ...] = ()


def split(desk: Desk, words: Sequence[str]) -> tuple[tuple[Tree, ...], Stage]:
    """Trees and stage out of the words typed: the stage is the longest ending that is one."""
    return split_words(desk, words, find_stage)


def plan(
    desk: Desk, trees: Sequence[Tree], stage: Stage, given: Given, *, new_flush: bool, cause: str | None
) -> Planned:
    """Work out the looks of several trees; nothing is written.

    Raises
    ------
    InputError
        If any tree's look cannot stand; all such trees are named.
    """
    vague = desk.read_date(given.when)
    earliest, latest = vague.in_season(desk.calendar, desk.today)
    checked, lost = _marks(given.mark)
    kind = given.kind or vague.hint or "seen"
    save: list[Record] = []
    wrong: list[FlushcastError] = []
    opened, there = set(), []
    beside: dict[str, list[Tree]] = {}
    for tree in trees:
        look = Look(
            desk.new_id(),
            tree.id,
            "",
            stage,
            _text_of(vague.text, earliest, latest),
            earliest,
            latest,
            kind,
            checked,
            lost,
            find_part(given.part) if given.part else None,
            _leaves(given.leaves),
            given.who,
            given.note,
        )
        record = desk.record(tree, latest)
        if any(same_look(look, other) for other in record.looks) and not new_flush:
            there.append(tree)
            continue
        try:
            changes = look_changes(
                look,
                record,
                desk.calendar,
                today=desk.today,
                new_id=desk.new_id,
                new_flush=new_flush,
                cause=cause,
                ended=given.ended,
            )
        except InputError as error:
            wrong.append(error)
            continue
        save += changes.save
        after = changes.applied_to(record)
        mine = next(k for k in after.looks if k.id == look.id)
        if mine.flush_id not in {f.id for f in record.flushes}:
            opened.add(flush_numbers(after.flushes, desk.calendar)[mine.flush_id])
        elif told := _beside(desk, after, mine):
            beside.setdefault(told, []).append(tree)
    if wrong:
        others = "" if len(wrong) == 1 else f" (and the same for {len(wrong) - 1} more of these trees)"
        raise InputError(f"{wrong[0]}{others}. Nothing was saved")
    named = [tree for tree in trees if tree not in there]
    shown = _shown(desk, stage, earliest, latest, vague.text, kind, given.mark)
    more = []
    if there:
        more.append(f"{desk.names(there)}: written down already.")
    if opened - {1}:
        more.append(f"This opens flush {max(opened)}.")
    for told, trees_so in beside.items():
        more.append(told if len(trees_so) == len(named) else f"{desk.names(trees_so)}: {told}")
    if given.ended:
        more.append(f"The flush ends here: {given.ended}.")
    if given.kind is None and vague.hint is None:
        more.append("Taken as seen by then; add --kind happened if it came about then.")
    understood = f"{desk.names(named)}: {shown}" if named else ""
    label = f"look: {understood}"
    return Planned(
        understood, tuple(save), label, vague.is_exact, vague.hint is None and given.kind is None, tuple(more)
    )


def _beside(desk: Desk, record: TreeRecord, look: Look) -> str:
    """Which of two flushes that go on side by side a look was taken for, and how to name the other."""
    mine = next(f for f in record.flushes if f.id == look.flush_id)
    going = [f for f in record.flushes if f.season == mine.season and f.ended_on is None]
    if len(going) < 2 or mine.ended_on is not None:
        return ""
    number = flush_numbers(record.flushes, desk.calendar)[mine.id]
    if mine == going[0]:
        return f"Taken for flush {number}, which goes on beside a newer one."
    return f"Taken for flush {number}; --part inside is for the older one that goes on beside it."


def save(desk: Desk, planned: Planned) -> None:
    """Save looks and answer in one line what was understood and how to undo it."""
    if planned.save:
        desk.save(planned.label, planned.save)
    understood = [f"{planned.understood}."] if planned.understood else []
    undo = [UNDO] if planned.save else []
    tell(" ".join([*understood, *planned.more, *undo]))


def correct(desk: Desk, id: str, stage: str, given: Given, *, new_flush: bool, cause: str | None) -> None:
    """Change a look; what is not given stays."""
    old = find_by_id(desk.journal, Look, id)
    tree = next(t for t in desk.trees if t.id == old.tree_id)
    look = old
    if stage:
        look = replace(look, stage=find_stage(stage))
    if given.when is not None:
        vague = desk.read_date(given.when)
        earliest, latest = vague.in_season(desk.calendar, desk.today)
        text = _text_of(vague.text, earliest, latest)
        look = replace(look, date_text=text, earliest=earliest, latest=latest, kind=vague.hint or look.kind)
    if given.mark is not None:
        checked, lost = _marks(given.mark) if given.mark != "none" else (False, False)
        look = replace(look, checked=checked, lost=lost)
    if given.part is not None:
        look = replace(look, part=None if given.part == "none" else find_part(given.part))
    if given.leaves is not None:
        look = replace(look, leaves=_leaves(given.leaves))
    if given.kind is not None:
        look = replace(look, kind=given.kind)
    if given.who is not None:
        look = replace(look, who=given.who or None)
    if given.note is not None:
        look = replace(look, note=given.note or None)
    if look == old and not new_flush and not given.ended:
        raise InputError(
            "nothing to correct: give a stage, --date, --mark, --part, --kind, --ended, --who or --note"
        )
    record = desk.record(tree, look.latest)
    if old.id not in {k.id for k in record.looks}:  # it moves to another season
        before = desk.record(tree, old.latest)
        record = replace(
            record, flushes=(*before.flushes, *record.flushes), looks=(*before.looks, *record.looks)
        )
        record = replace(record, flushes=tuple({f.id: f for f in record.flushes}.values()))
    changes = look_changes(
        look,
        record,
        desk.calendar,
        today=desk.today,
        new_id=desk.new_id,
        new_flush=new_flush,
        cause=cause,
        ended=given.ended,
    )
    text = f"{tree.label}: {_shown_look(desk, look)} (was {_shown_look(desk, old)})"
    desk.save(f"corrected look: {text}", changes.save, changes.remove)
    tell(f"{text}. {UNDO}")


def take_out(desk: Desk, id: str) -> None:
    """Take a look out."""
    entry_lists.take_out(desk, Look, id, without_look, _shown_look)


def listing(desk: Desk, trees: str) -> str:
    """Looks, newest first: of the trees named, else the newest thirty."""
    return entry_lists.listing(desk, trees, desk.journal.looks, "stage", _told) or "No looks yet."


def _told(k: Look) -> tuple[str, list[str]]:
    """The stage seen, and what else was written of it."""
    return k.stage, [
        "checked" if k.checked else "",
        "lost" if k.lost else "",
        k.part or "",
        f"leaves {k.leaves}" if k.leaves else "",
        f"came about {k.date_text.removeprefix('about ')}" if k.kind == "happened" else "",
        f"by {k.who}" if k.who else "",
        k.note or "",
    ]


def _shown_look(desk: Desk, k: Look) -> str:
    mark = "lost" if k.lost else "checked" if k.checked else None
    return _shown(desk, k.stage, k.earliest, k.latest, k.date_text, k.kind, mark)


def _shown(
    desk: Desk, stage: str, earliest: date, latest: date, typed: str, kind: str, mark: str | None
) -> str:
    when = shown_date(earliest, latest, desk.today)
    if kind == "happened":
        when = f"came about {when}"
    if earliest != latest:
        when += f' ("{typed}")'
    marked = f" ({find_mark(mark)})" if mark else ""
    return f"{stage}{marked}, {when}"


def _text_of(typed: str, earliest: date, latest: date) -> str:
    """A date as it is kept: as typed, but for words that mean another day tomorrow."""
    return earliest.isoformat() if earliest == latest else typed


def _marks(mark: str | None) -> tuple[bool, bool]:
    word = find_mark(mark) if mark else None
    return word == "checked", word == "lost"


def _leaves(text: str | None) -> str | None:
    if text is None or not text.strip():
        return None
    counts = re.split(r"[,; ]+", text.strip())
    if not all(c.isdigit() and len(c) <= 3 for c in counts):
        raise InputError(f"--leaves takes counts such as 5,6,5; got '{text}'")
    return ",".join(counts)
