"""Work: may I? before it is written down; looks and work on record: corrected in place, or taken out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from starlette.responses import Response

from data_sources.journal_questions import newest_of_trees
from data_sources.look_photos import keep_photo
from phenology.language.tree_selection import few_labels
from phenology.language.words import find_operation, find_part, find_stage
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Look, Tree, Work
from phenology.model.stages import Mark, Part, Stage
from phenology.work.cautions import cautions
from reports.entries.entry_editor import ALL_THE_SAME
from reports.entries.look_editor import LookEditor
from reports.entries.merging import saved
from reports.entries.work_editor import WorkEditor, work_answers
from reports.garden.open_garden import OpenGarden
from reports.views.ahead_text import answer_lines
from reports.views.words import capital
from reports.web.look_pages import chosen_trees, entry_in, look_form, number, pick_tree, written
from reports.web.site import Visit
from reports.web.uploads import plain_photo
from reports.web.writing import (
    LOOK_FIELDS,
    NOTHING_TYPED,
    WORK_FIELDS,
    Asked,
    Entry,
    checked_token,
    new_token,
)

NEW = dict.fromkeys(("operation", "early", *WORK_FIELDS), "")
NO_WORDS = {"part": "none", "mark": "none"}
"""What says that a field is to be emptied, where an empty text does not."""


def work(visit: Visit) -> Response:
    """Which tree, and then what was or is to be done."""
    if visit.request.method == "POST":
        return save_work(visit) if visit.text("asked") else may_i_page(visit)
    trees = chosen_trees(visit)
    if not trees:
        return pick_tree(visit, "/work", "Work on which tree?")
    return work_form(visit, trees, f"Work: {few_labels(trees)}")


def work_form(
    visit: Visit, trees: Sequence[Tree], title: str, given: Mapping[str, str] = NEW, action: str = ""
) -> Response:
    """The form of work: new, to be asked about first; or as it is on record, saved at `action`."""
    return visit.page(
        "work.html.j2", title, trees=trees, label=few_labels(trees), token=new_token(), given=given,
        seen=newest_of_trees(visit.garden.journal, [tree.id for tree in trees]), action=action,
        operations=[(str(one), capital(str(one).replace("-", " ")), one.meaning) for one in Operation],
        parts=[str(part) for part in Part], places=visit.garden.places,
    )  # fmt: skip


def may_i_page(visit: Visit) -> Response:
    """What the rules say of it, before anything is written down."""
    trees, operation = chosen_trees(visit), _operation(visit)
    lines, against, wait = may_i(visit.garden, trees, operation, visit.text("when"), visit.text("part"))
    species = {tree.species for tree in trees}
    known = [visit.garden.catalogue[latin] for latin in species if latin in visit.garden.catalogue]
    sent = [(n, str(v)) for n, v in visit.form.multi_items()]
    if against:  # read on this page, so it is not asked once more
        sent.append(("agreed", Asked(against, ALL_THE_SAME).key))
    return visit.page(
        "may_i.html.j2", "May I?", lines=lines, sent=sent, tree=trees[0] if len(trees) == 1 else None,
        minded=list(cautions([operation], known, len(trees))), wait=wait,
    )  # fmt: skip


def may_i(
    garden: OpenGarden, trees: Sequence[Tree], operation: Operation, when: str, part: str
) -> tuple[list[str], list[str], bool]:
    """The answers in words, those of them that say no, and whether any tree had better wait.

    Weather that is missing leaves the answer open, and says so.
    """
    day = garden.day(when or None)
    meant = find_part(part) if part else None
    asked = Work("", "", operation, day.isoformat(), day, day, meant)
    try:
        answers = list(work_answers(garden, trees, asked))
    except InputError as error:
        return [f"Not held against the weather: {str(error).rstrip('.')}."], [], True
    refused = answer_lines([pair for pair in answers if pair[1].answer == "no"])
    return list(answer_lines(answers)), list(refused), any(one.answer != "yes" for _, one in answers)


def _operation(visit: Visit) -> Operation:
    if not visit.text("operation"):
        raise InputError("say what the work is: choose one")
    return find_operation(visit.text("operation"))


def save_work(visit: Visit) -> Response:
    """Write the work down; what the rules said of it was read on the page before."""
    operation = _operation(visit)
    fields = {} if operation is Operation.MOVING else {"place": ""}
    return written(visit, entry_in(visit, WorkEditor, operation, **fields), "/work")


def correct(visit: Visit) -> Response:
    """The form of a look or work as it is on record, to be changed."""
    old, one = _found(visit)
    given, action = _given(old), f"/entries/{_kind(visit)}/{old.id}"
    if visit.request.method == "GET" and isinstance(old, Look):
        form = replace(look_form(visit, [one]), given=given, action=action, corrects=True, last="")
        return visit.page("look.html.j2", f"Change a look: {one.label}", form=form)
    if visit.request.method == "GET":
        return work_form(visit, [one], f"Change work: {one.label}", given=given, action=action)
    editor: type[LookEditor] | type[WorkEditor]
    name: Stage | Operation
    if isinstance(old, Look):
        editor, name = LookEditor, find_stage(visit.text("stage"))
        if photo := visit.files.get("photo"):
            keep_photo(visit.garden.folder, old.id, plain_photo(photo))
    else:
        editor, name = WorkEditor, find_operation(visit.text("operation"))
    entry = Entry(
        editor, (one.id,), name, _changed(visit, given), checked_token(visit.text("token")),
        number(visit.text("seen")), (), old.id,
    )  # fmt: skip
    return written(visit, entry, action)


def _kind(visit: Visit) -> str:
    return "look" if visit.request.path_params["kind"] == "look" else "work"


def _editor(visit: Visit) -> LookEditor | WorkEditor:
    return (LookEditor if _kind(visit) == "look" else WorkEditor)(visit.garden, dict(NOTHING_TYPED))


def _found(visit: Visit) -> tuple[Look | Work, Tree]:
    try:
        return _editor(visit).found(visit.request.path_params["id"])
    except InputError:
        raise InputError(f"this {_kind(visit)} is not on record any more") from None


def _given(old: Look | Work) -> dict[str, str]:
    """The fields of the form, as they say what is on record."""
    given = {"when": old.date_text, "who": old.who or "", "note": old.note or "", "part": old.part or ""}
    if isinstance(old, Work):
        return given | {"operation": str(old.operation), "early": "1" if old.early else "", "place": ""}
    mark = Mark.LOST if old.lost else Mark.CHECKED if old.checked else ""
    return given | {
        "stage": str(old.stage), "leaves": old.leaves or "", "mark": str(mark), "kind": old.kind,
        "cause": "", "ended": "",
    }  # fmt: skip


def _changed(visit: Visit, given: dict[str, str]) -> dict[str, Any]:
    """The options of the command, of the fields that were changed; those left as they stood say nothing."""
    typed = dict(NOTHING_TYPED)
    for name in (*LOOK_FIELDS, *WORK_FIELDS, "early"):
        if name in given and (now := visit.text(name)) != given[name]:
            typed[name] = now or NO_WORDS.get(name, "")
    if typed["when"] == "":
        raise InputError("say which day it was")
    return typed | {"new_flush": bool(visit.text("new_flush"))}


def remove(visit: Visit) -> Response:
    """Take a look or work out, with the flush that only it spoke for; undo brings it back."""
    _, batch = saved(visit.garden, lambda: _editor(visit).removal(_found(visit)[0].id))
    visit.site.keeper.warm()
    return visit.to(f"/saved/{batch}")
