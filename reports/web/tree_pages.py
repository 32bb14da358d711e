"""The trees, and one of them: its season drawn, what was seen and done, what comes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from starlette.responses import Response

from data_sources.journal_questions import find_by_id
from data_sources.look_photos import FOLDER, photo_ids, photo_path
from phenology.advice.alike import alike
from phenology.language.tree_selection import place_of
from phenology.model.errors import InputError
from phenology.model.records import Look, Tree, Work
from reports.entries.look_editor import LookEditor
from reports.entries.work_editor import WorkEditor
from reports.views.ahead_text import plan_lines
from reports.views.forecast_text import SEEN, told_in_full
from reports.views.words import capital, shown_date
from reports.web.keeper import Known
from reports.web.look_pages import pick_tree
from reports.web.site import Visit
from reports.web.writing import NOTHING_TYPED

FEW_WITH_PHOTOS, MOST_PHOTOS = 8, 40  # trees on one page of leaves, photos of each
ENTRIES_SHOWN, MOST_ENTRIES = 40, 400
NARROW = (4.8, 3.2)  # inches: on a phone its words stay readable


def trees(visit: Visit) -> Response:
    """All of them, bench by bench."""
    return pick_tree(visit, "/trees", "Trees")


def tree_of(visit: Visit) -> Tree:
    """The tree that an address names; raises `InputError` if it is not in the garden."""
    id = visit.request.path_params["tree"]
    found = next((tree for tree in visit.garden.trees if tree.id == id), None)
    if found is None:
        raise InputError("there is no such tree in this garden")
    return found


def tree(visit: Visit) -> Response:
    """One tree: what it is at, what comes and what to do, its season, plan and records."""
    one = tree_of(visit)
    garden, known = visit.garden, visit.site.keeper.of(visit.garden, [one.id])
    rows = [row for row in known.agenda.rows if row.tree.id == one.id]
    species = garden.catalogue.get(one.species)
    places = {place.id: place.name for place in garden.places}
    words = [told_in_full(group) for group in alike(rows)]
    picture, plan = ("", []) if one.retired else (_picture_words(known, one), _plan(known, one))
    return visit.page(
        "tree.html.j2", one.label, tree=one, species=species.name if species else one.species,
        place=places.get(place_of(one.id, garden.stands, garden.today) or "", ""), words=words,
        picture=picture, plan=plan, entries=list(_entries(visit, one)),
        shown=MOST_ENTRIES if visit.text("all") else ENTRIES_SHOWN,
        told=[(name, value) for name, value in _told(visit, one) if value],
    )  # fmt: skip


def _told(visit: Visit, one: Tree) -> Iterator[tuple[str, str]]:
    day = one.last_repot
    yield "pot", one.pot or ""
    yield "last repotted", shown_date(day, day, visit.garden.today) if day else ""
    yield "vigour", one.vigour or ""
    yield "grown for", one.grown_for or ""
    yield "note", one.note or ""
    gone = one.retired
    yield "retired", shown_date(gone, gone, visit.garden.today) if gone else ""


def _picture_words(known: Known, one: Tree) -> str:
    from reports.charts.tree_charts import describe_tree

    words: str = known.once(f"words of {one.id}", lambda: describe_tree(known.agenda.forecast, one))
    return words


def _plan(known: Known, one: Tree) -> list[tuple[int, str]]:
    def make() -> list[tuple[int, str]]:
        from phenology.advice.plan import Planner

        planner: Planner = known.made.get("planner") or Planner(known.agenda.garden)
        known.made["planner"] = planner
        return list(plan_lines(planner.plan(one)))[1:]

    lines: list[tuple[int, str]] = known.once(f"plan of {one.id}", make)
    return lines


def season_picture(visit: Visit) -> Response:
    """A tree's season, drawn."""
    one = tree_of(visit)
    known = visit.site.keeper.of(visit.garden, [one.id])

    def make() -> bytes:
        from reports.charts.ink import chart_bytes, new_axes
        from reports.charts.tree_charts import describe_tree, plot_tree

        forecast = known.agenda.forecast
        narrow = new_axes(None, *NARROW)
        axes = plot_tree(forecast, one, narrow)
        if (legend := axes.get_legend()) is not None:  # wider than a phone: the page says it in words
            legend.remove()
        return chart_bytes(axes, "svg", describe_tree(forecast, one))

    drawn: bytes = known.once(f"picture of {one.id}", make)
    return Response(drawn, media_type="image/svg+xml")


def _entries(visit: Visit, one: Tree) -> Iterator[dict[str, Any]]:
    """Looks and work, newest first; of one day the stage reached last, and above it what was then done."""
    garden = visit.garden
    looks, works = LookEditor(garden, dict(NOTHING_TYPED)), WorkEditor(garden, dict(NOTHING_TYPED))
    entries: list[Look | Work] = [*looks.entries(one.id), *works.entries(one.id)]
    entries.sort(
        key=lambda one: (one.latest, one.earliest, one.stage.rank if isinstance(one, Look) else math.inf),
        reverse=True,
    )
    for entry in entries[: MOST_ENTRIES if visit.text("all") else ENTRIES_SHOWN + 1]:
        name, remarks = (looks if isinstance(entry, Look) else works).remarks(entry)  # type: ignore[arg-type]
        more = [*remarks, f"by {entry.who}" if entry.who else "", entry.note or ""]
        yield {
            "id": entry.id,
            "kind": "look" if isinstance(entry, Look) else "work",
            "when": shown_date(entry.earliest, entry.latest, garden.today),
            "name": capital(SEEN[entry.stage] if isinstance(entry, Look) else str(name).replace("-", " ")),
            "more": "; ".join(filter(None, more)),
            "photo": isinstance(entry, Look) and photo_path(garden.folder, entry.id).is_file(),
        }


def leaves(visit: Visit) -> Response:
    """Photos of each tree beside each other: by stage, and within it by the day of the flush."""
    garden, found = visit.garden, []
    flushes = {flush.id: flush for flush in garden.journal.flushes()}
    photos = photo_ids(garden.folder / FOLDER)
    shown: dict[str, list[Look]] = {}
    for look in garden.journal.looks() if photos else ():
        if look.id in photos:
            shown.setdefault(look.tree_id, []).append(look)
    asked = visit.text("tree")
    trees = [tree for tree in garden.trees if tree.id in shown and asked in ("", tree.id)]
    leafed = visit.leafed(trees, FEW_WITH_PHOTOS)
    for one in leafed.here:
        stages: dict[str, list[tuple[str, str]]] = {}
        looks = shown[one.id][-MOST_PHOTOS:]
        for look in sorted(looks, key=lambda look: (look.stage.rank, look.latest)):
            flush = flushes.get(look.flush_id)
            began = flush.started_on if flush else None
            day = f", day {(look.latest - began).days + 1} of its flush" if began else ""
            words = f"{shown_date(look.earliest, look.latest, garden.today)}{day}"
            stages.setdefault(capital(SEEN[look.stage]), []).append((look.id, words))
        found.append((one.label, one.id, list(stages.items())))
    return visit.page("leaves.html.j2", "Leaves", trees=found, leafed=leafed)


def photo(visit: Visit) -> Response:
    """The photo of a look that is on record."""
    one = find_by_id(visit.garden.journal, Look, visit.request.path_params["look"])
    try:
        picture = photo_path(visit.garden.folder, one.id).read_bytes()
    except FileNotFoundError:
        raise InputError("this look has no photo") from None
    headers = {"Cache-Control": "private, max-age=86400"}
    return Response(picture, media_type="image/jpeg", headers=headers)
