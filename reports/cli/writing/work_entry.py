"""Writing work down, correcting, listing and taking it out, for `flushcast work`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from data_sources.journal.schema import Record
from data_sources.journal_questions import find_by_id
from phenology.language.tree_selection import label_list
from phenology.language.words import find_operation, find_part
from phenology.model.errors import FlushcastError, InputError
from phenology.model.operations import Operation
from phenology.model.records import Stand, Tree, Work
from phenology.model.stages import stage_rank
from phenology.records.entries import Changes, same_work, without_work, work_changes
from phenology.records.flushes import TreeRecord
from phenology.records.waking import middle
from reports.cli.writing import entry_lists
from reports.cli.writing.desk import UNDO, Desk, shown_date, split_words, tell
from reports.cli.writing.place_entry import find_place
from reports.cli.writing.work_check import objections

NEEDS_HARD_LEAVES = ("cutback", "halving", "partial-defoliation")


@dataclass(frozen=True)
class Given:
    """The options of work, as typed."""

    when: str | None = None
    who: str | None = None
    note: str | None = None
    part: str | None = None
    early: bool = False
    place: str | None = None


@dataclass(frozen=True)
class Planned:
    """Work ready to be saved, how it was understood, and what to mind."""

    understood: str
    save: tuple[Record, ...]
    label: str
    exact: bool
    more: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def split(desk: Desk, words: Sequence[str]) -> tuple[tuple[Tree, ...], Operation]:
    """Trees and operation out of the words typed: the operation is the longest ending that is one."""
    return split_words(desk, words, find_operation)


def plan(desk: Desk, trees: Sequence[Tree], operation: Operation, given: Given) -> Planned:
    """Work out what the work changes on several trees; nothing is written.

    Raises
    ------
    InputError
        If it cannot stand for any of them.
    """
    vague = desk.read_date(given.when)
    earliest, latest = vague.in_season(desk.calendar, desk.today)
    text = earliest.isoformat() if earliest == latest else vague.text
    part = find_part(given.part) if given.part else None
    if given.place and operation != "moving":
        raise InputError(f"--to goes with moving, not with {operation}")
    place = find_place(desk, given.place) if given.place else None
    save: list[Record] = []
    wrong: list[FlushcastError] = []
    there: list[Tree] = []
    woken: list[Tree] = []
    unproved: list[Tree] = []
    sleeping: dict[str, list[Tree]] = {}
    done = {
        w.tree_id: w
        for w in desk.journal.works(since=earliest)
        if _same(w, operation, earliest, latest, part)
    }
    for tree in trees:
        work = Work(
            desk.new_id(),
            tree.id,
            operation,
            text,
            earliest,
            latest,
            part,
            given.early,
            given.who,
            given.note,
        )
        if tree.id in done and same_work(done[tree.id], work):
            there.append(tree)
            continue
        record = desk.record(tree, latest)
        try:
            changes = work_changes(work, record, desk.calendar, today=desk.today, new_id=desk.new_id)
        except InputError as error:
            wrong.append(error)
            continue
        save += changes.save
        save += _besides(desk, tree, work, place.id if place else None)
        _sort(tree, operation, changes, woken, sleeping)
        if operation in NEEDS_HARD_LEAVES and not given.early and not _told_by_looks(record, changes, work):
            unproved.append(tree)
    if wrong:
        raise InputError(f"{wrong[0]}. Nothing was saved")
    named = [tree for tree in trees if tree not in there]
    understood = ""
    if named:
        where = f" to {place.name}" if place else ""
        at = f" ({part})" if part else ""
        when = shown_date(earliest, latest, desk.today)
        vague_text = "" if vague.is_exact else f' ("{vague.text}")'
        understood = f"{desk.names(named)}: {operation}{where}{at}, {when}{vague_text}"
    more = [f"{desk.names(there)}: written down already."] if there else []
    if woken:
        more.append(
            "Wakes a new flush."
            if len(woken) == len(named)
            else f"Wakes {label_list(t.label for t in woken)}."
        )
    for why, slow in sleeping.items():
        more.append(f"{label_list(t.label for t in slow)}: wakes no flush, {why}.")
    if unproved:
        more.append(
            "No look says the leaves were hard: the work will count as a sign of it (--early if not)."
        )
    try:
        against = objections(
            desk, named, operation, latest, part=part, note=given.note or "", early=given.early
        )
    except FlushcastError as error:  # what was done is written down whatever the weather file says
        against = (f"Not held against the weather: {str(error).rstrip('.')}.",)
    cautions = (*against, *_cautions(desk, named, operation))
    return Planned(understood, tuple(save), f"work: {understood}", vague.is_exact, tuple(more), cautions)


def save(desk: Desk, planned: Planned) -> None:
    """Save work; one line says what was understood and how to undo it, one more what to mind."""
    if planned.save:
        desk.save(planned.label, planned.save)
    understood = [f"{planned.understood}."] if planned.understood else []
    tell(" ".join([*understood, *planned.more, *([UNDO] if planned.save else [])]))
    if planned.cautions:
        tell(" ".join(planned.cautions))


def correct(desk: Desk, id: str, operation: str, given: Given) -> None:
    """Change work; what is not given stays. The flush it woke is found anew."""
    old = find_by_id(desk.journal, Work, id)
    tree = next(t for t in desk.trees if t.id == old.tree_id)
    work = replace(old, operation=find_operation(operation)) if operation else old
    if given.when is not None:
        vague = desk.read_date(given.when)
        earliest, latest = vague.in_season(desk.calendar, desk.today)
        text = earliest.isoformat() if earliest == latest else vague.text
        work = replace(work, date_text=text, earliest=earliest, latest=latest)
    if given.part is not None:
        work = replace(work, part=None if given.part == "none" else find_part(given.part))
    work = replace(work, early=work.early or given.early)
    if given.who is not None:
        work = replace(work, who=given.who or None)
    if given.note is not None:
        work = replace(work, note=given.note or None)
    if work == old:
        raise InputError("nothing to correct: give an operation, --date, --part, --early, --who or --note")
    record = desk.record(tree, old.latest)
    save: tuple[Record, ...] = (work,)
    remove: tuple[Record, ...] = ()
    if not same_work(work, old):
        gone = without_work(old, record)
        changes = work_changes(
            work, gone.applied_to(record), desk.calendar, today=desk.today, new_id=desk.new_id
        )
        kept = {entry.id for entry in changes.save}
        save = (*gone.save, *changes.save)
        remove = tuple(entry for entry in gone.remove if entry.id not in kept)
    text = f"{tree.label}: {_shown(desk, work)} (was {_shown(desk, old)})"
    desk.save(f"corrected work: {text}", save, remove)
    tell(f"{text}. {UNDO}")


def take_out(desk: Desk, id: str) -> None:
    """Take work out, and the flush it woke unless looks speak for it."""
    entry_lists.take_out(desk, Work, id, without_work, _shown)


def listing(desk: Desk, trees: str) -> str:
    """Work, newest first: of the trees named, else the newest thirty."""
    return entry_lists.listing(desk, trees, desk.journal.works, "work", _told) or "No work yet."


def _told(w: Work) -> tuple[str, list[str]]:
    """What was done, and what else was written of it."""
    return w.operation, [
        w.part or "",
        "early" if w.early else "",
        f"by {w.who}" if w.who else "",
        w.note or "",
    ]


def _same(work: Work, operation: Operation, earliest: date, latest: date, part: str | None) -> bool:
    return (work.operation, work.earliest, work.latest, work.part) == (operation, earliest, latest, part)


def _besides(desk: Desk, tree: Tree, work: Work, place_id: str | None) -> list[Record]:
    """What else changes with work: where the tree stands, when it was last repotted."""
    day = middle(work.earliest, work.latest)
    if place_id is not None:
        return [Stand(desk.new_id(), tree.id, place_id, day)]
    if work.operation == "repotting" and (tree.last_repot is None or tree.last_repot < day):
        return [replace(tree, last_repot=day)]
    return []


def _sort(
    tree: Tree, operation: Operation, changes: Changes, woken: list[Tree], sleeping: dict[str, list[Tree]]
) -> None:
    if not operation.wakes or changes.waking is None:
        return
    if changes.waking.flush is not None:
        woken.append(tree)
    else:
        sleeping.setdefault(changes.waking.why_not, []).append(tree)


def _told_by_looks(record: TreeRecord, changes: Changes, work: Work) -> bool:
    """Whether looks say how the flush stood that was worked on: it was hard, or seen that day."""
    woken = changes.waking.flush.id if changes.waking and changes.waking.flush else None
    before = [f for f in record.flushes if f.id != woken]
    if not before:
        return False
    last = max(before, key=lambda f: (f.season, f.started_on or date.min))
    seen_then = any(look.latest >= work.latest for look in record.looks_of(last))
    return seen_then or record.furthest(last) >= stage_rank("hardened")


def _cautions(desk: Desk, trees: Sequence[Tree], operation: Operation) -> tuple[str, ...]:
    """What to mind: tools, eyes, sap, and species that do not stand it."""
    kind = operation
    species = {t.species: desk.catalogue[t.species] for t in trees if t.species in desk.catalogue}
    out = []
    if kind.cuts:
        out.append("Look before you cut; clean, sharp blades; mind your eyes.")
        for latin, s in species.items():
            if s.sap != "none":
                worse = (
                    "harms skin and eyes: gloves and glasses"
                    if s.sap == "severe"
                    else "irritates skin: gloves"
                )
                out.append(f"Sap of {latin} {worse}.")
            if s.prone and operation in ("pruning", "thinning", "cutback"):
                out.append(f"{latin}: cut on a dry day, wounds let canker in.")
    if kind.caution:
        out.append(f"{kind.caution[:1].upper()}{kind.caution[1:]}.")
    return tuple(out)


def _shown(desk: Desk, w: Work) -> str:
    return f"{w.operation}{f' ({w.part})' if w.part else ''}, {shown_date(w.earliest, w.latest, desk.today)}"
