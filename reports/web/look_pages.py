"""A look in three taps: the tree, the stage, save."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from data_sources.journal_questions import newest_of_trees
from data_sources.look_photos import keep_photo
from phenology.advice.agenda import Section
from phenology.language.tree_selection import few_labels, place_of
from phenology.language.words import find_stage, plain_words
from phenology.model.errors import InputError
from phenology.model.operations import Operation
from phenology.model.records import Look, Stand, Tree
from phenology.model.stages import Mark, Part, Stage
from phenology.records.entries import stage_now
from reports.entries.entry_editor import UnchangedError
from reports.entries.look_editor import LookEditor
from reports.entries.work_editor import WorkEditor
from reports.garden.open_garden import OpenGarden
from reports.views.forecast_text import SEEN
from reports.views.words import capital, shown_date
from reports.web.site import Visit
from reports.web.uploads import plain_photo
from reports.web.writing import (
    LOOK_FIELDS,
    AlreadyWrittenError,
    Asked,
    Entry,
    Saved,
    StaleError,
    checked_token,
    new_token,
    typed_fields,
    write_down,
)

GIVEN = ("stage", *LOOK_FIELDS)
FEW_FOUND = 60
"""Trees listed on one page."""


@dataclass(frozen=True)
class LookForm:
    """What the form of a look shows."""

    trees: Sequence[Tree]
    label: str
    last: str
    token: str
    seen: int
    after: str
    stages: Sequence[tuple[str, str, str]]
    parts: Sequence[str]
    marks: Sequence[str]
    given: Mapping[str, str] = field(default_factory=lambda: dict.fromkeys(GIVEN, ""))
    action: str = "/look"
    corrects: bool = False


def look(visit: Visit) -> Response:
    """Which tree, and then what it is at."""
    if visit.request.method == "POST":
        return save_look(visit)
    trees = chosen_trees(visit)
    if not trees:
        return pick_tree(visit, "/look", "Look at which tree?")
    visit.site.keeper.warm()  # what was forecast before the look is compared with it then
    return visit.page("look.html.j2", f"Look: {few_labels(trees)}", form=look_form(visit, trees))


def chosen_trees(visit: Visit) -> list[Tree]:
    """The trees that an address or a form names by their ids, or by `all` that a search finds."""
    if asked := visit.text("all"):
        where = _places(visit.garden)
        return [t for t in visit.garden.trees if t.id in where and fits(t, where[t.id], asked, visit.garden)]
    wanted = set(visit.texts("tree"))
    found = [tree for tree in visit.garden.trees if tree.id in wanted]
    if len(found) < len(wanted):
        raise InputError("one of these trees is not in the garden any more")
    return found


def look_form(visit: Visit, trees: Sequence[Tree], after: str = "") -> LookForm:
    """An empty form of a look at some trees."""
    garden, ids = visit.garden, [tree.id for tree in trees]
    last = stage_now(garden.journal.looks(trees[0].id)) if len(trees) == 1 else None
    return LookForm(
        trees,
        few_labels(trees),
        "" if last is None else f"Last seen {SEEN[last.stage]}, {_when(last, garden)}.",
        new_token(),
        newest_of_trees(garden.journal, ids),
        after,
        [(str(s), capital(SEEN[s]), "" if s.signs == SEEN[s] else s.signs) for s in Stage],
        [str(part) for part in Part],
        [str(mark) for mark in Mark],
    )


def _when(look: Look, garden: OpenGarden) -> str:
    return shown_date(look.earliest, look.latest, garden.today)


def save_look(visit: Visit) -> Response:
    """Write the look down, keep its photo, and show what came of it."""
    stage = visit.text("stage")
    if not stage:
        raise InputError("say what the tree is at: choose a stage")
    entry = entry_in(visit, LookEditor, find_stage(stage))
    if photo := visit.files.get("photo"):
        made = plain_photo(photo)
        for tree in chosen_trees(visit):
            keep_photo(visit.garden.folder, entry.id_of(tree.id), made)
    return written(visit, entry, "/look")


def entry_in(
    visit: Visit, editor: type[LookEditor] | type[WorkEditor], name: Stage | Operation, **instead: str
) -> Entry:
    """The look or work that a form says, but for fields that are `instead` as given."""
    given = {field: str(value) for field, value in visit.form.items()} | instead
    return Entry(
        editor, tuple(visit.texts("tree")), name, typed_fields(given, editor),
        checked_token(visit.text("token")), number(visit.text("seen")), visit.texts("agreed"),
    )  # fmt: skip


def written(visit: Visit, entry: Entry, action: str) -> Response:
    """The page after a form was sent: saved, or a question, or both versions where somebody was faster."""
    before = visit.site.keeper.ready(visit.garden)
    after = f"?after={visit.text('after')}" if visit.text("after") else ""
    sent = [(n, str(v)) for n, v in visit.form.multi_items() if n not in ("seen", "photo")]
    try:
        draft, batch = write_down(visit.garden, entry)
    except AlreadyWrittenError as error:
        return visit.to(f"/saved/{error.batch}{after}")
    except UnchangedError:  # a correction that was sent twice says it too
        return visit.to(f"/trees/{entry.trees[0]}")
    except Asked as asked:
        return visit.page(
            "ask.html.j2", "One question", asked=asked, sent=sent, seen=entry.seen, action=action
        )
    except StaleError as stale:
        label = few_labels([t for t in visit.garden.trees if t.id in entry.trees])
        return visit.page(
            "stale.html.j2",
            "Written meanwhile",
            409,
            stale=stale,
            sent=sent,
            action=action,
            label=label,
            button="Save mine all the same" if entry.corrects else "Save mine too",
        )
    if not batch:
        return visit.page("there.html.j2", "On record already", words=draft.said, tree=entry.trees[0])
    visit.site.remember(batch, Saved(draft.said, draft.minded, entry.trees, before))
    visit.site.keeper.warm(entry.trees)
    if visit.text("after") == "round":
        return visit.to(f"/round?saved={batch}")
    return visit.to(f"/saved/{batch}{after}")


def number(text: str) -> int | None:
    """A number that a form sent along; None where it is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else None


