"""A notebook sent from the phone: shown as it is understood, asked about, saved in one tap, taken back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from starlette.responses import Response

from data_sources.journal_questions import what_a_batch_did
from data_sources.tables.notebook import notebook_in
from data_sources.tables.problems import SHOWN, FileQuestion, Problem, TableError, sentences
from data_sources.tables.table_import import Answers
from data_sources.tables.text_table import TextTable
from phenology.language.words import known_event
from phenology.model.operations import Operation
from phenology.model.stages import Stage
from reports.entries.intake import Intake, answered, garden_answers, prepare, save
from reports.views.forecast_text import SEEN
from reports.views.words import capital, counted
from reports.web.site import Visit
from reports.web.uploads import WORDS, Ask, Upload, asked_plainly

ROWS = 12  # told as they were understood
COLUMNS = 12  # asked about at once
LONGEST = 300  # characters of one sentence
PASS_OVER = "-"

FIELDS = {
    "date": "the date", "tree": "the tree", "stage": "what it was at", "operation": "the work done",
    "species": "the species", "part": "the part of the tree", "leaves": "leaves counted",
    "who": "who looked", "note": "a note", PASS_OVER: "nothing, pass it over",
}  # fmt: skip
EVENTS = {
    PASS_OVER: "Nothing, pass it over",
    **{str(stage): capital(SEEN[stage]) for stage in Stage},
    **{str(one): capital(str(one).replace("-", " ")) for one in Operation},
}
ADVICE = {
    "column": "say what its dates are, or pass it over",
    "new_tree": "the garden has no such tree",
    "like_tree": "the garden has no such tree, but one with a name much like it; write that name, "
    "or add this tree first",
}
"""What to do about a problem, where the file's reader would name a command."""


def import_notebook(visit: Visit) -> Response:
    """Choose a file; see what it becomes and answer what is open; save it; what became of it."""
    token, action = visit.text("token"), visit.text("do")
    if not token:
        return _form(visit) if visit.request.method == "GET" else _sent(visit)
    held = visit.site.uploads.find(token, visit.owner)
    with held.lock:
        if visit.request.method == "GET":
            return _saved_page(visit, held.outcome) if held.outcome else _preview(visit, token, held)
        if action == "save" and held.outcome is None:
            _save(visit, held)
        elif action == "answer":
            held.answers |= {name: str(a).strip() for name, a in visit.form.items() if ":" in name and a}
    return visit.to(f"/import?token={token}")


def _form(visit: Visit, wrong: Iterable[str] = ()) -> Response:
    lines = [*wrong]
    return visit.page("import.html.j2", "Import", 422 if lines else 200, wrong=lines)


def _sent(visit: Visit) -> Response:
    """Read the file that was sent; it is kept for the pages that follow."""
    raw = visit.files.get("file")
    if raw is None:
        return _form(visit, ["Choose a file first"])
    name = visit.names["file"]
    try:
        tables = notebook_in(name, raw)
    except TableError as error:
        return _form(visit, _told(error.problems) or [_short(error.plain)])
    return visit.to(f"/import?token={visit.site.uploads.keep(name, visit.owner, tables)}")


def _answers(visit: Visit, held: Upload) -> Answers:
    """What has been answered; the garden's own order of day and month is offered, not taken unasked."""
    answers = replace(garden_answers(visit.garden), usual_order=None, strict=False)
    for name, answer in held.answers.items():
        what, _, role = name.partition(":")
        known = what in WORDS and answer in WORDS[what][1]
        if known or (what == "column" and (answer in FIELDS or known_event(answer) is not None)):
            answers = answered(answers, FileQuestion(what, (), "", role), answer)
    return answers


def _intake(visit: Visit, held: Upload) -> Intake:
    """The file as planned for the garden as it is; planned anew where something has changed."""
    answers, last = _answers(visit, held), held.read
    if last is None or last.answers != answers or last.planned_on != visit.garden.state():
        held.read = prepare(visit.garden, held.content, answers)
    intake: Intake = held.read
    return intake


