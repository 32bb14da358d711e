"""What is set up rather than looked at: trees, labels, settings, weather; and what the looks have taught."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from starlette.responses import Response

from data_sources.garden_settings import SETTINGS
from data_sources.journal_questions import labels_since, newest_of_trees
from phenology.advice.garden_forecast import usual_warmth_note
from phenology.language.degrees import degrees
from phenology.language.tree_selection import place_of
from phenology.model.errors import FlushcastError, InputError
from phenology.model.records import GrowthAim, Tree
from reports.entries.merging import Edit, saved
from reports.entries.readings import update_places
from reports.entries.settings import NAMES, change_setting, field_named, shown_setting
from reports.entries.trees import add_tree, aim_trees, edit_trees, move_trees, remove_tree, retire_trees
from reports.views.calibration_text import STEPS_MEAN, Learned
from reports.web.device_pages import drawn_qr
from reports.web.site import Updating, Visit
from reports.web.tree_pages import tree_of

GROWN_FOR = ("", "leaf", "flower", "fruit")
TREE_FIELDS = ("label", "species", "pot", "last_repot", "vigour", "grown_for", "note")
MOST_LABELS = 40  # on a sheet


def more(visit: Visit) -> Response:
    """Everything that the bar at the foot has no room for."""
    return visit.page("more.html.j2", "More")


# Trees -----------------------------------------------------------------------------------------------------


def add(visit: Visit) -> Response:
    """A new tree."""
    if visit.request.method == "GET":
        return visit.page(
            "add_tree.html.j2", "Add a tree", places=visit.garden.places, aims=list(GrowthAim),
            grown_for=GROWN_FOR, names=_species(visit),
        )  # fmt: skip
    typed = {name: visit.text(name) or None for name in TREE_FIELDS}
    typed |= {"label": visit.text("label"), "species": visit.text("species")}
    place, aim = visit.text("place") or None, visit.text("aim") or None
    return _edited(visit, lambda: add_tree(visit.garden, typed, place, aim, None), "/trees")


def _species(visit: Visit) -> list[str]:
    return sorted({name for species in visit.garden.catalogue.values() for name in species.names})


def edit(visit: Visit) -> Response:
    """One tree changed: what describes it, where it stands, what it is grown towards, whether it is gone."""
    one, garden = tree_of(visit), visit.garden
    if visit.request.method == "GET":
        return _edit_page(visit, one)
    seen, newest = visit.text("seen"), newest_of_trees(garden.journal, [one.id])
    if seen.isdigit() and newest > int(seen[:15]) and not visit.text("all_the_same"):
        theirs = labels_since(garden.journal, [one.id], int(seen[:15]))
        return _edit_page(visit, one, theirs=theirs, typed={k: visit.text(k) for k in TREE_FIELDS})
    what, label = visit.text("do"), one.label
    edits: dict[str, Callable[[], Edit]] = {
        "edit": lambda: edit_trees(garden, label, {name: visit.text(name) for name in TREE_FIELDS}),
        "move": lambda: move_trees(garden, label, visit.text("place"), visit.text("when") or None),
        "aim": lambda: aim_trees(
            garden, label, str(GrowthAim(visit.text("aim"))), visit.text("when") or None
        ),
        "retire": lambda: retire_trees(garden, label, visit.text("when") or None, back=False),
        "back": lambda: retire_trees(garden, label, None, back=True),
        "remove": lambda: remove_tree(garden, label),
    }
    if what not in edits:
        raise InputError("say what is to change")
    return _edited(visit, edits[what], "/trees" if what == "remove" else f"/trees/{one.id}")


def _edit_page(
    visit: Visit, one: Tree, theirs: list[str] | None = None, typed: dict[str, str] | None = None
) -> Response:
    garden = visit.garden
    aims = [aim for aim in garden.journal.aims(one.id) if not aim.from_date or aim.from_date <= garden.today]
    return visit.page(
        "edit_tree.html.j2", f"Change {one.label}", 409 if theirs else 200, tree=one, places=garden.places,
        place=place_of(one.id, garden.stands, garden.today), aims=list(GrowthAim), names=_species(visit),
        aim=aims[-1].aim if aims else GrowthAim.REFINING, grown_for=GROWN_FOR, theirs=theirs or [],
        typed=typed, seen=newest_of_trees(garden.journal, [one.id]),
    )  # fmt: skip


def _edited(visit: Visit, plan: Callable[[], Edit], onward: str) -> Response:
    """Save what an edit changes, and say so."""
    change, batch = saved(visit.garden, plan)
    visit.site.keeper.warm()
    return visit.page("edited.html.j2", "Saved", said=change.said, onward=onward, batch=batch)


def labels(visit: Visit) -> Response:
    """A label for each pot: its code opens the tree's look; a sheet at a time."""
    base = str(visit.request.base_url).rstrip("/")
    leafed = visit.leafed([tree for tree in visit.garden.trees if tree.retired is None], MOST_LABELS)
    drawn = [
        (tree.label, drawn_qr(f"{base}/look?tree={tree.id}", f"Look at {tree.label}")) for tree in leafed.here
    ]
    return visit.page("labels.html.j2", "Labels", labels=drawn, base=base, leafed=leafed)