def pick_tree(visit: Visit, path: str, title: str) -> Response:
    """The trees to choose from, bench by bench; a search by name, species or bench narrows them.

    With `due` they are those to be looked at today.
    """
    garden, wanted = visit.garden, visit.text("q")
    standing = [tree for tree in garden.trees if tree.retired is None]
    where = _places(garden)
    if visit.text("due"):
        due = {row.tree.id for row in visit.site.keeper.ahead(garden).agenda.of(Section.TODAY)}
        standing = [tree for tree in standing if tree.id in due]
    found = [tree for tree in standing if fits(tree, where[tree.id], wanted, garden)]
    leafed = visit.leafed(found, FEW_FOUND)
    benches: dict[str, list[Tree]] = {}
    for tree in leafed.here:
        benches.setdefault(where[tree.id], []).append(tree)
    return visit.page(
        "pick.html.j2", title, benches=benches, wanted=wanted, path=path, leafed=leafed,
        together=visit.at(f"{path}?{urlencode({'all': wanted})}") if wanted and len(found) > 1 else "",
        catalogue=garden.catalogue, total=len(standing),
    )  # fmt: skip


def _places(garden: OpenGarden) -> dict[str, str]:
    """The name of the place of each tree that stands."""
    places = {place.id: place.name for place in garden.places}
    stands: dict[str, list[Stand]] = {}
    for one in garden.stands:
        stands.setdefault(one.tree_id, []).append(one)
    standing = [tree.id for tree in garden.trees if tree.retired is None]
    return {id: places.get(place_of(id, stands.get(id, ()), garden.today) or "", "") for id in standing}


def fits(tree: Tree, place: str, wanted: str, garden: OpenGarden) -> bool:
    """Whether a tree goes by what was typed, by a part of its name, its species' or its bench's."""
    species = garden.catalogue.get(tree.species)
    texts: list[Any] = [tree.label, tree.species, place, *(species.names if species else ())]
    return not wanted or any(plain_words(wanted) in plain_words(str(text)) for text in texts)
