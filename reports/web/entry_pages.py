"""A look or work on record: corrected in place, or taken out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from starlette.responses import Response

from data_sources.look_photos import keep_photo
from phenology.language.words import find_operation, find_stage
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Look, Tree, Work
from phenology.model.stages import Mark, Stage
from reports.entries.look_editor import LookEditor
from reports.entries.work_editor import WorkEditor
from reports.web.look_pages import look_form, number, written
from reports.web.site import Visit
from reports.web.uploads import plain_photo
from reports.web.work_pages import work_form
from reports.web.writing import LOOK_FIELDS, NOTHING_TYPED, WORK_FIELDS, Entry, checked_token

NO_WORDS = {"part": "none", "mark": "none"}
"""What says that a field is to be emptied, where an empty text does not."""


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
    garden = visit.garden
    with garden.changing():
        old, _ = _found(visit)
        edit = _editor(visit).removal(old.id)
        garden.save(edit.label, edit.save, edit.remove)
        newest = garden.journal.newest_change()
    visit.site.keeper.warm()
    return visit.to(f"/saved/{newest[1] if newest else ''}")