def _preview(visit: Visit, token: str, held: Upload) -> Response:
    """What each row becomes, what is open, what cannot be used; nothing is written yet."""
    page: dict[str, Any] = {"token": token, "name": held.name}
    try:
        intake = _intake(visit, held)
    except TableError as error:
        wrong = _told(error.problems) or [_short(error.plain)]
        asks = [] if error.problems else _which_columns(held.content)
        return visit.page(
            "import_preview.html.j2", "Import", 422, **page, lines=[], rows=[], more_rows=0, fresh="",
            new_trees=[], more_trees=0, questions=asks, wrong=wrong, unread=True,
        )  # fmt: skip
    plan = intake.plan
    taken = sorted((row for row in plan.rows if row.fate in ("new", "there")), key=lambda row: row.line)
    there = {"new": "", "there": " (there already)"}
    asks_trees = any(question.what == "new_trees" for question in intake.questions)
    trees = [_short(f"{label}: {species}") for label, species in plan.new_trees.items()] if asks_trees else []
    rows = [_short(f"Line {row.line}: {row.said}{there[row.fate]}") for row in taken[:ROWS]]
    return visit.page(
        "import_preview.html.j2", "Import", **page, unread=intake.needed is not None,
        lines=_account(intake), rows=rows,
        more_rows=max(0, len(taken) - ROWS), new_trees=trees[:SHOWN], more_trees=max(0, len(trees) - SHOWN),
        questions=[_ask(visit, question) for question in intake.questions[:COLUMNS]],
        wrong=_told(plan.problems), fresh=counted(intake.fresh, "rows") if intake.fresh else "",
    )  # fmt: skip


def _ask(visit: Visit, question: FileQuestion) -> Ask:
    if question.what == "column":
        name = f"column:{question.role}"
        words = f"Column “{question.role}” holds dates. Of what?"
        return Ask(name, _short(words), tuple(EVENTS.items()), "leave it open")
    ask = asked_plainly(question)
    usual = visit.garden.settings.reading_order
    return replace(ask, first=usual or "") if question.what == "date_order" else ask


def _which_columns(tables: Iterable[TextTable]) -> list[Ask]:
    """What each column is, asked where the names do not tell."""
    headers = dict.fromkeys(header for table in tables for header in table.headers)
    return [
        Ask(f"column:{header}", _short(f"Column “{header}” is"), tuple(FIELDS.items()), "as its name says")
        for header in [*headers][:SHOWN]
    ]


def _account(intake: Intake) -> list[str]:
    lines = [_short(line) for line in intake.account()][:SHOWN] if intake.needed is None else []
    unknown = sum(row.fate == "unknown" for row in intake.plan.rows)
    left_out = len({(row.file, row.line) for row in intake.plan.left_out})
    lines += [f"{counted(left_out, 'rows')} left out; the reasons stand below."] if left_out else []
    return lines + ([f"{counted(unknown, 'cells')} with a date that is not known."] if unknown else [])


def _told(problems: Iterable[Problem]) -> list[str]:
    """Problems as sentences; what to do about them in words of these pages."""
    return sentences(replace(one, advice=ADVICE.get(one.about, one.advice)) for one in problems)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} …"


def _save(visit: Visit, held: Upload) -> None:
    """Save what is understood; a question that comes up meanwhile is asked on the page that follows."""
    try:
        held.outcome = save(visit.garden, _intake(visit, held))
    except (FileQuestion, TableError):
        held.read = None
        return
    held.content = held.read = None
    visit.site.keeper.warm()


def _saved_page(visit: Visit, intake: Intake) -> Response:
    """What was taken, what was left out and why, and the way back."""
    did = what_a_batch_did(visit.garden.journal, intake.batch) if intake.batch else None
    return visit.page(
        "imported.html.j2", "Taken back" if did and did[1] else "Imported" if did else "Nothing new",
        lines=_account(intake), wrong=_told(intake.plan.problems), batch=intake.batch,
        undone=bool(did and did[1]),
    )  # fmt: skip
