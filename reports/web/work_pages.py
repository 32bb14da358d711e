"""Work: what, on which tree, and may I? before it is written down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.responses import Response

from data_sources.journal_questions import newest_of_trees
from phenology.language.tree_selection import few_labels
from phenology.language.words import find_operation, find_part
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Tree, Work
from phenology.model.stages import Part
from phenology.work.cautions import cautions
from reports.entries.entry_editor import ALL_THE_SAME
from reports.entries.work_editor import WorkEditor, work_answers
from reports.garden.open_garden import OpenGarden
from reports.text.ahead_text import answer_lines
from reports.text.words import capital
from reports.web.look_pages import chosen_trees, number, pick_tree, written
from reports.web.site import Visit
from reports.web.writing import WORK_FIELDS, Asked, Entry, checked_token, new_token, typed_fields

NEW = dict.fromkeys(("operation", "early", *WORK_FIELDS), "")


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
    fields: dict[str, Any] = {name: str(value) for name, value in visit.form.items()}
    if operation is not Operation.MOVING:
        fields["place"] = ""
    entry = Entry(
        WorkEditor,
        tuple(visit.texts("tree")),
        operation,
        typed_fields(fields, WorkEditor),
        checked_token(visit.text("token")),
        number(visit.text("seen")),
        visit.texts("agreed"),
    )
    return written(visit, entry, "/work")