# Settings, calibration -------------------------------------------------------------------------------------


def settings(visit: Visit) -> Response:
    """What is set for the whole garden; one is changed at a time."""
    garden, said = visit.garden, ""
    if visit.request.method == "POST":
        field_name, value = field_named(visit.text("name")), visit.text("value")
        said = change_setting(garden, field_name, [value] if value else None)
        visit.site.keeper.warm()
    now = garden.settings
    rows = [(name, shown, shown_setting(name, now), SETTINGS[name].meaning) for name, shown in NAMES.items()]
    return visit.page("settings.html.j2", "Settings", rows=rows, said=said)


def calibration(visit: Visit) -> Response:
    """What the looks have taught, species by species."""
    garden, known = visit.garden, visit.site.keeper.ahead(visit.garden)

    def make() -> list[dict[str, Any]]:
        from phenology.learning.garden_fit import GardenFit
        from reports.garden.past_forecasts import garden_past

        snapshot = known.agenda.garden
        learned = Learned.of(GardenFit(snapshot), garden_past(garden.folder, snapshot))
        return [
            {"name": garden.species_name(latin), "looks": looks, "steps": steps, "words": words}
            for latin, looks, steps, words in learned.tables(garden.settings.units)
        ]

    found: list[dict[str, Any]] = known.once("calibration", make)
    return visit.page(
        "calibration.html.j2", "Calibration", found=found, meaning=STEPS_MEAN,
        reference=degrees(18), note=usual_warmth_note(known.agenda.garden),
    )  # fmt: skip


# Weather ---------------------------------------------------------------------------------------------------


def weather(visit: Visit) -> Response:
    """How fresh the weather is, place by place, and an update with its progress."""
    from reports.page.render import weather_of

    site, garden = visit.site, visit.garden
    if visit.request.method == "POST":
        _start_update(visit)
        return visit.to("/weather")
    known = site.keeper.ready(garden)
    snapshot = known.agenda.garden if known else garden.snapshot()
    return visit.page(
        "weather.html.j2", "Weather", places=weather_of(garden.folder, snapshot), updating=site.updating,
        stands_on=garden.settings.stands_on,
    )  # fmt: skip


def _start_update(visit: Visit) -> None:
    site = visit.site
    with site.starting:
        if site.updating.running:
            return
        site.updating = Updating(running=True, now="Beginning ...")
    told = site.updating

    def show(title: str, done: int, total: int) -> None:
        told.now = f"{title}, {min(done + 1, total)} of {total}"

    def run() -> None:
        try:
            with site.keeper.opened() as garden:
                for one in update_places(
                    garden, garden.some_places, progress=show, announce=told.lines.append
                ):
                    told.lines += [*one.lines, *filter(None, [one.coverage])]
        except FlushcastError as error:
            told.lines.append(f"{error}")
        except Exception:
            told.lines.append("The update broke off; the terminal that runs flushcast says why.")
            raise
        finally:
            told.running, told.now = False, ""
            site.keeper.warm()

    threading.Thread(target=run, name="weather", daemon=True).start()
